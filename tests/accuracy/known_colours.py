"""How far off known colours come out by the mat, calibrated or not, and by a chart, under six lights.

    python -m tests.accuracy.known_colours [--prints N]

Each print is another printer's; its mat is calibrated once beside a chart, by another phone in another light.
Then eight flat colours of linings and steels lie in the room, and in each of six lights is another phone.
Lamps, sensors, chart, inks and linings have spectra (`tests.scenes.spectra`): what is alike in daylight is
not in every lamp. The last line of each way is what grades rest on, a burnt lining against a clean one.
"""

import argparse
import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.scenes.camera import random_phone
from tests.scenes.printed import Board, Laid, Lit, Page, View, shoot, true_place
from tests.scenes.spectra import (
    CHART_EDITION,
    SENSORS,
    Dyes,
    SeenInks,
    chart_spectra,
    lining_spectrum,
    random_dyes,
    sight,
)
from wearview.colour import delta_e, lab_to_linear, linear_to_lab
from wearview.light import KnownColours, Light, estimate_light, find_targets
from wearview.light.calibrate import MatColours, calibrate_mat
from wearview.mat import design_for, find_mat
from wearview.mat.chart import published_linear
from wearview.mat.sheet import mat_pdf
from wearview.reference import BATCH_SPREAD

# Colour beside neutral, slope and bow; the phone's white balance takes out most of the colour.
LIGHTS = {
    "warm LED": Lit((1.35, 1.0, 0.62), (0.25, -0.10), -0.05),
    "cold LED": Lit((0.86, 1.0, 1.22), (-0.15, 0.20), -0.05),
    "window": Lit((0.92, 1.02, 1.12), (0.45, 0.10), 0.0),
    "flash": Lit((1.02, 1.0, 0.96), (0.0, 0.0), -0.22),
    "shop tube": Lit((1.05, 1.06, 0.84), (0.0, 0.05), -0.02),
    "lamp at one side": Lit((1.22, 1.0, 0.74), (-0.40, 0.35), -0.12),
}
CHART = published_linear(CHART_EDITION)
KNOWN = KnownColours(CHART, None, None)
CALIBRATED_IN = "window"  # as the README asks
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


# Which of them is burnt of which: tan, red-brown and green linings.
HEATED = ((0, 1), (0, 2), (0, 3), (7, 2), (7, 3), (7, 6), (4, 2), (4, 3), (4, 6))


def places(rng):
    """The colours of `LABS` in some order, and where each lies, x and y in mm: in a ring, as a face does."""
    order = rng.permutation(len(LABS))
    angle = rng.uniform(0, 2 * np.pi) + np.arange(len(LABS)) / len(LABS) * 2 * np.pi
    return order, 70 * np.cos(angle), 70 * np.sin(angle)


def discs(rng):
    """Colours of `LABS` in a ring, as three channels have them."""
    order, x, y = places(rng)
    return laid_at(order, x, y, lab_to_linear(LABS))


def laid_at(order, x, y, linear):
    """Discs of these colours, shape (8, 3), at `places`."""
    return [Laid(*at, 12, 0, colour) for *at, colour in zip(x, y, linear[order], strict=True)]


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


def read_discs(rgb8, view, laid, light: Light) -> tuple[NDArray[np.floating], NDArray[np.floating]]:
    """CIELAB that each disc is read as, and the half width of the 90 % interval that is told."""
    at = true_place(view, np.array([[d.x, d.y] for d in laid]))
    whole = np.rint(at).astype(int)
    squares = (rgb8[y - 10 : y + 11, x - 10 : x + 11].reshape(-1, 3) for x, y in whole)
    codes = np.array([np.median(each, axis=0) for each in squares]).astype(np.uint8)
    x, y = (2 * at / (np.array([view.width, view.height]) - 1) - 1).T
    seen = linear_to_lab(light.relative(codes, x, y))
    return seen, np.array([light.uncertainty(*each) for each in zip(seen, x, y, strict=True)])


def errors(rgb8, view, laid, light: Light) -> tuple[NDArray[np.floating], NDArray[np.floating]]:
    """Delta E of each disc from what it is, and the half width of the 90 % interval that is told."""
    seen, told = read_discs(rgb8, view, laid, light)
    return delta_e(seen, linear_to_lab(np.array([d.colour for d in laid]))), told


