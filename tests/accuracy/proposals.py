"""Print what the network adds to the finding of parts: ``python -m tests.accuracy.proposals --scenes DIR``.

Three ways on the same photos: the classical finder alone; the network's regions alone, each cell given to the
centre that its offset points to; and both, as shipped: the network proposes and casts doubt, rims are fitted.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import cv2
import numpy as np

from tests.accuracy.cache import scenes_folder
from tests.accuracy.overlap import Mask, axis_end_error, iou, match
from tests.accuracy.part_free import FOLDER, read_benches
from tests.accuracy.scoring import Json, read_mask, read_scenes
from wearview.parts import Part
from wearview.parts.find import parts_seen
from wearview.parts.learned import LINING, STEEL, TEETH, Sight, look, plate_centres
from wearview.photo import Photo, read_photo
from wearview.quality import judge

WAYS = ("classical", "regions", "both")
NEAR = 8.0  # cells that an offset may miss a centre by
LEAST = 0.5  # chance from which on a cell belongs to a plate


@dataclass(frozen=True, slots=True)
class Tally:
    """One photo, one way."""

    true: int
    found: int
    extra: int
    part_iou: tuple[float, ...]
    face_iou: tuple[float, ...]
    axis_ends: tuple[float, ...]
    seconds: float

    @property
    def photo_face(self) -> float:
        """Mean face IoU over the photo's parts, a missed one counting 0."""
        return sum(self.face_iou) / self.true


def region_masks(sight: Sight, size: tuple[int, int]) -> list[tuple[Mask, Mask]]:
    """Part and face masks, ``size`` wide and high, straight from the network's cells."""
    centres = sight.to_cells(plate_centres(sight))
    body = sight.chance[[LINING, STEEL, TEETH]]
    rows, columns = np.nonzero(body.sum(axis=0) > LEAST)
    if not len(centres) or not len(rows):
        return []
    aim = np.stack([columns, rows], 1) + sight.offset[:, rows, columns].T
    away = np.linalg.norm(aim[:, None] - centres[None], axis=2)
    owner = np.where(away.min(axis=1) < NEAR, away.argmin(axis=1), -1)
    face = (body[:2].sum(axis=0) > body[2]).astype(np.uint8)
    masks = []
    for k in range(len(centres)):
        part = np.zeros(face.shape, np.uint8)
        part[rows[owner == k], columns[owner == k]] = 1
        whole, flat = (cv2.resize(m, size, interpolation=cv2.INTER_NEAREST) > 0 for m in (part, part & face))
        masks.append((whole, flat))
    return masks


def laid_out(part: Part, size: tuple[int, int]) -> tuple[Mask, Mask]:
    """Part and face masks of a found part in the whole working copy."""
    masks = []
    for mask in (part.part_mask, part.face_mask):
        whole = np.zeros(size[::-1], bool)
        whole[part.origin[1] :, part.origin[0] :][: mask.shape[0], : mask.shape[1]] = mask
        masks.append(whole)
    return masks[0], masks[1]


def tally(photo: Photo, way: str, scene: Json, truth: Sequence[tuple[Mask, Mask]]) -> Tally:
    """Find the parts of one photo in one way and match them to what is there."""
    size = (photo.working.shape[1], photo.working.shape[0])
    start = time.process_time()
    sight = None if way == "classical" else look(photo.working)
    parts = () if way == "regions" else parts_seen(photo, sight)
    regions = region_masks(sight, size) if way == "regions" and sight is not None else []
    seconds = time.process_time() - start
    found = regions or [laid_out(part, size) for part in parts]
    matching = match([m for m, _ in found], [1.0] * len(found), [m for m, _ in truth], [True] * len(truth))
    ends = []
    for i, k in matching.pairs:
        for edge in ("outer", "inner"):
            seen, true = getattr(parts[i], edge) if parts else None, scene["parts"][k][edge]
            if seen is not None and true is not None:
                ends.append(axis_end_error(asdict(seen), true))
    return Tally(
        len(truth),
        len(matching.pairs),
        len(matching.extra),
        tuple(iou(found[i][0], truth[k][0]) for i, k in matching.pairs),
        tuple(iou(found[i][1], truth[k][1]) for i, k in matching.pairs),
        tuple(ends),
        seconds,
    )


