"""Print how well heat tint is told from varnish, rust and transferred lining: ``python -m
tests.accuracy.deposits``.

Needs the photos that ``python -m tests.scenes deposits --out DIR`` makes. Every face pixel that was measured
is set beside the truth of the same place.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.accuracy.cache import scenes_folder
from tests.scenes.deposit_scenes import FOLDER, OFF_FACE
from tests.scenes.deposits import KINDS, VARNISH
from wearview.pipeline import grade_photos
from wearview.record import GradedPart, GradedPhoto
from wearview.settings import Settings, load_settings
from wearview.steel import NOT_MEASURED
from wearview.terms import LINED_KINDS, TINTS

STRAW, OTHER = TINTS.index("straw"), TINTS.index("other")


@dataclass(frozen=True, slots=True, eq=False)
class Told:
    """One steel: pixels by true kind and seen tint, the true and the seen level (None: cannot tell)."""

    name: str
    tuned: bool
    counts: NDArray[np.int64]
    true_level: int
    level: int | None
    doubted: bool

    @property
    def right(self) -> float:
        """Share of the measured face whose family is right; deposits are `other`."""
        return float(sum(self.counts[k, min(k, OTHER)] for k in range(len(KINDS))) / self.counts.sum())

    @property
    def deposit(self) -> str:
        """The deposit that covers a twentieth of the face or more, or none."""
        shares = self.counts.sum(axis=1)[OTHER:] / self.counts.sum()
        return KINDS[OTHER + int(shares.argmax())] if shares.max() >= 0.05 else "none"


def read(folder: Path, settings: Settings, tuned: Sequence[bool]) -> Iterator[Told]:
    """Every steel that was found and measured."""
    for path in sorted((folder / FOLDER).glob("*.json")):
        scene = json.loads(path.read_text("utf-8"))
        if scene["tuned"] not in tuned:
            continue
        [photo] = grade_photos([str(path.with_suffix(".jpg"))], settings).photos
        files = [path.with_name(f"{scene['id']}-{n}-kinds.png") for n in (1, 2)]
        maps = [np.asarray(cv2.imread(str(file), cv2.IMREAD_GRAYSCALE)) for file in files]
        for part in photo.parts:
            if part.steel is None or part.face is None:
                print(f"{scene['id']}: a {part.part.kind} was seen", file=sys.stderr)
                continue
            counts = [count(photo, part, kinds) for kinds in maps]
            best = int(np.argmax([each.sum() for each in counts]))
            if counts[best].sum() > 0:
                level = None if part.grade is None else part.grade.level
                truth = scene["parts"][best]["truth"]["level"]
                doubted = any("varnish" in problem for problem in part.problems)
                yield Told(f"{scene['id']}-{best + 1}", scene["tuned"], counts[best], truth, level, doubted)
        print(scene["id"], file=sys.stderr, flush=True)


def count(photo: GradedPhoto, part: GradedPart, kinds: NDArray[np.uint8]) -> NDArray[np.int64]:
    """Measured pixels of a face by true kind and seen tint."""
    assert part.face is not None
    assert part.steel is not None
    assert part.part.kind not in LINED_KINDS
    seen = part.steel.family_map
    measured = seen != NOT_MEASURED
    x, y = np.rint(part.face.xy[measured]).astype(int).T
    true = kinds[np.clip(y, 0, kinds.shape[0] - 1), np.clip(x, 0, kinds.shape[1] - 1)]
    on = true != OFF_FACE
    cells = true[on].astype(int) * len(TINTS) + seen[measured][on]
    return np.bincount(cells, minlength=len(KINDS) * len(TINTS)).reshape(len(KINDS), len(TINTS))


def table(name: str, told: Sequence[Told]) -> str:
    """The confusion of kinds, of straw and varnish, and of levels."""
    counts = np.sum([one.counts for one in told], axis=0)
    shares = counts / np.maximum(counts.sum(axis=1, keepdims=True), 1)
    right = np.array([one.right for one in told])
    lines = [
        f"{name}: {len(told)} steels",
        f"family right on this share of the face (asked 0.95): {right.mean():.3f}, worst {right.min():.3f}, "
        f"at least 0.95 on {np.count_nonzero(right >= 0.95)}",
        f"{'true, share of its area seen as':32}" + "".join(f"{tint:>8}" for tint in TINTS) + "    face",
    ]
    for k, kind in enumerate(KINDS):
        row = "".join(f"{share:8.2f}" for share in shares[k])
        lines.append(f"{kind:32}{row}{counts[k].sum() / counts.sum():8.2f}")
    pair = counts[[STRAW, KINDS.index(VARNISH)]][:, [STRAW, OTHER]]
    lines += [f"{'straw against varnish, pixels':32}{'straw':>10}{'varnish':>10}"]
    lines += [f"  truly {n:24}{a:10}{b:10}" for n, (a, b) in zip(("straw", VARNISH), pair, strict=True)]
    for deposit in sorted({one.deposit for one in told}):
        these = [one for one in told if one.deposit == deposit]
        graded = [one for one in these if one.level is not None]
        exact = sum(one.level == one.true_level for one in graded)
        mean = np.mean([one.right for one in these])
        lines.append(
            f"deposit {deposit:20} N {len(these):2}: family right {mean:.3f}, level right {exact} of "
            f"{len(graded)} graded, said to be in doubt {sum(one.doubted for one in these)}"
        )
    return "\n".join(lines)


def main(arguments: list[str] | None = None) -> int:
    """Grade every scene and print the tables, tuned and untouched apart."""
    parser = argparse.ArgumentParser(prog="python -m tests.accuracy.deposits", description=__doc__)
    parser.add_argument("--scenes", type=Path, default=scenes_folder())
    parser.add_argument("--only", choices=("tuned", "untouched"))
    parser.add_argument("--each", action="store_true", help="also a line for each tuned steel")
    options = parser.parse_args(arguments)
    wanted = {None: (True, False), "tuned": (True,), "untouched": (False,)}[options.only]
    told = list(read(options.scenes, load_settings(), wanted))
    if options.each:
        print(
            "\n".join(
                f"{t.name} {t.deposit:20} {t.right:.3f} {t.true_level} {t.level}" for t in told if t.tuned
            )
        )
    for name, tuned in (("tuned", True), ("untouched", False)):
        if chosen := [one for one in told if one.tuned == tuned]:
            print(table(name, chosen) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
