"""Reading photos: pixels, colour models, profiles, names, the working copy. Damage is in
`test_bad_photos`."""

import hashlib
import io
import math

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image, ImageCms

from wearview.photo import WORKING_SIDE, read_in_full, read_photo, read_photo_bytes

TAN, BLUE = (196, 164, 118), (60, 80, 150)
SRGB = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def encoded(image: Image.Image, format: str = "PNG", **options: object) -> bytes:
    buffer = io.BytesIO()
    pillow_heif.register_heif_opener()
    image.save(buffer, format, **options)
    return buffer.getvalue()


def flat(colour: object = TAN, size: tuple[int, int] = (64, 48), mode: str = "RGB") -> Image.Image:
    return Image.new(mode, size, colour)


def smooth(width: int, height: int) -> np.ndarray:
    """A picture without fine detail, each channel a different slope."""
    y, x = np.mgrid[0:height, 0:width].astype(np.float64)
    ramps = np.stack([x / width, y / height, (x + y) / (width + height)], axis=-1)
    return np.rint(40 + 170 * ramps).astype(np.uint8)


def profile_with(**tags: np.ndarray) -> bytes:
    """An ICC profile like the built-in sRGB one with other XYZ values in the named tags."""
    icc = bytearray(SRGB)
    for entry in range(int.from_bytes(icc[128:132], "big")):
        at = 132 + 12 * entry
        tag, offset = icc[at : at + 4].decode(), int.from_bytes(icc[at + 4 : at + 8], "big")
        for axis, value in enumerate(tags.get(tag, ())):
            fixed = round(value * 65536)
            icc[offset + 8 + 4 * axis : offset + 12 + 4 * axis] = fixed.to_bytes(4, "big", signed=True)
    return bytes(icc)


def primaries(columns: np.ndarray) -> dict[str, np.ndarray]:
    return dict(zip(("rXYZ", "gXYZ", "bXYZ"), columns.T, strict=True))


# Display P3 in the profile connection space (D50), primaries SMPTE EG 432-1 adapted by Bradford (computed).
P3_D50 = np.array([[0.51512, 0.29198, 0.15710], [0.24120, 0.69225, 0.06657], [-0.00105, 0.04189, 0.78407]])
DISPLAY_P3 = profile_with(**primaries(P3_D50))
# A made-up space with a weaker blue than sRGB's.
ODD_SPACE = profile_with(
    **primaries(P3_D50 @ np.array([[0.9, 0.05, 0.05], [0.05, 0.9, 0.05], [0.05, 0.05, 0.9]]))
)


@pytest.mark.parametrize("format", ["JPEG", "PNG", "WEBP", "TIFF", "HEIF", "AVIF"])
def test_a_photo_of_every_format_has_its_colours_in_rgb_order(format):
    photo = read_photo_bytes(encoded(flat(), format), "x")
    # Lossy formats may move a flat colour by the rounding of their colour model.
    np.testing.assert_allclose(photo.rgb8[24, 32].astype(int), TAN, atol=3)
    assert photo.rgb8.shape == (48, 64, 3)
    assert (photo.width, photo.height) == (64, 48)


def test_a_jpeg_has_the_pixels_that_another_decoder_finds():
    data = encoded(Image.fromarray(smooth(123, 77)), "JPEG", quality=95)
    theirs = np.asarray(Image.open(io.BytesIO(data)))
    # Two builds of one decoder: one step of rounding in the colour transform.
    np.testing.assert_allclose(read_photo_bytes(data, "x").rgb8.astype(int), theirs.astype(int), atol=1)


def test_the_hash_is_that_of_the_file(tmp_path):
    path = tmp_path / "a.png"
    path.write_bytes(encoded(flat()))
    assert read_photo(path).sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.mark.parametrize(
    "name", ["two words.png", "line\nbreak.png", "снимок-写真.png", "many.dots.here.png", "-x.png"]
)
def test_any_name_is_kept_as_typed(tmp_path, name):
    path = tmp_path / name
    path.write_bytes(encoded(flat()))
    photo = read_photo(str(path))
    assert photo.file == str(path)
    assert photo.stem == name.removesuffix(".png")


