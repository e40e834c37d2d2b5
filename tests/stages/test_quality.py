"""Exposure, size and focus of a whole photo."""

import io
import math

import cv2
import numpy as np
import pytest
from PIL import Image

from wearview.photo import Photo, read_photo_bytes
from wearview.quality import LEAST_SIDE, MOST_CLIPPED, WIDEST_EDGE, edge_width, judge
from wearview.terms import PROBLEMS


def photo_of(rgb8: np.ndarray) -> Photo:
    buffer = io.BytesIO()
    Image.fromarray(rgb8).save(buffer, "PNG", compress_level=0)
    return read_photo_bytes(buffer.getvalue(), "x.png")


def rings(size: int = 600, tone: int = 90, ground: int = 190) -> np.ndarray:
    """Three drawn rings with smooth edges on a plain ground, 8-bit grey."""
    y, x = np.mgrid[0 : 4 * size, 0 : 4 * size] / 4.0
    inside = np.zeros(y.shape, bool)
    for cx, cy in ((0.27, 0.3), (0.72, 0.35), (0.5, 0.75)):
        r = np.hypot(x - cx * size, y - cy * size) / size
        inside |= (r < 0.2) & (r > 0.14)
    return cv2.resize(
        np.where(inside, tone, ground).astype(np.float32), (size, size), interpolation=cv2.INTER_AREA
    )


def coloured(grey: np.ndarray) -> np.ndarray:
    """As RGB in a warm light."""
    return np.rint(without_colour(grey) * np.array([1, 0.97, 0.9])).astype(np.uint8)


def without_colour(grey: np.ndarray) -> np.ndarray:
    return np.repeat(np.clip(np.rint(grey), 0, 255).astype(np.uint8)[..., None], 3, axis=2)


RINGS = rings()


def grain(amplitude: float, seed: int = 0) -> np.ndarray:
    return np.random.default_rng(seed).normal(0, amplitude, RINGS.shape)


def test_a_plain_sharp_photo_has_no_problem():
    quality = judge(photo_of(coloured(RINGS)))
    assert quality.gradeable
    assert quality.problems == ()
    assert quality.edge_width < WIDEST_EDGE / 2


@pytest.mark.parametrize("sigma", [2.0, 3.0, 5.0])
def test_a_gaussian_blur_is_measured_as_the_normal_distribution_has_it(sigma):
    # 10-90 % of a normal distribution is 2.563 sigma wide; 5 % is what sampling and the drawn edge add.
    blurred = cv2.GaussianBlur(RINGS, (0, 0), sigma)
    assert edge_width(blurred) == pytest.approx(2.563 * sigma, rel=0.05)


@pytest.mark.parametrize("noise", [2, 5, 10])
def test_noise_does_not_make_a_blurred_photo_sharp(noise):
    blurred = cv2.GaussianBlur(RINGS, (0, 0), 4)
    assert edge_width(blurred + grain(noise)) == pytest.approx(edge_width(blurred), rel=0.1)


def test_grain_does_not_make_a_blurred_photo_sharp_nor_a_sharp_one_blurred():
    # Fine grain seen through the same lens.
    for sigma in (0.8, 4.0):
        plain = cv2.GaussianBlur(RINGS, (0, 0), sigma)
        grained = cv2.GaussianBlur(RINGS + grain(12, seed=2), (0, 0), sigma)
        assert edge_width(grained) == pytest.approx(edge_width(plain), rel=0.15)


@pytest.mark.parametrize("degrees", [0, 30, 45, 90, 120])
def test_a_shake_is_seen_whatever_its_direction(degrees):
    length = 15
    kernel = np.zeros((length + 2, length + 2), np.float32)
    for t in np.linspace(-length / 2, length / 2, 8 * length):
        x = round(length / 2 + 0.5 + t * math.cos(math.radians(degrees)))
        y = round(length / 2 + 0.5 + t * math.sin(math.radians(degrees)))
        kernel[y, x] += 1
    shaken = cv2.filter2D(RINGS, -1, kernel / kernel.sum())
    # A shake over n pixels is a ramp of n, 0.8 n between 10 and 90 %. Of two neighbouring directions, 22.5
    # degrees apart, the less widened one counts: at most cos 22.5 degrees short. 6 % is what sampling and the
    # drawn edge add.
    assert 0.8 * length * math.cos(math.radians(22.5)) * 0.97 < edge_width(shaken) < 0.8 * length * 1.06


def test_turning_the_photo_changes_no_edge_width():
    blurred = cv2.GaussianBlur(RINGS, (0, 0), 2)
    assert edge_width(np.rot90(blurred).copy()) == pytest.approx(edge_width(blurred), rel=0.03)


