"""Rims made finer: they leave the lip beside a lining, in any light, and turn with the photo."""

from __future__ import annotations

from dataclasses import asdict

import cv2
import numpy as np
import pytest

from tests.accuracy.overlap import axis_end_error
from wearview.errors import ModelsError
from wearview.parts import finer
from wearview.parts.candidate import Plate, plate_between
from wearview.parts.finer import changed, finer_rims
from wearview.parts.part import Ellipse
from wearview.parts.rims import ANGLES, Rim

SIZE = (640, 480)
OUTER, INNER = Ellipse(322.3, 239.6, 300.0, 270.0, 25.0), Ellipse(322.0, 239.0, 200.0, 180.0, 25.0)
LIP = 1.03  # of the rim's radius: the lip of core beside a lining
CLOSE = 0.005  # of the major axis: what is asked of the ends of axes
FINE = 8  # cells of the drawing in a pixel, across and down


def drawn(lining: tuple[int, int, int], bench: tuple[int, int, int]) -> np.ndarray:
    """RGB of a friction plate without teeth, a lip of core beside both rims of its lining."""
    x, y = ((np.arange(n * FINE) + 0.5) / FINE - 0.5 for n in SIZE)
    outer, inner = (rim.radius_of(x[None], y[:, None]) for rim in (OUTER, INNER))
    picture = np.empty((*outer.shape, 3), np.float32)
    picture[:] = bench
    picture[(outer < LIP) & (inner > 1 / LIP)] = (165, 168, 172)
    picture[(outer < 1) & (inner > 1)] = lining
    seen = cv2.GaussianBlur(cv2.resize(picture, SIZE, interpolation=cv2.INTER_AREA), (0, 0), 0.8)
    return np.clip(seen + np.random.default_rng(3).normal(0, 3, seen.shape), 0, 255).astype(np.uint8)


def found(rgb8: np.ndarray, outer: Ellipse, inner: Ellipse) -> Plate:
    everywhere = np.ones(ANGLES, bool)
    return plate_between(rgb8, *(Rim(e, everywhere, (e.major * e.minor) ** 0.5 / 2) for e in (outer, inner)))


def on_the_lip(rgb8: np.ndarray) -> Plate:
    """As the strongest edges have it: off by the lip's width, and a little to one side."""
    off = np.array([0.004, 0.003, 0.001, 0.001])
    return found(
        rgb8,
        changed(OUTER, np.array([LIP - 1, *off])),
        changed(INNER, np.array([1 / LIP - 1, *-off])),
    )


@pytest.mark.parametrize(
    ("lining", "bench"), [((120, 95, 60), (70, 72, 75)), ((60, 62, 55), (190, 180, 165))], ids=["tan", "dark"]
)
def test_rims_on_the_lip_of_the_core_move_to_the_linings_edge(lining, bench):
    rgb8 = drawn(lining, bench)
    plate = on_the_lip(rgb8)
    for start, rim, true in zip(
        (plate.outer, plate.inner), finer_rims(rgb8, plate), (OUTER, INNER), strict=True
    ):
        assert axis_end_error(asdict(start.ellipse), asdict(true)) > 2 * CLOSE
        assert axis_end_error(asdict(rim.ellipse), asdict(true)) < CLOSE


def test_a_dimmer_lamp_moves_no_rim():
    rgb8 = drawn((120, 95, 60), (70, 72, 75))
    dim = (rgb8 * 0.6).astype(np.uint8)
    for one, other in zip(finer_rims(rgb8, on_the_lip(rgb8)), finer_rims(dim, on_the_lip(dim)), strict=True):
        assert axis_end_error(asdict(one.ellipse), asdict(other.ellipse)) < CLOSE / 2


def test_the_rims_of_a_photo_upside_down_are_those_of_the_photo():
    rgb8 = drawn((120, 95, 60), (70, 72, 75))
    plate = on_the_lip(rgb8)
    over = np.ascontiguousarray(rgb8[::-1, ::-1])
    turned = found(over, *(_upside_down(rim.ellipse) for rim in (plate.outer, plate.inner)))
    for rim, again in zip(finer_rims(rgb8, plate), finer_rims(over, turned), strict=True):
        assert axis_end_error(asdict(_upside_down(again.ellipse)), asdict(rim.ellipse)) < 1e-4


def _upside_down(e: Ellipse) -> Ellipse:
    return Ellipse(SIZE[0] - 1 - e.cx, SIZE[1] - 1 - e.cy, e.major, e.minor, e.angle_deg)


def test_a_rim_off_the_photo_stays_where_it_is():
    rgb8 = drawn((120, 95, 60), (70, 72, 75))
    away = [Ellipse(e.cx + 900, e.cy, e.major, e.minor, e.angle_deg) for e in (OUTER, INNER)]
    for rim, was in zip(finer_rims(rgb8, found(rgb8, *away)), away, strict=True):
        assert axis_end_error(asdict(rim.ellipse), asdict(was)) < 1e-6


def test_an_ellipse_is_changed_as_the_circle_it_is_on_the_plate():
    angle = np.linspace(0, 2 * np.pi, 90)
    by = np.array([0.01, 0.004, -0.003, 0.002, 0.001])
    wave = np.array([np.cos(angle), np.sin(angle), np.cos(2 * angle), np.sin(2 * angle)])
    centre = np.array([OUTER.cx, OUTER.cy])
    expected = centre + (OUTER.points(angle) - centre) * (1 + by[0] + by[1:] @ wave)[:, None]
    radius = changed(OUTER, by).radius_of(*expected.T)
    assert np.abs(radius - 1).max() < 1e-4  # second order: a hundredth squared


@pytest.mark.parametrize("text", [None, "no weights here"])
def test_missing_or_damaged_weights_are_said(tmp_path, monkeypatch, text):
    if text is not None:
        (tmp_path / finer.FILE).write_text(text)
    monkeypatch.setattr(finer, "models_folder", lambda: tmp_path)
    rgb8 = drawn((120, 95, 60), (70, 72, 75))
    with pytest.raises(ModelsError, match=finer.FILE):
        finer_rims(rgb8, on_the_lip(rgb8))