def test_the_ending_of_a_name_decides_nothing(tmp_path):
    path = tmp_path / "really-a-png.jpg"
    path.write_bytes(encoded(flat()))
    np.testing.assert_array_equal(read_photo(path).rgb8[0, 0], TAN)


def test_nobody_can_change_a_photo():
    photo = read_photo_bytes(encoded(Image.fromarray(smooth(2000, 900))), "x")
    for pixels in (photo.rgb8, photo.working):
        with pytest.raises(ValueError, match="read-only"):
            pixels[0, 0] = 0


def test_a_read_only_photo_can_still_be_handed_to_opencv():
    photo = read_photo_bytes(encoded(flat()), "x")
    assert cv2.cvtColor(photo.working, cv2.COLOR_RGB2GRAY).shape == (48, 64)


def test_a_small_photo_is_its_own_working_copy():
    photo = read_photo_bytes(encoded(flat(size=(WORKING_SIDE, 10))), "x")
    assert photo.working is photo.rgb8
    assert photo.scale == 1


@pytest.mark.parametrize(("width", "height"), [(1601, 1200), (4000, 3000), (2003, 3001), (1999, 1333)])
def test_the_working_copy_lies_exactly_where_its_scale_says(width, height):
    full = smooth(width, height)
    photo = read_photo_bytes(encoded(Image.fromarray(full), compress_level=0), "x")
    small = photo.working.astype(float)
    assert max(small.shape[:2]) == WORKING_SIDE
    assert photo.scale == pytest.approx(max(width, height) / WORKING_SIDE)
    # On slopes the value tells the place: compare with the slope at the working pixel's centre in the full
    # photo.
    y, x = np.mgrid[0 : small.shape[0], 0 : small.shape[1]]
    x, y = (x + 0.5) * photo.scale - 0.5, (y + 0.5) * photo.scale - 0.5
    expected = 40 + 170 * np.stack([x / width, y / height, (x + y) / (width + height)], axis=-1)
    inner = (slice(2, -2), slice(2, -2))
    # Half a step of rounding in each of the three images.
    assert np.abs(small - expected)[inner].max() <= 1.5
    # The mean is free of rounding: a shift of half a pixel would move it by 0.05.
    assert np.abs((small - expected)[inner].mean(axis=(0, 1))).max() < 0.05


def test_the_working_copy_averages_fine_detail_away():
    stripes = np.zeros((2400, 3200, 3), np.uint8)
    stripes[:, ::2] = 200
    working = read_photo_bytes(encoded(Image.fromarray(stripes)), "x").working
    np.testing.assert_array_equal(np.unique(working), [100])


@pytest.mark.parametrize("high", [1, 2, 3])
def test_a_strip_a_few_pixels_high_keeps_a_pixel(high):
    photo = read_photo_bytes(encoded(flat(size=(6000, high))), "x")
    assert min(photo.working.shape[:2]) >= 1
    np.testing.assert_array_equal(photo.working[0, 0], TAN)


def test_a_single_pixel_is_read():
    photo = read_photo_bytes(encoded(flat(size=(1, 1))), "x")
    assert photo.rgb8.shape == photo.working.shape == (1, 1, 3)


@pytest.mark.parametrize("format", ["JPEG", "PNG", "TIFF"])
def test_grey_becomes_three_equal_channels(format):
    photo = read_photo_bytes(encoded(flat(90, mode="L"), format), "x")
    np.testing.assert_array_equal(np.unique(photo.rgb8), [90])


@pytest.mark.parametrize("format", ["PNG", "TIFF"])
def test_sixteen_bits_become_the_nearest_eight(format):
    sixteen = np.array([[0, 257 * 100, 65535]], np.uint16)
    photo = read_photo_bytes(encoded(Image.fromarray(sixteen), format), "x")
    np.testing.assert_array_equal(photo.rgb8[0, :, 0], [0, 100, 255])


def test_sixteen_bit_colour_is_read():
    ok, data = cv2.imencode(".png", np.full((4, 5, 3), (257 * 30, 257 * 60, 257 * 90), np.uint16))
    assert ok
    np.testing.assert_array_equal(read_photo_bytes(data.tobytes(), "x").rgb8[0, 0], [90, 60, 30])


