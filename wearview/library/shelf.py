"""The shop's linings as files: `NAME-VERSION.toml` in its folder, none ever changed or taken away.

The last line of a file is the seal of the text above it, and the text holds the seal of the version before:
whoever alters a version breaks the chain, and `wearview check` names it.
"""

import hashlib
import math
import re
import tomllib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from wearview.errors import CallError, ModelsError, OutputError
from wearview.files import write_new
from wearview.library.stored import CleanPhoto, CleanPlate, Pooled, StoredLining
from wearview.reference import DEMO
from wearview.shop import shop_folder

FOLDER = "linings"
NAME = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
_FILE = re.compile(r"(?P<name>.+)-(?P<version>[1-9][0-9]*)\.toml")
_SEAL = "# seal "
_HEAD = """\
# A clean lining of the shop's own, as wearview measured it. Do not edit: the seal below would break.
# More photos make the next version: wearview lining add NAME PHOTO...
"""
_REMEDY = "Take the file from a backup, which is a ZIP, or delete it: the version before is used then"


def library_folder() -> Path:
    """Where the shop's linings lie; it need not be there yet."""
    return shop_folder() / FOLDER


def check_name(name: str) -> None:
    """Refuse a name that no file can bear everywhere, or that a shipped lining could have.

    Raises
    ------
    CallError
    """
    if not NAME.fullmatch(name) or len(name) > 60:
        how = "Use small letters, digits and hyphens: tan-paper"
        raise CallError(name or "an empty name", "is no name for a lining", how)
    if name.startswith(DEMO):
        raise CallError(name, f"begins with {DEMO}, which the demo's linings do", "Give another name")


def read_library(folder: Path | None = None) -> dict[str, StoredLining]:
    """The newest version of every lining that was not removed, by name.

    Raises
    ------
    ModelsError
        When a file was altered or is not whole.
    """
    return {lining.name: lining for lining in _newest(folder) if not lining.removed}


def out_of_use(folder: Path | None = None) -> list[str]:
    """Names of the linings that were removed; all their versions are kept.

    Raises
    ------
    ModelsError
        When a file was altered or is not whole.
    """
    return [lining.name for lining in _newest(folder) if lining.removed]


def _newest(folder: Path | None) -> list[StoredLining]:
    return [read_version(paths[-1]) for _, paths in sorted(_versions(folder).items())]


def history(name: str, folder: Path | None = None) -> list[StoredLining]:
    """All versions of a lining, the first first; none of them is left out for being removed.

    Raises
    ------
    CallError
        When there never was one of that name.
    """
    paths = _versions(folder).get(name, [])
    if not paths:
        known = ", ".join(sorted(read_library(folder))) or "none so far"
        raise CallError(name, "no such lining in the library", f"Its linings: {known}")
    return [read_version(path) for path in paths]


def keep(lining: StoredLining, folder: Path | None = None) -> Path:
    """Write the next version of a lining; its own number is given here.

    Raises
    ------
    OutputError
        When it cannot be written.
    """
    import tomlkit  # for writing alone; to grade a photo its loading is spared

    where = folder or library_folder()
    for _ in range(100):  # another bench may add to it at the same time
        paths = _versions(where).get(lining.name, [])
        before = _seal_in(paths[-1]) if paths else ""
        version = _number(paths[-1]) + 1 if paths else 1
        text = _HEAD + tomlkit.dumps(_as_table(replace(lining, version=version), before))
        path = where / f"{lining.name}-{version}.toml"
        if write_new(path, f"{text}{_SEAL}{_digest(text)}\n".encode()):
            return path
    raise OutputError(lining.name, "could not be written", "Run it again")


def read_version(path: Path) -> StoredLining:
    """One version of a lining.

    Raises
    ------
    ModelsError
        When the file was altered or is not whole.
    """
    try:
        text, _, seal = path.read_text("utf-8").rpartition(_SEAL)
        if not text or seal.strip() != _digest(text):
            raise ModelsError(path.name, "was altered or is not whole", _REMEDY)
        return _from_table(tomllib.loads(text))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, KeyError, TypeError, ValueError) as error:
        if isinstance(error, ModelsError):
            raise
        raise ModelsError(path.name, "cannot be read as a lining", _REMEDY) from error


