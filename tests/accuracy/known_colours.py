"""How far off known colours come out by the mat, calibrated or not, and by a chart, under six lights.

    python -m tests.accuracy.known_colours [--prints N]

Each print is another printer's; its mat is calibrated once beside a chart, by another phone in another light.
Then eight flat colours of linings and steels lie in the room, and in each of six lights is another phone.
"""

import argparse
from collections import defaultdict

import numpy as np
from numpy.typing import NDArray

from tests.scenes.camera import random_phone
from tests.scenes.printed import Board, Laid, Lit, Page, View, random_inks, shoot, true_place
from wearview.colour import delta_e, lab_to_linear, linear_to_lab
from wearview.light.calibrate import MatColours, calibrate_mat
from wearview.light.field import places
from wearview.light.known import KnownLight, chart_light, mat_light
from wearview.mat import design_for, find_mat
from wearview.mat.chart import find_charts, published_linear
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


def random_view(rng, across=390.0):
    return View(
        mm_across=across * rng.uniform(1, 1.2),
        tilt_deg=rng.uniform(0, 20),
        towards_deg=rng.uniform(0, 360),
        turn_deg=90 + rng.normal(0, 8),
        bend=rng.uniform(-0.03, 0.03),
    )


def errors(rgb8, view, laid, light: KnownLight):
    """Delta E of each disc from what it is."""
    size = (rgb8.shape[1], rgb8.shape[0])
    at = true_place(view, np.array([[d.x, d.y] for d in laid]))
    whole = np.rint(at).astype(int)
    codes = np.array(
        [np.median(rgb8[y - 10 : y + 11, x - 10 : x + 11].reshape(-1, 3), axis=0) for x, y in whole]
    )
    level = np.exp(places(at, size) @ light.field)[:, None]
    linear = light.camera.mixed(light.camera.decoded(codes / 255) / (light.white * level))
    return delta_e(linear_to_lab(linear), linear_to_lab(np.array([d.colour for d in laid])))


def calibrated(pdf, inks, rng) -> MatColours:
    lit = Lit((rng.uniform(0.9, 1.2), 1.0, rng.uniform(0.75, 1.1)), tuple(rng.normal(0, 0.15, 2)), -0.05)
    board = Board(
        0, 0, 109, float(rng.choice([0, 90, 180, 270]) + rng.normal(0, 5)), published_linear("after-2014")
    )
    rgb8 = shoot(Page(pdf, inks, boards=[board]), random_view(rng), lit, random_phone(rng), rng)
    return calibrate_mat(rgb8, find_mat(rgb8), "after-2014")


def measured(prints: int):
    """Delta E by method and light, refusals counted."""
    pdf = mat_pdf(design_for("a4"))
    found, refused = defaultdict(list), defaultdict(int)
    for n in range(prints):
        rng = np.random.default_rng(1000 + n)
        inks = random_inks(rng)
        colours = calibrated(pdf, inks, rng)
        true_colours = None if not isinstance(colours, MatColours) else colours.linear
        for name, lit in LIGHTS.items():
            laid, view = discs(rng), random_view(rng)
            size = (view.width, view.height)
            rgb8 = shoot(Page(pdf, inks, laid), view, lit, random_phone(rng), rng)
            mat = find_mat(rgb8)
            ways = {WAYS[0]: mat_light(mat, true_colours, size), WAYS[1]: mat_light(mat, None, size)}
            board = Board(0, 0, 80, float(rng.uniform(0, 360)), published_linear("after-2014"))
            beside = shoot(Page(pdf, inks, laid, boards=[board]), view, lit, random_phone(rng), rng)
            field = ways[WAYS[1]].field
            ways[WAYS[2]] = chart_light(find_charts(beside), published_linear("after-2014"), field, size)
            for way, light in ways.items():
                shot = beside if way == WAYS[2] else rgb8
                if light is None:
                    refused[way] += 1
                else:
                    found[way, name].append((errors(shot, view, laid, light), light.residual))
    return found, refused


def line(name: str, found: list[tuple[NDArray[np.floating], float]]) -> str:
    off = np.concatenate([each for each, _ in found])
    residual = np.median([each for _, each in found])
    low, high = np.median(off), np.quantile(off, 0.9)
    return f"{name:<18}{low:8.2f}{off.mean():7.2f}{high:7.2f}{off.max():7.2f}{len(off):5d}{residual:9.2f}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--prints", type=int, default=4, metavar="N", help="printers (default: 4)")
    found, refused = measured(parser.parse_args().prints)
    print(f"{'by':<16}{'light':<18}{'median':>8}{'mean':>7}{'p90':>7}{'worst':>7}{'N':>5}{'residual':>9}")
    for way in WAYS:
        rows = {name: found[way, name] for name in LIGHTS}
        for name, each in (*rows.items(), ("all", [e for row in rows.values() for e in row])):
            if each:
                print(f"{way:<16}{line(name, each)}")
        print(f"{way:<16}refused {refused[way]}")


if __name__ == "__main__":
    main()