@pytest.mark.parametrize("mode", ["RGBA", "LA", "P"])
def test_transparency_is_laid_over_white(mode):
    image = flat((*TAN, 255), mode="RGBA")
    image.paste((0, 0, 0, 0), (0, 0, 32, 48))
    image = image.convert("LA") if mode == "LA" else image.quantize() if mode == "P" else image
    rgb8 = read_photo_bytes(encoded(image), "x").rgb8
    np.testing.assert_array_equal(rgb8[24, 8], [255, 255, 255])
    assert rgb8[24, 56].max() < 255


def test_half_transparent_black_is_mid_grey():
    rgb8 = read_photo_bytes(encoded(flat((0, 0, 0, 128), mode="RGBA")), "x").rgb8
    np.testing.assert_allclose(rgb8[0, 0], 127, atol=1)


def test_a_palette_is_looked_up():
    rgb8 = read_photo_bytes(encoded(flat().quantize()), "x").rgb8
    np.testing.assert_array_equal(rgb8[0, 0], TAN)


@pytest.mark.parametrize("format", ["GIF", "WEBP", "PNG", "TIFF"])
def test_of_an_animation_the_first_frame_is_read(format):
    data = encoded(flat(), format, save_all=True, append_images=[flat(BLUE)])
    np.testing.assert_allclose(read_photo_bytes(data, "x").rgb8[24, 32].astype(int), TAN, atol=6)


@pytest.mark.parametrize("format", ["JPEG", "TIFF"])
def test_ink_amounts_without_a_profile_are_read_and_flagged(format):
    photo = read_photo_bytes(encoded(flat((0, 80, 160, 40), mode="CMYK"), format), "x")
    expected = [(255 - 0) * 215 / 255, (255 - 80) * 215 / 255, (255 - 160) * 215 / 255]
    np.testing.assert_allclose(photo.rgb8[24, 32], expected, atol=4)
    assert photo.problems == ("colour profile unreadable",)


def test_without_a_profile_srgb_is_assumed_and_said():
    photo = read_photo_bytes(encoded(flat()), "x")
    assert (photo.profile, photo.problems) == ("assumed sRGB", ())


def test_a_camera_that_says_srgb_is_believed():
    tags = Image.Exif()
    tags.get_ifd(34665)[40961] = 1
    assert read_photo_bytes(encoded(flat(), "JPEG", exif=tags), "x").profile == "sRGB"


def test_a_camera_that_says_not_srgb_without_a_profile_is_flagged():
    tags = Image.Exif()
    tags.get_ifd(34665)[40961] = 65535
    photo = read_photo_bytes(encoded(flat(), "JPEG", exif=tags), "x")
    assert (photo.profile, photo.problems) == ("assumed sRGB", ("colour profile unreadable",))


def test_an_srgb_profile_changes_nothing():
    photo = read_photo_bytes(encoded(Image.fromarray(smooth(64, 48)), icc_profile=SRGB), "x")
    np.testing.assert_array_equal(photo.rgb8, smooth(64, 48))
    assert photo.profile == "sRGB"


@pytest.mark.parametrize("format", ["JPEG", "PNG", "WEBP", "TIFF", "HEIF"])
def test_a_display_p3_photo_of_every_format_comes_out_in_srgb(format):
    # Display P3 (200, 120, 60) is sRGB (213, 115, 42): computed from SMPTE EG 432-1 with colour-science.
    photo = read_photo_bytes(encoded(flat((200, 120, 60)), format, icc_profile=DISPLAY_P3), "x")
    np.testing.assert_allclose(photo.rgb8[24, 32].astype(int), [213, 115, 42], atol=4)
    assert (photo.profile, photo.problems) == ("Display P3", ())


