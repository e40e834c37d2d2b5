"""Pixels of any colour model and profile as 8-bit sRGB."""

import io

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

from wearview.colour import p3_to_srgb
from wearview.photo.exif import SRGB, UNCALIBRATED

Pixels = NDArray[np.uint8]

# Colour models with a plain way to RGB; those left out (Lab, floating point, 32-bit integers) have none.
EIGHT_BIT_MODES = ("RGB", "RGBA", "RGBa", "RGBX", "L", "LA", "La", "P", "PA", "1", "CMYK", "YCbCr")
SIXTEEN_BIT_MODES = ("I;16", "I;16L", "I;16B", "I;16N")
_P3_PRIMARIES = 12  # ITU-T H.273 code for colour primaries, as in a HEIC's nclx box
_LOST = ("colour profile unreadable",)
# Levels per channel at which a profile is tried; the curves of camera profiles are smooth between them.
_GRID_STEPS = 9


def plain_rgb(image: Image.Image) -> Pixels:
    """8-bit RGB of a loaded image, its profile not yet applied, transparency laid over white.

    Parameters
    ----------
    image : Image
        In one of `EIGHT_BIT_MODES` or `SIXTEEN_BIT_MODES`.
    """
    if image.mode in SIXTEEN_BIT_MODES:
        grey = (np.asarray(image) // 257).astype(np.uint8)
        return np.repeat(grey[..., None], 3, axis=2)
    if image.has_transparency_data:
        over = image.convert("RGBA")
        image = Image.new("RGB", over.size, "white")
        image.paste(over, mask=over.getchannel("A"))
    return np.array(image.convert("RGB"), dtype=np.uint8)


def inks_or_grey_to_srgb(image: Image.Image) -> tuple[Pixels, str] | None:
    """sRGB of a loaded CMYK or grey image by its own profile, and the profile's name; None without a fitting
    one.

    An RGB profile on a grey image says how its greys look as RGB, so it does not belong here.
    """
    icc = image.info.get("icc_profile")
    if image.mode not in ("L", "CMYK") or not icc:
        return None
    try:
        profile = ImageCms.ImageCmsProfile(io.BytesIO(icc))
        converted = ImageCms.applyTransform(image, _transform(profile, image.mode))
    except (ImageCms.PyCMSError, OSError):
        return None
    return np.array(converted, dtype=np.uint8), _described(profile)


def rgb_to_srgb(
    rgb8: Pixels, image: Image.Image, colour_space: int | None
) -> tuple[Pixels, str, tuple[str, ...]]:
    """RGB pixels of an image in sRGB, the profile they came in, and problems.

    Parameters
    ----------
    rgb8 : ndarray, shape (H, W, 3), uint8
        As stored.
    image : Image
        Its header: embedded ICC profile, colour primaries, colour model.
    colour_space : int or None
        The Exif ColorSpace tag.

    Returns
    -------
    rgb8, profile, problems
        `profile` is "sRGB", "Display P3", the profile's own name, or "assumed sRGB" where nothing is
        embedded.
    """
    icc = image.info.get("icc_profile")
    if icc:
        return _profiled(rgb8, icc)
    if image.info.get("nclx_profile", {}).get("color_primaries") == _P3_PRIMARIES:
        return p3_to_srgb(rgb8), "Display P3", ()
    if colour_space == SRGB:
        return rgb8, "sRGB", ()
    # Ink amounts, or a camera that says "not sRGB", without the profile that would explain them.
    lost = image.mode == "CMYK" or colour_space == UNCALIBRATED
    return rgb8, "assumed sRGB", _LOST if lost else ()


def _profiled(rgb8: Pixels, icc: bytes) -> tuple[Pixels, str, tuple[str, ...]]:
    """As `rgb_to_srgb`, by an ICC profile, relative colorimetric.

    What a profile does is seen on a grid of colours, not read from its name: sRGB comes under many names and
    is left as it is; Display P3, the one most phones write, has a way six times as fast as the general
    conversion.
    """
    steps = np.linspace(0, 255, _GRID_STEPS).astype(np.uint8)
    grid = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(1, -1, 3)
    try:
        profile = ImageCms.ImageCmsProfile(io.BytesIO(icc))
        transform = _transform(profile, "RGB")
        seen = np.asarray(ImageCms.applyTransform(Image.fromarray(grid), transform))
    except (ImageCms.PyCMSError, OSError):
        return rgb8, "assumed sRGB", _LOST
    if _alike(seen, grid):
        return rgb8, "sRGB", ()
    if _alike(seen, p3_to_srgb(grid)):
        return p3_to_srgb(rgb8), "Display P3", ()
    converted = ImageCms.applyTransform(Image.fromarray(rgb8), transform)
    return np.array(converted, dtype=np.uint8), _described(profile), ()


def _transform(profile: ImageCms.ImageCmsProfile, mode: str) -> ImageCms.ImageCmsTransform:
    return ImageCms.buildTransform(
        profile,
        ImageCms.createProfile("sRGB"),
        mode,
        "RGB",
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
    )


def _described(profile: ImageCms.ImageCmsProfile) -> str:
    text = str(profile.profile.profile_description or "")
    return " ".join("".join(c if c.isprintable() else " " for c in text).split()) or "unnamed profile"


def _alike(first: Pixels, second: Pixels) -> bool:
    """Whether no channel differs by more than the rounding of one 8-bit step."""
    return bool(np.abs(first.astype(np.int16) - second.astype(np.int16)).max() <= 1)