def calibrated(pdf, dyes: Dyes, rng) -> MatColours:
    """The mat's colours from a shot beside a chart, taken again a little darker until it serves."""
    lit = Lit((rng.uniform(0.9, 1.1), 1.0, rng.uniform(0.9, 1.1)), tuple(rng.normal(0, 0.15, 2)), -0.05)
    turn = float(rng.choice([0, 90, 180, 270]) + rng.normal(0, 5))
    by = sight(CALIBRATED_IN, str(rng.choice(SENSORS)))
    board = Board(0, 0, 109, turn, by.seen(chart_spectra()))
    page, view, phone = Page(pdf, SeenInks(dyes, by), boards=[board]), random_view(rng), any_phone(rng)
    for darker in (1.0, 0.8, 0.6):
        rgb8 = shoot(page, view, lit, replace(phone, exposure=phone.exposure * darker), rng)
        found = calibrate_mat(rgb8, find_mat(rgb8), CHART_EDITION)
        if isinstance(found, MatColours):
            return found
    raise RuntimeError(f"not calibrated: {found}")


@dataclass(frozen=True, slots=True, eq=False)
class Shot:
    """The colours of `LABS` as read from one photo, and the half widths told, by one of `WAYS`."""

    way: str
    print_number: int
    light: str
    seen: NDArray[np.floating]
    told: NDArray[np.floating]
    residual: float


def measured(prints: int) -> tuple[list[Shot], Counter[str]]:
    """Every photo read by every way, and how many were refused by each."""
    pdf, spectra = mat_pdf(design_for("a4")), np.array([lining_spectrum(lab) for lab in LABS])
    shots: list[Shot] = []
    refused: Counter[str] = Counter()
    for n in range(prints):
        rng = np.random.default_rng(1000 + n)
        dyes = random_dyes(rng)
        colours = calibrated(pdf, dyes, rng)
        for name, lit in LIGHTS.items():
            by, view = sight(name, str(rng.choice(SENSORS))), random_view(rng)
            order, x, y = places(rng)
            laid, inks = laid_at(order, x, y, by.seen(spectra)), SeenInks(dyes, by)
            rgb8 = shoot(Page(pdf, inks, laid), view, lit, any_phone(rng), rng)
            board = Board(0, 0, 80, float(rng.uniform(0, 360)), by.seen(chart_spectra()))
            beside = shoot(Page(None, inks, laid, boards=[board]), view, lit, any_phone(rng), rng)
            for way, photo, known, mat in (
                (WAYS[0], rgb8, KnownColours(CHART, colours.linear, "chart"), True),
                (WAYS[1], rgb8, KNOWN, True),
                (WAYS[2], beside, KNOWN, False),
            ):
                light = light_of(photo, known, mat)
                if light.known is None:
                    refused[way] += 1
                    continue
                seen, told = (values[np.argsort(order)] for values in read_discs(photo, view, laid, light))
                shots.append(Shot(way, n, name, seen, told, light.known.residual))
    return shots, refused


def differences(shots: Sequence[Shot]) -> tuple[NDArray[np.floating], NDArray[np.floating]]:
    """Errors of a burnt lining's Delta E from its clean colour, and the half widths told.

    Every photo of the burnt one is set beside every photo of the clean one on the same print, as grading does
    with a clean photo of another day: lamp and phone differ. What both are off by alike is in no difference.
    """
    errors, told = [], []
    for clean, burnt in product(shots, shots):
        if clean.print_number == burnt.print_number:
            for c, b in HEATED:
                off = delta_e(burnt.seen[b], clean.seen[c]) - delta_e(LABS[b], LABS[c])
                errors.append(abs(float(off)))
                told.append(math.hypot(clean.told[c], burnt.told[b], BATCH_SPREAD))
    return np.array(errors), np.array(told)


def row(off: NDArray[np.floating], told: NDArray[np.floating]) -> str:
    numbers = (np.median(off), off.mean(), np.quantile(off, 0.9), off.max())
    shown = "".join(f"{number:8.2f}" for number in numbers)
    return f"{shown}{len(off):6d}{(off <= told).mean():8.2f}{told.mean():8.2f}"


def line(name: str, shots: Sequence[Shot]) -> str:
    off = np.concatenate([delta_e(shot.seen, LABS) for shot in shots])
    told = np.concatenate([shot.told for shot in shots])
    return f"{name:<20}{row(off, told)}{np.median([shot.residual for shot in shots]):9.2f}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--prints", type=int, default=4, metavar="N", help="printers (default: 4)")
    shots, refused = measured(parser.parse_args().prints)
    heads = "".join(f"{head:>8}" for head in ("median", "mean", "p90", "worst"))
    print(f"{'by':<16}{'light':<20}{heads}{'N':>6}{'held':>8}{'told':>8}{'residual':>9}")
    for way in WAYS:
        mine = [shot for shot in shots if shot.way == way]
        for name in LIGHTS:
            if own := [shot for shot in mine if shot.light == name]:
                print(f"{way:<16}{line(name, own)}")
        if mine:
            print(f"{way:<16}{line('all', mine)}")
            print(f"{way:<16}{'burnt against clean':<20}{row(*differences(mine))}")
        print(f"{way:<16}refused {refused[way]}")


if __name__ == "__main__":
    main()