def test_the_quick_way_from_display_p3_equals_the_colour_engine():
    colours = np.random.default_rng(1).integers(0, 256, (50, 60, 3)).astype(np.uint8)
    ours = read_photo_bytes(encoded(Image.fromarray(colours), icc_profile=DISPLAY_P3), "x").rgb8
    theirs = ImageCms.profileToProfile(
        Image.fromarray(colours),
        ImageCms.ImageCmsProfile(io.BytesIO(DISPLAY_P3)),
        ImageCms.createProfile("sRGB"),
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
    )
    np.testing.assert_allclose(ours.astype(int), np.asarray(theirs).astype(int), atol=1)


def test_any_other_profile_is_converted_too():
    photo = read_photo_bytes(encoded(flat((60, 90, 200)), icc_profile=ODD_SPACE), "x")
    theirs = ImageCms.profileToProfile(
        flat((60, 90, 200)),
        ImageCms.ImageCmsProfile(io.BytesIO(ODD_SPACE)),
        ImageCms.createProfile("sRGB"),
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
    )
    np.testing.assert_array_equal(photo.rgb8, np.asarray(theirs))
    assert np.abs(photo.rgb8[0, 0].astype(int) - (60, 90, 200)).max() > 5
    assert photo.profile not in ("sRGB", "Display P3", "assumed sRGB")


def test_the_white_of_a_profile_is_our_white():
    # Relative colorimetric (ICC.1): a yellowish medium white is still 255, 255, 255.
    icc = profile_with(wtpt=np.array([0.96, 1.0, 0.70]), **primaries(P3_D50))
    photo = read_photo_bytes(encoded(flat((255, 255, 255)), icc_profile=icc), "x")
    np.testing.assert_allclose(photo.rgb8[0, 0].astype(int), 255, atol=1)


def test_a_heic_that_names_display_p3_by_number_is_converted():
    # ITU-T H.273: colour primaries 12 are those of SMPTE EG 432-1.
    image = flat((200, 120, 60))
    image.info["nclx_profile"] = {
        "color_primaries": 12,
        "transfer_characteristics": 13,
        "matrix_coefficients": 6,
        "full_range_flag": 1,
    }
    photo = read_photo_bytes(encoded(image, "HEIF", quality=95), "x")
    np.testing.assert_allclose(photo.rgb8[24, 32].astype(int), [213, 115, 42], atol=4)
    assert photo.profile == "Display P3"


@pytest.mark.parametrize("mode", ["RGB", "L", "CMYK"])
@pytest.mark.parametrize("icc", [b"no profile at all", SRGB[:200]], ids=["nonsense", "cut short"])
def test_an_unreadable_profile_is_flagged_and_the_photo_still_read(mode, icc):
    colour = {"RGB": TAN, "L": 90, "CMYK": (0, 80, 160, 40)}[mode]
    photo = read_photo_bytes(encoded(flat(colour, mode=mode), "TIFF", icc_profile=icc), "x")
    assert (photo.profile, photo.problems) == ("assumed sRGB", ("colour profile unreadable",))


def test_a_grey_photo_with_an_rgb_profile_keeps_its_greys():
    photo = read_photo_bytes(encoded(flat(90, mode="L"), "JPEG", icc_profile=SRGB), "x")
    np.testing.assert_array_equal(np.unique(photo.rgb8), [90])
    assert photo.profile == "sRGB"


def test_focal_length_in_pixels_follows_from_the_film_equivalent():
    # 43.27 mm across the film: a lens of that equivalent is as long as the photo's own diagonal.
    tags = Image.Exif()
    tags.get_ifd(34665)[41989] = 43
    photo = read_photo_bytes(encoded(flat(size=(400, 300)), "JPEG", exif=tags), "x")
    assert photo.focal_px == pytest.approx(500 * 43 / math.hypot(36, 24))


def test_an_unknown_focal_length_is_none():
    tags = Image.Exif()
    tags.get_ifd(34665)[41989] = 0
    assert read_photo_bytes(encoded(flat(), "JPEG", exif=tags), "x").focal_px is None
    assert read_photo_bytes(encoded(flat()), "x").focal_px is None


def test_a_turned_photo_is_as_wide_as_it_looks():
    tags = Image.Exif()
    tags[274] = 6
    photo = read_photo_bytes(encoded(flat(size=(64, 48)), "JPEG", exif=tags), "x")
    assert (photo.width, photo.height) == (48, 64)


