"""The grain of a lining, on plates drawn with a texture of known power."""

import io
import itertools
import math

import cv2
import numpy as np
import pytest
from PIL import Image

from wearview.light import Light
from wearview.parts import Ellipse, Part
from wearview.photo import Photo, read_photo_bytes
from wearview.surface import rectify
from wearview.surface.lines import without_lines
from wearview.surface.shared_grain import read_shared_grain
from wearview.surface.texture import BAND, BANDS, MIN_DIAMETER, Fibres, read_fibres

SIZE, INNER = 380, 0.66  # px of the outer diameter, and the inner radius over the outer
ROUGH = 6.0  # rms of the drawn texture in per cent of L* + 16, before it is smoothed
SMOOTH = 1.0  # px, sigma
LIGHT = Light("card", np.ones(3), np.zeros(6), 0.0, 0.0, None, None)


def lightness(size: int = SIZE, rough: float = ROUGH, smooth: float = SMOOTH, seed: int = 3) -> np.ndarray:
    """L* of a photo of a plate on a light bench."""
    side = size + 40
    noise = np.random.default_rng(seed).standard_normal((side, side)).astype(np.float32)
    texture = cv2.GaussianBlur(noise, (0, 0), smooth) if smooth else noise
    return np.where(ring(side, size), (55 + 16) * (1 + rough / 100 * texture) - 16, 85.0)


def ring(side: int, size: int) -> np.ndarray:
    y, x = np.mgrid[:side, :side] - (side - 1) / 2
    r = np.hypot(x, y) / (size / 2)
    return (r < 1) & (r > INNER)


def photo_of(l_star: np.ndarray, exposure: float = 1.0) -> Photo:
    """Grey, encoded as IEC 61966-2-1 has it; L* by CIE 15, above its linear foot."""
    linear = np.clip(exposure * ((l_star + 16) / 116) ** 3, 0, 1)
    code = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    buffer = io.BytesIO()
    Image.fromarray(np.rint(np.repeat(255 * code[..., None], 3, axis=2)).astype(np.uint8)).save(buffer, "PNG")
    return read_photo_bytes(buffer.getvalue(), "x.png")


def grain_of(photo: Photo, size: int = SIZE, hidden: np.ndarray | None = None) -> float:
    fibres = fibres_of(photo, size, hidden)
    return math.nan if fibres is None else fibres.grain


def fibres_of(photo: Photo, size: int = SIZE, hidden: np.ndarray | None = None) -> Fibres | None:
    return read_fibres(photo, *plate_in(photo, size, hidden))


def plate_in(
    photo: Photo, size: int = SIZE, hidden: np.ndarray | None = None
) -> tuple[Part, np.ndarray, np.ndarray]:
    """The plate, the places of its grid and which of them are measured."""
    c = (photo.width - 1) / 2
    outer, inner = (Ellipse(c, c, d, d, 0.0) for d in (float(size), INNER * size))
    face = ring(photo.width, size)
    part = Part(
        "friction plate",
        1.0,
        outer,
        inner,
        None,
        math.nan,
        (0, 0),
        face,
        face,
        np.zeros_like(face),
        photo.scale,
    )
    rectified = rectify(photo, part, LIGHT)
    mask = cv2.erode(rectified.whole.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)
    if hidden is not None:
        at = np.rint(rectified.xy).astype(int)
        mask &= ~hidden[at[..., 1], at[..., 0]]
    return part, rectified.xy, mask


PLAIN = grain_of(photo_of(lightness()))


def test_a_texture_of_known_power_is_read():
    # White noise smoothed by a Gaussian has the power ROUGH^2 exp(-(2 pi f s)^2) per pixel; the reading adds
    # lens and fibre roll-off back, is the mean of the logarithm over the rings, and refers to 400 pixels.
    f = np.arange(BAND[0] + 0.01, BAND[1], 0.02)
    given_back = (2 * np.pi * f * 0.7) ** 2 + (f * SIZE / 88.0) ** 2
    density = np.exp(np.mean(np.log(ROUGH**2 * np.exp(-((2 * np.pi * f * SMOOTH) ** 2))) + given_back))
    expected = math.sqrt(density * math.pi * (BAND[1] ** 2 - BAND[0] ** 2)) * 400 / SIZE
    assert pytest.approx(expected, rel=0.1) == PLAIN  # leakage through the ring's rims, 8-bit steps


def test_each_band_holds_the_power_that_is_drawn_in_it():
    shown = fibres_of(photo_of(lightness()))
    assert shown is not None
    for (low, high), band in zip(itertools.pairwise(BANDS), shown.bands, strict=True):
        f = (low + high) / 2
        given_back = (2 * np.pi * f * 0.7) ** 2 + (f * SIZE / 88.0) ** 2
        drawn = ROUGH**2 * np.exp(-((2 * np.pi * f * SMOOTH) ** 2) + given_back) * (400 / SIZE) ** 2
        assert band == pytest.approx(math.log(drawn), abs=0.25)  # a tenth and more off is leakage, as above