def findings(folder: Path | None = None) -> Iterator[tuple[str, str]]:
    """What is missing from the library or was altered: file and what is wrong with it."""
    for name, paths in sorted(_versions(folder).items()):
        before = ""
        for number, path in enumerate(paths, start=1):
            if _number(path) != number:
                yield f"{FOLDER}/{name}", f"version {number} is missing"
                break
            try:
                read_version(path)
                follows = tomllib.loads(path.read_text("utf-8"))["follows"]
            except (ModelsError, OSError, KeyError, ValueError):
                yield f"{FOLDER}/{path.name}", "was altered"
                break
            if follows != before:
                yield f"{FOLDER}/{path.name}", "does not follow from the version before it"
            before = _seal_in(path)


def _versions(folder: Path | None) -> dict[str, list[Path]]:
    """Files of every lining, by name, in the order of their numbers."""
    found: dict[str, list[Path]] = {}
    for path in (folder or library_folder()).glob("*.toml"):
        if (match := _FILE.fullmatch(path.name)) and NAME.fullmatch(match["name"]):
            found.setdefault(match["name"], []).append(path)
    return {name: sorted(paths, key=_number) for name, paths in found.items()}


def _number(path: Path) -> int:
    match = _FILE.fullmatch(path.name)
    assert match
    return int(match["version"])


def _seal_in(path: Path) -> str:
    """The seal at a file's end, whether it fits or not: a damaged version too can be followed."""
    try:
        return path.read_text("utf-8").rpartition(_SEAL)[2].strip()
    except (OSError, UnicodeDecodeError):
        return ""


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _as_table(lining: StoredLining, follows: str) -> dict[str, Any]:
    pooled = lining.pooled
    return {
        "name": lining.name,
        "version": lining.version,
        "follows": follows,
        "kept_at": lining.kept_at,
        "removed": lining.removed,
        "wet": lining.wet,
        "lab": _rounded(pooled.lab),
        "spread": round(pooled.spread, 3),
        "grain": round(pooled.grain, 4),
        "sheen": round(pooled.sheen, 5),
        "light": pooled.light,
        "light_uncertainty": round(pooled.light_uncertainty, 3),
        "photo": [
            {
                "file": photo.file,
                "sha256": photo.sha256,
                "taken_at": photo.taken_at or "",
                "light": photo.light,
                "light_uncertainty": round(photo.light_uncertainty, 3),
                "plates": [
                    {
                        "lab": _rounded(p.lab),
                        "grain": round(p.grain, 4),
                        "sheen": round(p.sheen, 5),
                        "uneven": round(p.uneven, 2),
                    }
                    for p in photo.plates
                ],
            }
            for photo in lining.photos
        ],
    }


def _rounded(lab: tuple[float, float, float]) -> list[float]:
    return [round(value, 3) for value in lab]


def _from_table(table: dict[str, Any]) -> StoredLining:
    photos = tuple(
        CleanPhoto(
            str(photo["file"]),
            str(photo["sha256"]),
            str(photo["taken_at"]) or None,
            str(photo["light"]),
            float(photo["light_uncertainty"]),
            tuple(map(_plate, photo["plates"])),
        )
        for photo in table["photo"]
    )
    numbers = {key: float(table[key]) for key in ("spread", "light_uncertainty", "grain", "sheen")}
    pooled = Pooled(lab=_lab(table["lab"]), light=str(table["light"]), **numbers)
    if not math.isfinite(pooled.spread) or not math.isfinite(pooled.light_uncertainty) or not photos:
        raise ValueError("not complete")
    return StoredLining(
        str(table["name"]),
        int(table["version"]),
        str(table["kept_at"]),
        bool(table["removed"]),
        bool(table["wet"]),
        photos,
        pooled,
    )


def _plate(table: dict[str, Any]) -> CleanPlate:
    uneven = float(table.get("uneven", math.nan))  # not kept by programs from before it
    return CleanPlate(_lab(table["lab"]), float(table["grain"]), float(table["sheen"]), uneven)


def _lab(values: Any) -> tuple[float, float, float]:
    lightness, a, b = (float(value) for value in values)
    if not all(map(math.isfinite, (lightness, a, b))):
        raise ValueError("no colour")
    return lightness, a, b