def row(way: str, tallies: Sequence[Tally], benches: Sequence[Tally]) -> str:
    """One line of the table."""
    true, found, extra = (sum(getattr(t, name) for t in tallies) for name in ("true", "found", "extra"))
    photos = sorted(t.photo_face for t in tallies if t.true)
    tenth = photos[: max(1, len(photos) // 10)]
    means = [
        float(np.mean([v for t in tallies for v in getattr(t, name)] or [np.nan]))
        for name in ("part_iou", "face_iou", "axis_ends")
    ]
    figures = [2 * found / max(1, found + extra + true), means[0], means[1], float(np.mean(tenth)), means[2]]
    seconds = float(np.median([t.seconds for t in (*tallies, *benches)]))
    false = sum(t.extra for t in benches)
    return (
        f"{way:11}"
        + "".join(f"{v:>9.4f}" for v in figures)
        + f"{true - found:>8}{extra:>8}{false:>8}{seconds:>9.3f}"
    )


def main(arguments: list[str] | None = None) -> int:
    """Find the parts of every fit photo and of the part-free ones in three ways and print the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.accuracy.proposals", description=__doc__)
    parser.add_argument(
        "--scenes", type=Path, default=None, help="folder made by python -m tests.scenes broad"
    )
    parser.add_argument("--only", choices=("tuned", "untouched"), help="one set of scenes")
    options = parser.parse_args(arguments)
    folder = options.scenes or scenes_folder()
    cv2.setNumThreads(1)
    for name, tuned in (("tuned", True), ("untouched", False)):
        if options.only not in (None, name):
            continue
        scenes = [s for s in read_scenes(folder) if s["tuned"] == tuned and s["gradeable"]]
        benches = [s for s in read_benches(folder) if s["tuned"] == tuned]
        of_scenes = _all_ways([(folder, s) for s in scenes])
        of_benches = _all_ways([(folder / FOLDER, s) for s in benches])
        print(f"{name}: {len(scenes)} fit photos, {len(benches)} without a part")
        titles = ("F1", "part", "face", "tenth", "ends", "missed", "extra", "false", "seconds")
        print(
            f"{'':11}" + "".join(f"{title:>{8 if k in (5, 6, 7) else 9}}" for k, title in enumerate(titles))
        )
        for way in WAYS:
            print(row(way, of_scenes[way], of_benches[way]))
    return 0


def _all_ways(scenes: Sequence[tuple[Path, Json]]) -> dict[str, list[Tally]]:
    tallies: dict[str, list[Tally]] = {way: [] for way in WAYS}
    for k, (folder, scene) in enumerate(scenes, start=1):
        print(f"\r{k}/{len(scenes)}", end="", file=sys.stderr, flush=True)
        photo = read_photo(folder / scene["photo"])
        size = (photo.working.shape[1], photo.working.shape[0])
        truth = [
            tuple(
                cv2.resize(
                    read_mask(folder / part[name]).astype(np.uint8), size, interpolation=cv2.INTER_AREA
                )
                > 0
                for name in ("part_mask", "face_mask")
            )
            for part in scene["parts"]
        ]
        if not judge(photo).gradeable:  # refused before any part is sought
            for way in WAYS:
                tallies[way].append(Tally(len(truth), 0, 0, (), (), (), 0.0))
            continue
        for way in WAYS:
            tallies[way].append(tally(photo, way, scene, truth))  # type: ignore[arg-type]
    print(file=sys.stderr)
    return tallies


if __name__ == "__main__":
    sys.exit(main())
