"""Print how far a reading may be trusted: ``python -m tests.accuracy.honest``.

For each way to know the light: error of the median Delta E, how often the stated 90 % interval holds the
truth, and how often no grade could be given. Then the two things that must not happen at all: a lining too
dark to show heat that gets a grade, and without anything of known colour a confident grade two levels off.
Last, agreement of all graded parts with the truth. What a mat or chart gives is measured by
`tests.accuracy.known_colours`.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from tests.accuracy.cache import scenes_folder
from tests.accuracy.grades import TOO_DARK_L, quadratic_kappa
from tests.accuracy.scoring import Pair, Scored, read_scenes, score_scene
from wearview.settings import load_settings
from wearview.terms import LINED_KINDS, WEAK_LIGHT

CONFIDENT = 0.9  # chance of its level from which a grade is called confident
ASKED = {"mat": 1.5, "chart": 1.5, "card": 2.5, "paper": 2.5}  # mean error of Delta E, by the plan
RESAMPLED, SEED = 1000, 5


@dataclass(frozen=True, slots=True)
class Part:
    """A part that was found in a photo that can be graded; NaN and None where nothing was measured."""

    scene: str
    tuned: bool
    method: str
    lined: bool
    dark: bool
    error: float
    stated: float
    true_level: int | None
    level: int | None
    chance: float


def parts_of(scored: Sequence[Scored]) -> Iterator[Part]:
    """The parts found in photos that can be graded."""
    for one in scored:
        if one.scene["gradeable"]:
            yield from (_part(one, pair) for pair in one.pairs if pair.seen is not None)


def _part(scored: Scored, pair: Pair) -> Part:
    assert pair.seen is not None
    true, shade, grade = pair.truth["truth"], pair.seen["discoloration"], pair.seen["grade"]
    known = shade is not None and true["delta_e00_median"] is not None
    stated = shade["uncertainty"] if known else None
    return Part(
        scene=scored.scene["id"],
        tuned=scored.scene["tuned"],
        method=scored.photo["light"]["method"],
        lined=pair.truth["kind"] in LINED_KINDS,
        dark=true["clean_lab"] is not None and true["clean_lab"][0] < TOO_DARK_L,
        error=abs(shade["delta_e00_median"] - true["delta_e00_median"]) if known else math.nan,
        stated=math.nan if stated is None else stated,
        true_level=true["level"] if true["margin_ok"] else None,
        level=None if grade is None else grade["level"],
        chance=0.0 if grade is None else max(grade["probability"]),
    )


def table(name: str, parts: Sequence[Part]) -> str:
    """All figures of one set of scenes."""
    heads = "".join(f"{head:>9}" for head in ("mean", "worst", "N", "asked", "held", "told", "no grade"))
    lines = [f"{name}: {len(parts)} parts", f"{'light known from':18}{heads}"]
    for method in sorted({part.method for part in parts}):
        lines.append(_by_light(method, [part for part in parts if part.method == method]))
    dark = [part for part in parts if part.dark]
    lines.append(
        f"linings too dark to show heat: {len(dark)}, graded {sum(p.level is not None for p in dark)}"
    )
    weak = [p for p in parts if p.method in WEAK_LIGHT and p.level is not None and p.true_level is not None]
    sure = [p for p in weak if p.chance >= CONFIDENT]
    off = sum(abs((p.level or 0) - (p.true_level or 0)) >= 2 for p in sure)
    lines.append(f"nothing of known colour: {len(sure)} confident grades, two levels off {off}")
    return "\n".join([*lines, _agreement(parts)])


def _by_light(method: str, parts: Sequence[Part]) -> str:
    lined = [part for part in parts if part.lined and not math.isnan(part.error)]
    able = [part for part in parts if not part.dark]
    missing = sum(part.level is None for part in able) / max(1, len(able))
    if not lined:
        return f"{method:18}{'-':>9}{'-':>9}{0:9}{'':9}{'-':>9}{'-':>9}{missing:9.2f}"
    error, stated = np.array([p.error for p in lined]), np.array([p.stated for p in lined])
    held, asked = float((error <= stated).mean()), ASKED.get(method)
    shown = "" if asked is None else f"{asked:.1f}"
    return (
        f"{method:18}{error.mean():9.2f}{error.max():9.2f}{len(error):9}{shown:>9}{held:9.2f}"
        f"{np.nanmean(stated):9.2f}{missing:9.2f}"
    )


def _agreement(parts: Sequence[Part]) -> str:
    """Kappa with an interval that resamples whole photos (Field and Welsh, J. Roy. Stat. Soc. B 69, 2007)."""
    pairs: dict[str, list[tuple[int, int]]] = {}
    for part in parts:
        if part.level is not None and part.true_level is not None:
            pairs.setdefault(part.scene, []).append((part.true_level, part.level))
    if not pairs:
        return "no grades"
    rng, scenes = np.random.default_rng(SEED), list(pairs)

    def kappa(chosen: Sequence[str]) -> float:
        both = [pair for scene in chosen for pair in pairs[scene]]
        return quadratic_kappa([true for true, _ in both], [seen for _, seen in both])

    drawn = [kappa([scenes[k] for k in rng.integers(0, len(scenes), len(scenes))]) for _ in range(RESAMPLED)]
    low, high = np.nanquantile(drawn, (0.025, 0.975))
    n = sum(map(len, pairs.values()))
    told = f"quadratic kappa {kappa(scenes):.3f} [{low:.3f}, {high:.3f}]"
    return f"{told} (N {n} of {len(scenes)} photos; asked 0.93)"


def main(arguments: list[str] | None = None) -> int:
    """Grade every scene of the folders and print the tables."""
    parser = argparse.ArgumentParser(prog="python -m tests.accuracy.honest", description=__doc__)
    parser.add_argument("--scenes", type=Path, nargs="+", default=[scenes_folder()])
    options = parser.parse_args(arguments)
    cv2.setNumThreads(1)
    settings, scored = load_settings(), []
    for folder in options.scenes:
        for scene in read_scenes(folder):
            scored.append(score_scene(folder, scene, settings))
            print(scene["id"], file=sys.stderr, flush=True)
    parts = list(parts_of(scored))
    for name, tuned in (("tuned", True), ("untouched", False)):
        if chosen := [part for part in parts if part.tuned == tuned]:
            print(table(name, chosen) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