def test_the_contrast_of_the_edges_changes_no_edge_width():
    blurred = cv2.GaussianBlur(RINGS, (0, 0), 3)
    assert edge_width(128 + (blurred - 128) * 0.5) == pytest.approx(edge_width(blurred), rel=0.02)


def test_soft_shadows_do_not_make_a_sharp_photo_blurred():
    shadow = cv2.GaussianBlur(
        np.where(np.arange(600) < 250, 0.4, 1.0).astype(np.float32)[:, None], (0, 0), 20
    )
    assert judge(photo_of(coloured(RINGS * shadow))).problems == ()


def test_a_smooth_picture_is_not_called_blurred():
    y, x = np.mgrid[0:600, 0:600]
    quality = judge(photo_of(coloured(120 + 40 * np.sin(x / 150) + 30 * np.cos(y / 140))))
    assert math.isnan(quality.edge_width)
    assert "blurred" not in quality.problems


def test_a_smeared_photo_is_refused_as_blurred():
    quality = judge(photo_of(coloured(cv2.GaussianBlur(RINGS, (0, 0), 6) + grain(2))))
    assert quality.edge_width > WIDEST_EDGE
    assert quality.problems == ("blurred",)
    assert not quality.gradeable


def test_edges_outside_the_mask_have_no_say():
    blurred = cv2.GaussianBlur(RINGS, (0, 0), 4)
    half = blurred.copy()
    half[:, :300] = RINGS[:, :300]
    right = np.zeros(half.shape, bool)
    right[:, 330:] = True
    assert edge_width(half, right) == pytest.approx(edge_width(blurred), rel=0.1)
    assert edge_width(half, ~right) < 4


def test_too_few_edges_to_tell_give_no_number():
    nowhere = np.zeros(RINGS.shape, bool)
    nowhere[200:204, 200:204] = True
    assert math.isnan(edge_width(RINGS, nowhere))


def test_a_photo_without_light_is_too_dark():
    assert judge(photo_of(coloured(RINGS * 0.12 + grain(1)))).problems == ("too dark",)


def test_a_dark_lining_in_good_light_is_not_a_dark_photo():
    assert judge(photo_of(coloured(rings(tone=25, ground=120)))).problems == ()


def test_a_burnt_out_photo_has_blown_highlights():
    assert judge(photo_of(coloured(RINGS * 2.2))).problems == ("blown highlights",)


def test_glints_on_metal_are_not_blown_highlights():
    glints = RINGS.copy()
    glints[np.random.default_rng(3).random(glints.shape) < 0.08] = 255
    assert "blown highlights" not in judge(photo_of(coloured(glints))).problems


def test_a_large_blown_out_sheet_beside_well_lit_parts_spoils_no_photo():
    beside = coloured(rings(tone=60, ground=120))
    beside[:, :200] = 255
    quality = judge(photo_of(beside))
    assert quality.clipped > MOST_CLIPPED
    assert quality.problems == ()


def on_a_page(photo: np.ndarray, colour: int, words: bool = False) -> np.ndarray:
    """A photo on a page of one colour, with a line of type above and below it."""
    page = np.full((1300, 800, 3), colour, np.uint8)
    page[300 : 300 + len(photo), 100 : 100 + photo.shape[1]] = photo
    if words:
        for row in (100, 1150):
            page[row : row + 30, 60:400:12] = 255 - colour
    return page


def bench(seed: int = 5) -> np.ndarray:
    """The drawn rings with a camera's grain."""
    return coloured(RINGS + grain(6, seed))


@pytest.mark.parametrize("colour", [255, 245, 40, 0])
@pytest.mark.parametrize("words", [False, True])
def test_a_screenshot_is_called_what_it_is(colour, words):
    assert judge(photo_of(on_a_page(bench(), colour, words))).problems == ("photo on a page",)


@pytest.mark.parametrize("quality", [60, 92])
def test_a_scan_on_white_is_called_what_it_is_as_a_jpeg_too(quality):
    buffer = io.BytesIO()
    Image.fromarray(on_a_page(bench(), 255)).save(buffer, "JPEG", quality=quality)
    assert judge(read_photo_bytes(buffer.getvalue(), "x.jpg")).problems == ("photo on a page",)


def test_a_white_border_all_round_is_a_page():
    # Laid on the bench's own white it would be taken for the sheet of paper.
    framed = cv2.copyMakeBorder(bench(), 30, 30, 30, 30, cv2.BORDER_CONSTANT, value=(255, 255, 255))
    assert judge(photo_of(framed)).problems == ("photo on a page",)


