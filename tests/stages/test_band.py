"""Bands drawn by hand, so that it is known to the pixel where they lie."""

import math

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from wearview.parts.band import find_bands

BENCH, LINING, STEEL, BRACKET, DARK = (
    (150, 130, 105),
    (120, 95, 60),
    (165, 165, 168),
    (120, 120, 124),
    (40, 40, 42),
)
SHAPE = (900, 1200)
HALF_LENGTH, HALF_WIDTH = 330.0, 42.0  # of the lining
NOTHING_TAKEN = np.zeros(SHAPE, bool)


def bench(seed: int = 0) -> NDArray[np.uint8]:
    grain = cv2.GaussianBlur(np.random.default_rng(seed).normal(0, 14, SHAPE), (0, 0), 1.2)
    return np.clip(np.array(BENCH) + grain[..., None], 0, 255).astype(np.uint8)


def patch(
    rgb8: NDArray[np.uint8],
    colour: tuple[int, int, int],
    along: tuple[float, float],
    across: tuple[float, float],
    turn_deg: float = 0.0,
    bend: float = 0.0,
    centre: tuple[float, float] = (600.0, 450.0),
) -> None:
    """A patch in the frame of a strip through `centre`: bent by `bend` radians end to end, then turned."""
    u, v = np.meshgrid(np.linspace(*along, 121), across)
    if bend:
        radius = 2 * HALF_LENGTH / bend
        u, v = (radius - v) * np.sin(u / radius), radius - (radius - v) * np.cos(u / radius)
    t = math.radians(turn_deg)
    x = centre[0] + u * math.cos(t) - v * math.sin(t)
    y = centre[1] + u * math.sin(t) + v * math.cos(t)
    outline = np.concatenate([np.stack([x[0], y[0]], axis=1), np.stack([x[1], y[1]], axis=1)[::-1]])
    cv2.fillPoly(rgb8, [np.rint(outline * 16).astype(np.int32)], colour, cv2.LINE_AA, shift=4)


def draw_band(rgb8: NDArray[np.uint8], turn_deg: float = 0.0, bend: float = 0.0) -> None:
    """Strap, lining with crosswise grooves, and a bracket with a dark inner wall on each end."""
    end = HALF_LENGTH
    patch(rgb8, STEEL, (-end - 26, end + 26), (-HALF_WIDTH - 3, HALF_WIDTH + 3), turn_deg, bend)
    patch(rgb8, LINING, (-end, end), (-HALF_WIDTH, HALF_WIDTH), turn_deg, bend)
    for at in np.linspace(-260, 260, 7):
        patch(rgb8, (85, 66, 42), (at - 1, at + 1), (-HALF_WIDTH, HALF_WIDTH), turn_deg, bend)
    for side in (-1, 1):
        patch(rgb8, DARK, (side * (end + 9), side * (end + 15)), (-32, 32), turn_deg, bend)
        patch(rgb8, BRACKET, (side * (end + 15), side * (end + 23)), (-32, 32), turn_deg, bend)


