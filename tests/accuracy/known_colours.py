"""How far off known colours come out by the mat, calibrated or not, and by a chart, under six lights.

    python -m tests.accuracy.known_colours [--prints N]

Each print is another printer's; its mat is calibrated once beside a chart, by another phone in another light.
Then eight flat colours of linings and steels lie in the room, and in each of six lights is another phone.
"""

import argparse
from collections import defaultdict
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.scenes.camera import random_phone
from tests.scenes.printed import Board, Laid, Lit, Page, View, random_inks, shoot, true_place
from wearview.colour import delta_e, lab_to_linear, linear_to_lab
from wearview.light import NOTHING_MEASURED, KnownColours, Light, estimate_light, find_targets
from wearview.light.calibrate import MatColours, calibrate_mat
from wearview.mat import design_for, find_mat
from wearview.mat.chart import published_linear
from wearview.mat.sheet import mat_pdf

# Colour beside neutral, slope and bow; the phone's white balance takes out most of the colour.
LIGHTS = {
    "warm LED": Lit((1.35, 1.0, 0.62), (0.25, -0.10), -0.05),
    "cold LED": Lit((0.86, 1.0, 1.22), (-0.15, 0.20), -0.05),
    "window": Lit((0.92, 1.02, 1.12), (0.45, 0.10), 0.0),
    "flash": Lit((1.02, 1.0, 0.96), (0.0, 0.0), -0.22),
    "shop tube": Lit((1.05, 1.06, 0.84), (0.0, 0.05), -0.02),
    "lamp at one side": Lit((1.22, 1.0, 0.74), (-0.40, 0.35), -0.12),
}
CHART = published_linear("after-2014")
WAYS = ("mat calibrated", "mat", "chart")
LABS = np.array(
    [
        [60, 8, 25],
        [45, 15, 20],
        [34, 5, 10],
        [28, 3, 6],
        [48, -8, 18],
        [68, 1, 6],
        [22, 2, 3],
        [42, 22, 20],
    ],
    float,
)


def discs(rng):
    """Colours in a ring of places, where a plate's face lies."""
    order = rng.permutation(len(LABS))
    angle = rng.uniform(0, 2 * np.pi) + np.arange(len(LABS)) / len(LABS) * 2 * np.pi
    linear = lab_to_linear(LABS[order])
    return [Laid(70 * np.cos(a), 70 * np.sin(a), 12, 0, c) for a, c in zip(angle, linear, strict=True)]


def any_phone(rng):
    """Some phone; its profile is taken off before colours are looked at."""
    return replace(random_phone(rng), wide_gamut=False)


def random_view(rng, across=390.0):
    return View(
        mm_across=across * rng.uniform(1, 1.2),
        tilt_deg=rng.uniform(0, 20),
        towards_deg=rng.uniform(0, 360),
        turn_deg=90 + rng.normal(0, 8),
        bend=rng.uniform(-0.03, 0.03),
    )


def light_of(rgb8, colours: KnownColours, mat: bool) -> Light:
    """The light as grading takes it, by the mat or without it."""
    targets = find_targets(rgb8, colours)
    if not mat:
        targets = replace(targets, mat=None)
    small = cv2.resize(rgb8, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    nothing = np.zeros(small.shape[:2], bool)
    return estimate_light(small, nothing, nothing, targets, colours)


def errors(rgb8, view, laid, light: Light) -> tuple[NDArray[np.floating], NDArray[np.floating]]:
    """Delta E of each disc from what it is, and the half width of the 90 % interval that is told."""
    at = true_place(view, np.array([[d.x, d.y] for d in laid]))
    whole = np.rint(at).astype(int)
    squares = (rgb8[y - 10 : y + 11, x - 10 : x + 11].reshape(-1, 3) for x, y in whole)
    codes = np.array([np.median(each, axis=0) for each in squares]).astype(np.uint8)
    x, y = (2 * at / (np.array([view.width, view.height]) - 1) - 1).T
    seen = linear_to_lab(light.relative(codes, x, y))
    told = [light.uncertainty(*each) for each in zip(seen, x, y, strict=True)]
    return delta_e(seen, linear_to_lab(np.array([d.colour for d in laid]))), np.array(told)


def calibrated(pdf, inks, rng) -> MatColours:
    """The mat's colours from a shot beside a chart, taken again a little darker until it serves."""
    lit = Lit((rng.uniform(0.9, 1.2), 1.0, rng.uniform(0.75, 1.1)), tuple(rng.normal(0, 0.15, 2)), -0.05)
    turn = float(rng.choice([0, 90, 180, 270]) + rng.normal(0, 5))
    page, view, phone = (
        Page(pdf, inks, boards=[Board(0, 0, 109, turn, CHART)]),
        random_view(rng),
        any_phone(rng),
    )
    for darker in (1.0, 0.8, 0.6):
        rgb8 = shoot(page, view, lit, replace(phone, exposure=phone.exposure * darker), rng)
        found = calibrate_mat(rgb8, find_mat(rgb8), "after-2014")
        if isinstance(found, MatColours):
            return found
    raise RuntimeError(f"not calibrated: {found}")


def measured(prints: int):
    """Delta E by method and light, refusals counted."""
    pdf = mat_pdf(design_for("a4"))
    found, refused = defaultdict(list), defaultdict(int)
    for n in range(prints):
        rng = np.random.default_rng(1000 + n)
        inks = random_inks(rng)
        colours = calibrated(pdf, inks, rng)
        for name, lit in LIGHTS.items():
            laid, view = discs(rng), random_view(rng)
            rgb8 = shoot(Page(pdf, inks, laid), view, lit, any_phone(rng), rng)
            board = Board(0, 0, 80, float(rng.uniform(0, 360)), CHART)
            beside = shoot(Page(None, inks, laid, boards=[board]), view, lit, any_phone(rng), rng)
            shots = (
                (WAYS[0], rgb8, KnownColours(CHART, colours.linear, "chart"), True),
                (WAYS[1], rgb8, NOTHING_MEASURED, True),
                (WAYS[2], beside, NOTHING_MEASURED, False),
            )
            for way, shot, known, mat in shots:
                light = light_of(shot, known, mat)
                if light.known is None:
                    refused[way] += 1
                else:
                    found[way, name].append((*errors(shot, view, laid, light), light.known.residual))
    return found, refused


def line(name: str, found: list[tuple[NDArray[np.floating], NDArray[np.floating], float]]) -> str:
    off, told = (np.concatenate([each[k] for each in found]) for k in (0, 1))
    residual = np.median([each[2] for each in found])
    numbers = (np.median(off), off.mean(), np.quantile(off, 0.9), off.max())
    shown = "".join(f"{number:8.2f}" for number in numbers)
    return f"{name:<18}{shown}{len(off):6d}{(off <= told).mean():8.2f}{told.mean():8.2f}{residual:9.2f}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--prints", type=int, default=4, metavar="N", help="printers (default: 4)")
    found, refused = measured(parser.parse_args().prints)
    heads = "".join(f"{head:>8}" for head in ("median", "mean", "p90", "worst"))
    print(f"{'by':<16}{'light':<18}{heads}{'N':>6}{'held':>8}{'told':>8}{'residual':>9}")
    for way in WAYS:
        rows = {name: found[way, name] for name in LIGHTS}
        for name, each in (*rows.items(), ("all", [e for row in rows.values() for e in row])):
            if each:
                print(f"{way:<16}{line(name, each)}")
        print(f"{way:<16}refused {refused[way]}")


if __name__ == "__main__":
    main()
