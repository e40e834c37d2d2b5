"""Count shots joined rightly with the phone turned: ``python -m tests.accuracy.turned --scenes DIR``.

Needs the photos that ``python -m tests.scenes relight --out DIR`` makes. The second light's photo of each row
of plates is turned by 0, 90 and 180 degrees and some angle and seen a little from elsewhere, as by hand.
"""

from __future__ import annotations

import argparse
import io
import json
import math
import sys
from collections import Counter
from itertools import combinations
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tests.accuracy.cache import scenes_folder
from wearview.layout import surest_way, ways_to_lie
from wearview.look import centre_of
from wearview.parts import find_parts
from wearview.photo import Photo, read_photo, read_photo_bytes

TURNS = (0.0, 90.0, 180.0, 30.0)
BY_HAND = 0.03  # of the long side: how far each corner of the picture goes, either way


def turned(
    rgb8: NDArray[np.uint8], degrees: float, rng: np.random.Generator
) -> tuple[Photo, NDArray[np.float64]]:
    """The photo turned clockwise and seen from elsewhere, as JPEG, and where its pixels went."""
    height, width = rgb8.shape[:2]
    c, s = abs(math.cos(math.radians(degrees))), abs(math.sin(math.radians(degrees)))
    size = round(width * c + height * s), round(width * s + height * c)
    turn = np.vstack([cv2.getRotationMatrix2D(((width - 1) / 2, (height - 1) / 2), -degrees, 1), [0, 0, 1]])
    turn[:2, 2] += (size[0] - width) / 2, (size[1] - height) / 2
    corners = np.array([[0, 0], [size[0], 0], size, [0, size[1]]], np.float32)
    moved = corners + rng.uniform(-BY_HAND, BY_HAND, (4, 2)) * max(size)
    warp = cv2.getPerspectiveTransform(corners, moved.astype(np.float32)) @ turn
    seen = cv2.warpPerspective(rgb8, warp, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    out = io.BytesIO()
    Image.fromarray(seen).save(out, "JPEG", quality=90)
    return read_photo_bytes(out.getvalue(), "turned"), warp


def joined(first: Photo, again: Photo, warp: NDArray[np.float64]) -> str:
    """What came of joining the second photo to the first."""
    here, there = find_parts(first), find_parts(again)
    if len(here) != len(there):
        return "other parts found"
    ways = ways_to_lie(here, there)
    if not ways:
        return "lies otherwise"
    order = surest_way(ways, (first.working, first.scale), (again.working, again.scale))
    if order is None:
        return "fits either way"
    should = cv2.perspectiveTransform(np.array([[centre_of(part) for part in here]]), warp)[0]
    away = [np.linalg.norm(np.array(centre_of(there[n])) - xy) for n, xy in zip(order, should, strict=True)]
    apart = min(float(np.linalg.norm(one - other)) for one, other in combinations(should, 2))
    return "right" if max(away) < apart / 2 else "WRONG"


def main() -> int:
    """Print the counts, tuned and untouched photos apart."""
    parser = argparse.ArgumentParser(prog="python -m tests.accuracy.turned", description=__doc__)
    parser.add_argument("--scenes", type=Path, default=scenes_folder())
    parser.add_argument("--only", choices=("tuned", "untouched"), help="leave the others out")
    args = parser.parse_args()
    cv2.setNumThreads(1)
    counts = {"tuned": Counter[str](), "untouched": Counter[str]()}
    for number, file in enumerate(sorted((args.scenes / "relight").glob("*-light1.json"))):
        scene = json.loads(file.read_text("utf-8"))
        which = "tuned" if scene["tuned"] else "untouched"
        if len(scene["parts"]) < 2 or args.only not in (None, which):
            continue
        first = read_photo(file.parent / scene["photo"])
        second = read_photo(file.parent / scene["photo"].replace("-light1", "-light2"))
        rng = np.random.default_rng(number)
        for degrees in TURNS:
            again, warp = turned(second.rgb8, degrees, rng)
            counts[which][joined(first, again, warp)] += 1
    for which, count in counts.items():
        if total := count.total():
            print(f"{which}: " + ", ".join(f"{n} {what}" for what, n in count.most_common()) + f"; N {total}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