@pytest.mark.parametrize("above", [True, False])
@pytest.mark.parametrize("quality", [60, 92])
def test_a_page_above_or_below_alone_is_a_page(above, quality):
    margins = (400, 0) if above else (0, 400)
    page = cv2.copyMakeBorder(bench(), *margins, 0, 0, cv2.BORDER_CONSTANT, value=(255, 255, 255))
    buffer = io.BytesIO()
    Image.fromarray(page).save(buffer, "JPEG", quality=quality)
    assert judge(read_photo_bytes(buffer.getvalue(), "x.jpg")).problems == ("photo on a page",)


def test_a_sheet_blown_out_along_the_lower_side_is_no_page():
    y, x = np.mgrid[0:600, 0:600]
    beside = bench()
    beside[y + 0.01 * x > 450] = 255  # half a degree aslant
    assert "photo on a page" not in judge(photo_of(beside)).problems


def test_light_blown_out_along_two_sides_is_no_page():
    # Its end is ragged, as a lamp's is, or aslant, as a sheet's.
    lamp, sheet = bench(), bench()
    y, x = np.mgrid[0:600, 0:600]
    lamp[np.hypot(x, y) > 560] = 255
    sheet[(x + 0.03 * y < 250) | (y + 0.05 * x < 160)] = 255
    for blown in (lamp, sheet):
        assert "photo on a page" not in judge(photo_of(blown)).problems


def test_a_drawn_plate_on_a_plain_ground_is_no_photo_on_a_page():
    assert judge(photo_of(coloured(RINGS))).problems == ()


def test_one_clipped_channel_counts_as_clipped():
    warm = coloured(RINGS)
    warm[:, :300, 0] = 255
    assert judge(photo_of(warm)).clipped == pytest.approx(0.5, abs=0.01)


@pytest.mark.parametrize("shape", [(1, 1), (2, 5), (200, 299)])
def test_a_tiny_picture_is_too_small(shape):
    quality = judge(photo_of(np.full((*shape, 3), (128, 120, 110), np.uint8)))
    assert quality.problems == ("too small",)


def test_the_smallest_picture_is_judged_at_the_stated_size():
    assert judge(photo_of(np.full((40, LEAST_SIDE, 3), (128, 120, 110), np.uint8))).problems == ()


def test_every_problem_is_published_and_refuses():
    black = judge(photo_of(np.zeros((20, 20, 3), np.uint8)))
    assert black.problems == ("too small", "too dark")
    assert all(PROBLEMS[name].refuses for name in black.problems)


def test_the_same_photo_is_judged_the_same_twice():
    photo = photo_of(coloured(cv2.GaussianBlur(RINGS, (0, 0), 2) + grain(4)))
    assert judge(photo) == judge(photo)


@pytest.mark.parametrize("quality", [60, 92])
def test_a_black_and_white_photo_has_no_colour_even_as_a_colour_jpeg(quality):
    buffer = io.BytesIO()
    Image.fromarray(without_colour(RINGS + grain(8))).save(buffer, "JPEG", quality=quality)
    assert judge(read_photo_bytes(buffer.getvalue(), "x.jpg")).problems == ("no colour",)


def test_a_breath_of_colour_anywhere_is_enough():
    rgb8 = without_colour(RINGS)
    rgb8[:40, :40] = (120, 112, 100)
    assert judge(photo_of(rgb8)).problems == ()


def equally_light_rings() -> np.ndarray:
    """Sharp rings that differ from their ground in colour alone, beside soft dark stains; uint8 RGB."""
    share = ((RINGS - 90) / 100)[..., None]  # 0 on a ring, 1 on the ground
    picture = (1 - share) * np.array([200.0, 120.0, 90.0]) + share * np.array([110.0, 150.0, 165.0])
    stains = np.zeros(RINGS.shape, np.float32)
    for x, y in np.random.default_rng(5).integers(60, 540, (12, 2)):
        cv2.circle(stains, (int(x), int(y)), 20, 1.0, -1)
    stains = cv2.GaussianBlur(stains, (0, 0), 7)[..., None]
    return np.clip(np.rint(picture * (1 - 0.6 * stains)), 0, 255).astype(np.uint8)


def test_edges_of_colour_alone_are_sharp_edges_too():
    picture = equally_light_rings()
    assert 2 * edge_width(cv2.cvtColor(cv2.resize(picture, None, fx=0.5, fy=0.5), cv2.COLOR_RGB2GRAY)) > 8
    assert "blurred" not in judge(photo_of(picture)).problems
    assert "blurred" in judge(photo_of(cv2.GaussianBlur(picture, (0, 0), 8))).problems