def test_dark_specks_skew_the_texture_to_the_dark():
    plain = lightness(rough=2.0)
    at = np.random.default_rng(1).random(plain.shape) < 0.01
    specks = cv2.GaussianBlur(at.astype(np.float32), (0, 0), 1.2)
    few = fibres_of(photo_of(np.where(ring(len(plain), SIZE), plain - 60 * specks, plain)))
    none = fibres_of(photo_of(plain))
    assert few is not None
    assert none is not None
    assert few.skew < none.skew - 0.3
    assert few.tail > none.tail + 0.3


def test_speckle_is_the_contrast_of_blue_and_no_white_balance_moves_it():
    code = np.full((SIZE + 40, SIZE + 40, 3), 150.0)
    code[..., 2] += 10 * np.random.default_rng(2).standard_normal(code.shape[:2])

    def speckle(codes: np.ndarray) -> float:
        buffer = io.BytesIO()
        Image.fromarray(np.clip(np.rint(codes), 0, 255).astype(np.uint8)).save(buffer, "PNG")
        shown = fibres_of(read_photo_bytes(buffer.getvalue(), "x.png"))
        assert shown is not None
        return shown.speckle

    code[~ring(len(code), SIZE)] = 240
    # Codes about 150 rise as light to the power of 1 / 2.3; a blur of two pixels takes little of white noise.
    assert speckle(code) == pytest.approx(math.log(2.3 * 10 / 150), abs=0.15)
    assert speckle(code * (0.9, 1.0, 0.85)) == pytest.approx(speckle(code), abs=0.1)


def test_twice_the_contrast_is_twice_the_grain():
    assert grain_of(photo_of(lightness(rough=2 * ROUGH))) == pytest.approx(2 * PLAIN, rel=0.05)


def test_half_the_light_shows_the_same_grain():
    assert grain_of(photo_of(lightness(), exposure=0.5)) == pytest.approx(PLAIN, rel=0.03)  # 8-bit steps


def test_a_plate_photographed_larger_shows_the_same_grain():
    # One texture in the plane of the plate, through a lens of 0.7 px: at 760 px it is drawn twice as coarse,
    # and with twice the rms per pixel it has the same power.
    small = lightness(380, smooth=math.hypot(SMOOTH, 0.7))
    large = lightness(760, rough=2 * ROUGH, smooth=math.hypot(2 * SMOOTH, 0.7))
    assert grain_of(photo_of(large), 760) == pytest.approx(grain_of(photo_of(small)), rel=0.08)


def test_a_quarter_turn_changes_nothing():
    assert grain_of(photo_of(np.rot90(lightness()))) == pytest.approx(PLAIN, rel=0.02)


def test_unmasked_straight_grooves_are_no_grain():
    plain = lightness()
    y, x = np.mgrid[: len(plain), : len(plain)]
    grooves = ((x + y) % 28 < 3) | ((x - y) % 28 < 3)
    # Deeper ones than 3.5 L* are found and masked.
    waffle = np.where(grooves & ring(len(plain), SIZE), plain - 3.5, plain)
    assert grain_of(photo_of(waffle)) == pytest.approx(PLAIN, rel=0.12)


def test_what_the_mask_hides_is_no_grain():
    plain = lightness()
    hidden = np.zeros(plain.shape, bool)
    hidden[:200, 200:] = True
    spoiled = np.where(hidden, plain + np.random.default_rng(5).normal(0, 12, plain.shape), plain)
    near = cv2.dilate(hidden.astype(np.uint8), np.ones((5, 5), np.uint8)).astype(bool)
    assert grain_of(photo_of(spoiled), hidden=near) == pytest.approx(PLAIN, rel=0.08)


def test_a_slope_of_the_light_is_no_grain():
    plain = lightness()
    slope = (plain + 16) * np.linspace(0.8, 1.2, plain.shape[1]) - 16
    assert grain_of(photo_of(slope)) == pytest.approx(PLAIN, rel=0.05)


def test_sensor_noise_is_no_grain():
    noise = grain_of(photo_of(lightness(smooth=0, rough=3.0)))
    assert noise < 0.35 * grain_of(
        photo_of(lightness(rough=3.0 / 0.28))
    )  # smoothing by 1 px leaves 0.28 of it


def test_the_grain_of_a_small_plate_is_not_resolved():
    size = MIN_DIAMETER - 10
    assert math.isnan(grain_of(photo_of(lightness(size)), size))


