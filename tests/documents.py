"""Hand-written grading documents for tests of what is done with them. Numbers are invented, no
measurement."""

import hashlib
import io
from typing import Any

import numpy as np
from PIL import Image

from wearview import store as record

LINING = ("clean", "light heat", "heat-marked", "burnt", "charred")
STEEL = ("bare", "straw", "brown to purple", "blue", "grey")
RULES = {"id": "rules-1", "sha256": "ab" * 32}
PROGRAM = {"name": "wearview", "version": "0.1.0"}


def jpeg(shade: int, width: int = 320, height: int = 240) -> bytes:
    """A small JPEG with GPS data in its EXIF; another shade is another photo."""
    pixels = np.full((height, width, 3), shade, np.uint8)
    pixels[height // 4 : height // 2, width // 4 : width // 2] = (200, 160, 90)
    exif = Image.Exif()
    exif[0x010F] = "Camera"
    exif.get_ifd(0x8825)[1] = "N"  # GPS
    exif.get_ifd(0x8825)[2] = (51.0, 30.0, 0.0)
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG", exif=exif)
    return out.getvalue()


def sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def grade(level: int, names: tuple[str, ...] = LINING, *, relative: bool = False) -> dict[str, Any]:
    name = "cleanest here" if relative and level == 0 else names[level]
    return {
        "level": level,
        "name": name,
        "relative": relative,
        "score": level + 0.25,
        "probability": [1.0 if i == level else 0.0 for i in range(5)],
        "because": [f"Test sentence for level {level}."],
    }


def discoloration(delta: float) -> dict[str, Any]:
    return {
        "delta_e00_median": delta,
        "delta_e00_p90": delta * 1.5,
        "delta_l_median": -delta,
        "area_over_5": min(1.0, delta / 10),
        "area_over_10": min(1.0, delta / 20),
        "area_over_20": min(1.0, delta / 40),
        "area_char": 0.0,
        "radial_delta_l": [-delta] * 11 + [None],
        "angular_delta_l": [-delta] * 36,
        "gradient": {"radial": 0.5, "angular": 1.5},
        "uncertainty": 2.0,
    }


def heat_tint(spots: int = 0) -> dict[str, Any]:
    shares = dict.fromkeys(("straw", "brown", "purple", "blue", "grey", "other"), 0.0)
    angles = [10.0 * i for i in range(spots)]
    return {
        "area": {"bare": 1.0, **shares},
        "hot_spots": {"count": spots, "area": 0.02 * spots, "angles_deg": angles},
    }


def ellipse(cx: float, cy: float, size: float) -> dict[str, float]:
    return {"cx": cx, "cy": cy, "major": size, "minor": size, "angle_deg": 0.0}


def part(
    photo: bytes,
    n: int,
    position: int,
    level: int | None,
    kind: str = "friction plate",
    *,
    side: str | None = None,
    left: float = 0.0,
    relative: bool = False,
) -> dict[str, Any]:
    """One part of a document; `left` is where its outline begins, level None is "cannot tell"."""
    lined = kind in ("friction plate", "band")
    made: dict[str, Any] = {
        "id": f"{sha256(photo)[:12]}-{n}",
        "position": position,
        "kind": kind,
        "kind_confidence": 0.97,
        "outline": {
            "outer": None if kind == "band" else ellipse(left + 50, 50, 100),
            "inner": None if kind == "band" else ellipse(left + 50, 50, 60),
            "polygon": [[left, 0], [left + 100, 0], [left + 100, 100], [left, 100]],
        },
        "gradeable": level is not None,
        "problems": [] if level is not None else ["covered"],
        "discoloration": discoloration(4.0 + 6 * level) if lined and level is not None else None,
        "glazing": {"index": 12.0, "method": "one photo"} if lined and level is not None else None,
        "heat_tint": heat_tint() if not lined and level is not None else None,
        "grade": None if level is None else grade(level, LINING if lined else STEEL, relative=relative),
    }
    if side is not None:
        made["side"] = side
    return made


def photo_entry(photo: bytes, file: str, parts: list[dict[str, Any]]) -> dict[str, Any]:
    return {
        "file": file,
        "sha256": sha256(photo),
        "width": 320,
        "height": 240,
        "taken_at": "2024-05-03T10:15:00",
        "mm_per_px": None,
        "quality": {"gradeable": bool(parts), "problems": [] if parts else ["blurred"], "sharpness": 0.4},
        "light": {"method": "paper", "uncertainty": 1.5},
        "parts": parts,
    }


def pack(ids: list[str], pattern: str = "reaction end") -> dict[str, Any]:
    return {
        "order": ids,
        "trend": {"slope_per_position": 0.5, "kendall_tau": 0.8, "p_value": None},
        "pattern": pattern,
        "near_reaction_end": {"positions": [2, 3], "showing_heat": [3]},
        "explanation": ["Heat rises towards the reaction end."],
        "advice": ["Check the seals of the apply piston; worn ones may point to low pressure."],
    }


def document(
    photos: list[dict[str, Any]], packed: bool = True, unread: tuple[dict[str, str], ...] = ()
) -> dict[str, Any]:
    """A valid grading document around photo entries."""
    ids = [p["id"] for photo in photos for p in sorted(photo["parts"], key=lambda p: p["position"])]
    return {
        "contract": "wearview.grading/1",
        "program": dict(PROGRAM),
        "rules": dict(RULES),
        "reference": {
            "source": "photo",
            "file": "clean.jpg",
            "lining": None,
            "lab_median": [62.0, 9.5, 24.0],
        },
        "photos": photos,
        "unread": list(unread),
        "pack": pack(ids) if packed and len(ids) > 1 else None,
    }


def hot_pack() -> tuple[dict[str, Any], dict[str, bytes]]:
    """A pack of three frictions in two photos, hot at the reaction end, and the photos' bytes by sha256."""
    first, second = jpeg(90), jpeg(140)
    entries = [
        photo_entry(first, "forward-1.jpg", [part(first, 1, 1, 0), part(first, 2, 2, 1, left=150)]),
        photo_entry(second, "forward-2.jpg", [part(second, 1, 3, 3)]),
    ]
    return document(entries), {sha256(data): data for data in (first, second)}


def add_beside(store: record.Store, teardown: str) -> None:
    """What a technician looked at and measured beside the packs of a stored teardown."""
    record.set_checklist(store, ["pump pocket", "servo bores", "thrust washers"])
    record.add_inspection(
        store, teardown, "pump pocket", "found", by="Kim", note="scored", photos={"pump.jpg": jpeg(40)}
    )
    record.add_measured(
        store,
        teardown,
        "forward clutch clearance",
        "3/64",
        "in",
        "feeler gauge",
        least="0.03",
        most="0.04",
        limit_from="shop note 12",
        photos={"gauge.jpg": jpeg(44)},
    )