def soften(rgb8: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """As a lens would: no drawn edge is sharper than a pixel."""
    return np.asarray(cv2.GaussianBlur(rgb8, (0, 0), 0.8), np.uint8)


@pytest.mark.parametrize("turn_deg", [0.0, 17.0, -40.0])
def test_a_straight_band_is_found_where_it_was_drawn(turn_deg: float) -> None:
    rgb8 = bench()
    draw_band(rgb8, turn_deg)
    (band,) = find_bands(soften(rgb8), NOTHING_TAKEN)
    t = math.radians(turn_deg)
    expected = np.array([600, 450]) + np.linspace(-HALF_LENGTH, HALF_LENGTH, len(band.spine))[:, None] * [
        math.cos(t),
        math.sin(t),
    ]
    # Sideways to a pixel; along it a column of the straightened picture is 1.1 pixels.
    across = np.array([-math.sin(t), math.cos(t)])
    assert np.abs((band.spine - expected) @ across).max() < 1.0
    assert np.hypot(*(band.spine - expected).T).max() < 3.0
    assert band.width == pytest.approx(2 * HALF_WIDTH, abs=2.0)


def test_a_bent_band_is_followed_to_a_pixel() -> None:
    rgb8 = bench()
    bend = 0.5
    draw_band(rgb8, 8.0, bend)
    (band,) = find_bands(soften(rgb8), NOTHING_TAKEN)
    radius, t = 2 * HALF_LENGTH / bend, math.radians(8.0)
    centre = np.array([600, 450]) + radius * np.array([-math.sin(t), math.cos(t)])
    assert np.abs(np.hypot(*(band.spine - centre).T) - radius).max() < 1.0


def test_turning_the_picture_by_90_degrees_turns_the_spine() -> None:
    rgb8 = bench()
    draw_band(rgb8, 12.0, 0.2)
    rgb8 = soften(rgb8)
    (upright,) = find_bands(rgb8, NOTHING_TAKEN)
    (turned,) = find_bands(np.ascontiguousarray(np.rot90(rgb8, -1)), np.zeros(SHAPE[::-1], bool))
    # Clockwise: what was left is on top, so the spine still begins at the same end.
    expected = np.stack([SHAPE[0] - 1 - upright.spine[:, 1], upright.spine[:, 0]], axis=1)
    assert np.hypot(*(turned.spine - expected).T).max() < 1.5


def test_the_masks_cover_lining_and_strap() -> None:
    rgb8 = bench()
    draw_band(rgb8)
    (band,) = find_bands(soften(rgb8), NOTHING_TAKEN)
    assert not (band.face & ~band.part).any()
    # 2 % and 4 % are a pixel and a half on each side.
    assert band.face.sum() == pytest.approx(4 * HALF_LENGTH * HALF_WIDTH, rel=0.04)
    assert band.part.sum() == pytest.approx(4 * (HALF_LENGTH + 26) * (HALF_WIDTH + 3), rel=0.05)


def test_a_sheet_of_paper_against_one_side_changes_nothing() -> None:
    plain, beside = bench(), bench()
    patch(beside, (240, 240, 238), (-200, 60), (44, 190))
    for rgb8 in (plain, beside):
        draw_band(rgb8)
    (alone,), (touched,) = (find_bands(soften(x), NOTHING_TAKEN) for x in (plain, beside))
    assert np.hypot(*(alone.spine - touched.spine).T).max() < 2.0


def test_half_the_light_finds_the_same_band() -> None:
    rgb8 = bench()
    draw_band(rgb8, 5.0)
    rgb8 = soften(rgb8)
    (bright,), (dark,) = (find_bands(x, NOTHING_TAKEN) for x in (rgb8, rgb8 // 2))
    assert np.hypot(*(bright.spine - dark.spine).T).max() < 2.0


def test_a_band_under_plates_already_found_is_not_found_again() -> None:
    rgb8 = bench()
    draw_band(rgb8)
    assert find_bands(soften(rgb8), np.ones(SHAPE, bool)) == []


def test_a_band_leaves_out_what_a_plate_covers() -> None:
    rgb8 = bench()
    draw_band(rgb8)
    taken = NOTHING_TAKEN.copy()
    taken[:420] = True
    (band,) = find_bands(soften(rgb8), taken)
    (x, y), (h, w) = band.origin, band.part.shape
    assert not (band.part & taken[y : y + h, x : x + w]).any()


def test_two_bands_are_found_once_each() -> None:
    rgb8 = bench()
    draw_band(rgb8)
    both = np.asarray(cv2.warpAffine(rgb8, np.array([[1, 0, 0], [0, 1, -200.0]]), SHAPE[::-1]), np.uint8)
    both[450:] = rgb8[250:700][: SHAPE[0] - 450]
    found = find_bands(soften(both), NOTHING_TAKEN)
    assert sorted(round(float(b.spine[:, 1].mean()), -1) for b in found) == [250, 650]


@pytest.mark.parametrize("seed", range(4))
def test_noise_is_no_band(seed: int) -> None:
    noise = np.random.default_rng(seed).integers(0, 256, (*SHAPE, 3)).astype(np.uint8)
    assert find_bands(noise, NOTHING_TAKEN) == []
    assert find_bands(np.asarray(cv2.GaussianBlur(noise, (0, 0), 6), np.uint8), NOTHING_TAKEN) == []


def test_plain_sheets_are_no_bands() -> None:
    rgb8 = bench()
    patch(rgb8, (238, 238, 236), (-330, 330), (-45, 45), 14.0)
    patch(rgb8, (118, 118, 118), (-200, 200), (-40, 40), -5.0, centre=(600, 780))
    assert find_bands(soften(rgb8), NOTHING_TAKEN) == []


def test_two_parallel_wrenches_are_no_bands() -> None:
    rgb8 = bench()
    for y in (300, 560):
        patch(rgb8, STEEL, (-280, 280), (-26, 26), centre=(600, y))
        for side in (-1, 1):
            cv2.circle(rgb8, (600 + side * 300, y), 62, STEEL, -1, cv2.LINE_AA)
            cv2.circle(rgb8, (600 + side * 300, y), 34, BENCH, -1, cv2.LINE_AA)
    assert find_bands(soften(rgb8), NOTHING_TAKEN) == []


def test_cracks_between_planks_are_no_bands() -> None:
    rgb8 = bench()
    for y in (200, 330, 460, 590, 720):
        patch(rgb8, (60, 48, 36), (-700, 700), (-3, 3), 4.0, centre=(600, y))
    assert find_bands(soften(rgb8), NOTHING_TAKEN) == []


def test_a_strip_without_brackets_is_no_band() -> None:
    rgb8 = bench()
    patch(rgb8, LINING, (-330, 330), (-42, 42))
    assert find_bands(soften(rgb8), NOTHING_TAKEN) == []


@pytest.mark.parametrize("shape", [(1, 1), (3, 200), (200, 3), (64, 64)])
def test_the_smallest_pictures_hold_no_band(shape: tuple[int, int]) -> None:
    assert find_bands(np.full((*shape, 3), 128, np.uint8), np.zeros(shape, bool)) == []