@pytest.mark.parametrize("sigma", [1.5, 2.5, 6.0])
def test_a_blurred_plate_has_no_reading_instead_of_a_lost_grain(sigma):
    assert math.isnan(grain_of(photo_of(cv2.GaussianBlur(lightness(), (0, 0), sigma))))


def test_a_face_hidden_altogether_has_no_reading():
    assert math.isnan(grain_of(photo_of(lightness()), hidden=np.ones((SIZE + 40, SIZE + 40), bool)))


def noisy(l_star: np.ndarray, seed: int, rms: float = 4.0) -> np.ndarray:
    """The same with a camera's noise, in per cent of L* + 16, finer than the fibres."""
    noise = np.random.default_rng(seed).standard_normal(l_star.shape)
    return (l_star + 16) * (1 + rms / 100 * noise) - 16


def shared(first: np.ndarray, second: np.ndarray, to_second: np.ndarray | None = None) -> float:
    here, there = photo_of(first), photo_of(second)
    return read_shared_grain(here, there, np.eye(3) if to_second is None else to_second, *plate_in(here))


def test_two_photos_share_a_texture_of_known_power_whatever_their_noise():
    # As above; the mean is over the band's area, and noise adds nothing to a cross spectrum.
    f = np.arange(BAND[0] + 0.01, BAND[1], 0.02)
    given_back = (2 * np.pi * f * 0.7) ** 2 + (f * SIZE / 88.0) ** 2
    power = ROUGH**2 * np.exp(-((2 * np.pi * f * SMOOTH) ** 2) + given_back)
    expected = math.sqrt(np.average(power, weights=f) * math.pi * (BAND[1] ** 2 - BAND[0] ** 2)) * 400 / SIZE
    assert shared(lightness(), lightness()) == pytest.approx(expected, rel=0.12)
    assert shared(noisy(lightness(), 1), noisy(lightness(), 2)) == pytest.approx(expected, rel=0.15)


def test_noise_and_textures_of_two_plates_are_not_shared():
    # What chance leaves at the best of all shifts: a fifth of the noise's own level, which is about PLAIN.
    smooth = lightness(rough=0.0)
    assert shared(noisy(smooth, 1), noisy(smooth, 2)) < 0.3 * PLAIN
    assert shared(lightness(seed=3), lightness(seed=4)) < 0.3 * PLAIN


@pytest.mark.parametrize("off", [(2, -3), (-4, 1)])
def test_a_second_photo_some_pixels_off_shares_the_same_grain(off):
    moved = np.roll(lightness(), off, axis=(0, 1))
    assert shared(lightness(), moved) == pytest.approx(shared(lightness(), lightness()), rel=0.1)


def test_a_turned_second_photo_is_laid_back():
    side = len(lightness())
    turn = cv2.getRotationMatrix2D((side / 2, side / 2), 5.0, 1.0)
    turned = cv2.warpAffine(lightness(), turn, (side, side), flags=cv2.INTER_CUBIC, borderValue=85.0)
    laid = shared(lightness(), turned, np.vstack([turn, [0, 0, 1]]))
    # Two cubic warps cost the finest of the band.
    assert laid == pytest.approx(shared(lightness(), lightness()), rel=0.2)


def test_grooves_that_both_photos_show_are_no_shared_grain():
    smooth = lightness(rough=0.0)
    y, x = np.mgrid[: len(smooth), : len(smooth)]
    grooves = (((x + y) % 28 < 3) | ((x - y) % 28 < 3)) & ring(len(smooth), SIZE)
    waffle = np.where(grooves, smooth - 3.5, smooth)
    assert shared(noisy(waffle, 1, 2.0), noisy(waffle, 2, 2.0)) < 0.25 * PLAIN


def test_lines_are_left_out_and_fibres_are_not():
    land = np.ones((200, 200), np.float32)
    texture = cv2.GaussianBlur(np.random.default_rng(5).standard_normal(land.shape), (0, 0), 1.0)
    texture = texture.astype(np.float32) / texture.std()
    line = np.zeros(land.shape, bool)
    line[99:101] = True
    left = without_lines(np.where(line, texture - 2, texture).astype(np.float32), land, 400)
    assert left[line].mean() < 0.2
    assert left[:90].mean() > 0.8
    assert without_lines(texture, land, 400).mean() > 0.8


def test_a_blurred_photo_or_a_small_plate_shares_no_grain():
    plain = lightness()
    assert math.isnan(shared(plain, cv2.GaussianBlur(plain, (0, 0), 3)))
    small = photo_of(lightness(MIN_DIAMETER - 10))
    assert math.isnan(read_shared_grain(small, small, np.eye(3), *plate_in(small, MIN_DIAMETER - 10)))
