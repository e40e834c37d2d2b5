"""The bench mat as a shop prints it: with which inks, how it lies, and a photo to calibrate it.

What is printed comes from the program's own command, as it does for a shop; nothing is imported from it.
"""

from __future__ import annotations

import subprocess  # nosec B404: the program's own command, no shell
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

import colour
import cv2
import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tests.scenes.bench import Surface
from tests.scenes.camera import Phone
from tests.scenes.printed import (
    PX_PER_MM,
    Board,
    Inks,
    Lit,
    Page,
    View,
    asked_colours,
    jpeg,
    shoot,
)

Field = NDArray[np.float32]

PAPER = "a4"
SHORT_MM, LONG_MM = 210.0, 297.0  # ISO 216
CHART = "ColorChecker24 - After November 2014"  # the data set's name in colour-science
PAPER_ROUGHNESS, PAPER_SHEEN = 0.9, 0.15  # uncoated paper is close to matte
TRIES = (1.0, 0.8, 0.6)  # exposures of the bare mat: where the paper is lost, it is taken again darker


@cache
def mat_page() -> bytes:
    """The mat's PDF."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "mat.pdf"
        command = [sys.executable, "-m", "wearview.cli", "mat", "--paper", PAPER, "--out", str(path)]
        subprocess.run(command, check=True, capture_output=True)  # nosec B603: a list of our own words
        return path.read_bytes()


def laid_on(
    bench: Surface, shift: tuple[float, float], turn_deg: float, inks: Inks, at_deg: float
) -> Surface:
    """The bench with the mat lying at the origin, its words along the direction ``at_deg``.

    ``shift`` and ``turn_deg`` say where the bench map lies.
    """
    sheet = inks.printed(asked_colours(mat_page()))
    rows, columns = bench.height.shape
    (half_x, half_y), turn = bench.half_mm, np.radians(turn_deg)
    x = ((np.arange(columns, dtype=np.float32) + 0.5) * 2 / columns - 1)[None] * half_x
    y = -((np.arange(rows, dtype=np.float32) + 0.5) * 2 / rows - 1)[:, None] * half_y  # rows go down
    on_x = np.cos(turn) * x - np.sin(turn) * y + shift[0]
    on_y = np.sin(turn) * x + np.cos(turn) * y + shift[1]
    at = np.radians(at_deg)
    right = (np.cos(at) * on_x + np.sin(at) * on_y) * PX_PER_MM + (sheet.shape[1] - 1) / 2
    down = (np.sin(at) * on_x - np.cos(at) * on_y) * PX_PER_MM + (sheet.shape[0] - 1) / 2
    inside = (abs(right - (sheet.shape[1] - 1) / 2) < sheet.shape[1] / 2) & (
        abs(down - (sheet.shape[0] - 1) / 2) < sheet.shape[0] / 2
    )
    printed = cv2.remap(
        sheet,
        right.astype(np.float32),
        down.astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )

    def over(field: Field, value: float) -> Field:
        return np.where(inside, np.float32(value), field)

    return Surface(
        bench.half_mm,
        np.where(inside[..., None], printed, bench.albedo),
        over(bench.roughness, PAPER_ROUGHNESS),
        over(bench.specular, PAPER_SHEEN),
        over(bench.metal, 0.0),
        over(bench.height, 0.0),
    )


def calibration_photos(rng: Generator, inks: Inks, phone: Phone) -> Iterator[bytes]:
    """The bare mat with a 24-patch chart on its middle, each photo darker than the one before."""
    lit = Lit((rng.uniform(0.9, 1.2), 1.0, rng.uniform(0.75, 1.1)), tuple(rng.normal(0, 0.15, 2)), -0.05)
    turn = float(rng.choice([0, 90, 180, 270]) + rng.normal(0, 5))
    page = Page(mat_page(), inks, boards=[Board(0, 0, 109, turn, chart_colours())])
    view = View(
        mm_across=390.0 * rng.uniform(1, 1.15),
        tilt_deg=rng.uniform(0, 15),
        towards_deg=rng.uniform(0, 360),
        turn_deg=90 + rng.normal(0, 6),
        bend=rng.uniform(-0.03, 0.03),
    )
    for darker in TRIES:
        yield jpeg(shoot(page, view, lit, replace(phone, exposure=darker, wide_gamut=False), rng))


@cache
def chart_colours() -> Field:
    """Linear sRGB under D65, shape (24, 3), of a chart made after November 2014; by colour-science."""
    chart = colour.CCS_COLOURCHECKERS[CHART]
    xyz = colour.xyY_to_XYZ(np.array(list(chart.data.values())))
    linear = colour.XYZ_to_RGB(
        xyz, "sRGB", illuminant=chart.illuminant, chromatic_adaptation_transform="Bradford"
    )
    return np.asarray(np.clip(linear, 0.002, 1), np.float32)