def test_the_same_bytes_read_twice_give_the_same_photo():
    data = encoded(Image.fromarray(smooth(1801, 1203)), "JPEG")
    first, second = read_photo_bytes(data, "x"), read_photo_bytes(data, "x")
    np.testing.assert_array_equal(first.rgb8, second.rgb8)
    np.testing.assert_array_equal(first.working, second.working)


def textured(width: int, height: int) -> bytes:
    """A JPEG of slopes under a soft texture, which a coarse reading must neither move nor thin out."""
    noise = np.random.default_rng(7).standard_normal((height, width, 1)).astype(np.float32)
    picture = smooth(width, height) + 120 * cv2.GaussianBlur(noise, (0, 0), 3.0)[..., None]
    return encoded(Image.fromarray(np.clip(picture, 0, 255).astype(np.uint8)), "JPEG", quality=95)


@pytest.mark.parametrize(("step", "width"), [(2, 1600), (4, 3200), (8, 6400)])
@pytest.mark.parametrize("turned", [1, 6])
def test_a_large_jpeg_read_coarsely_has_the_means_of_its_pixels(step, width, turned):
    exif = Image.Exif()
    exif[0x0112] = turned
    data = encoded(Image.open(io.BytesIO(textured(width, 480))), "JPEG", quality=95, exif=exif)
    full, coarse = read_photo_bytes(data, "x"), read_photo_bytes(data, "x", least_side=800)
    assert (coarse.step, coarse.width, coarse.height) == (step, full.width, full.height)
    height, across = coarse.rgb8.shape[:2]
    assert (height * step, across * step) == full.rgb8.shape[:2]
    means = full.rgb8.reshape(height, step, across, step, 3).mean(axis=(1, 3))
    # Fewer waves of a block are no mean, but of a picture without the finest detail they are one.
    off = coarse.rgb8 - means
    assert np.abs(off).mean() < 1.0
    assert np.abs(off.mean(axis=(0, 1))).max() < 0.3
    np.testing.assert_array_equal(read_in_full(coarse).rgb8, full.rgb8)


def test_pixels_are_the_same_where_there_are_no_files_in_memory(monkeypatch):
    data = textured(1201, 480)
    here = read_photo_bytes(data, "x")
    monkeypatch.delattr("os.memfd_create", raising=False)
    np.testing.assert_array_equal(read_photo_bytes(data, "x").rgb8, here.rgb8)


def test_the_working_copy_of_a_coarse_reading_is_that_of_the_photo():
    data = textured(4000, 600)
    full, coarse = read_photo_bytes(data, "x"), read_photo_bytes(data, "x", least_side=WORKING_SIDE)
    assert coarse.step == 2
    assert coarse.scale == full.scale
    assert coarse.working.shape == full.working.shape
    assert np.abs(coarse.working.astype(int) - full.working).mean() < 1.0


@pytest.mark.parametrize(("width", "height"), [(1598, 600), (1601, 600), (1600, 601)])
def test_a_jpeg_that_is_small_or_of_odd_sides_is_read_in_full(width, height):
    photo = read_photo_bytes(textured(width, height), "x", least_side=800)
    assert photo.step == 1
    assert photo.rgb8.shape == (height, width, 3)
    assert read_in_full(photo) is photo


def test_a_grey_jpeg_read_coarsely_has_three_equal_channels():
    data = encoded(flat(90, size=(1600, 480), mode="L"), "JPEG")
    rgb8 = read_photo_bytes(data, "x", least_side=800).rgb8
    assert rgb8.shape == (240, 800, 3)
    np.testing.assert_array_equal(np.unique(rgb8), [90])


def test_a_place_in_a_coarse_reading_is_where_the_photo_has_it():
    photo = read_photo_bytes(textured(1600, 480), "x", least_side=800)
    # The middle of the first coarse pixel lies between the first two of the photo.
    assert photo.at(np.array([0.5, 0.5], np.float32)).tolist() == [0, 0]
    assert photo.at(np.array([1598.5, 478.5], np.float32)).tolist() == [799, 239]
