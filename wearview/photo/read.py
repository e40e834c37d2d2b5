"""Reading a photo: decoded, upright, in sRGB, with its date, its hash and a smaller working copy."""

import hashlib
import io
import os
import stat
import struct
import warnings
from dataclasses import dataclass, replace
from pathlib import PurePath
from threading import Lock

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

from wearview.errors import PhotoError
from wearview.photo.exif import Tags, focal_px, read_tags
from wearview.photo.profile import (
    EIGHT_BIT_MODES,
    SIXTEEN_BIT_MODES,
    inks_or_grey_to_srgb,
    plain_rgb,
    rgb_to_srgb,
)

Pixels = NDArray[np.uint8]

WORKING_SIDE = 1600  # px, long side of the working copy
MAX_PIXELS = 200_000_000  # the largest phone sensors; 600 MB once decoded
MAX_BYTES = 1_000_000_000  # a 16-bit TIFF of that many pixels fits
# Pillow refuses by itself from twice this on and warns from this on; the warning is made an error below.
Image.MAX_IMAGE_PIXELS = MAX_PIXELS

# How each format begins. Nothing else is opened: some of Pillow's other formats start outside programs.
_BEGINNINGS = {
    "JPEG": (b"\xff\xd8\xff",),
    "PNG": (b"\x89PNG\r\n\x1a\n",),
    "TIFF": (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"),
    "GIF": (b"GIF87a", b"GIF89a"),
}
# What Pillow and its decoders raise on damaged files, found by changing bytes of each format at random.
_UNREADABLE = (
    OSError,
    SyntaxError,
    ValueError,
    EOFError,
    IndexError,
    TypeError,
    KeyError,
    RuntimeError,
    struct.error,
)
# Which warnings are errors is one setting of the whole process until Python 3.14, not of a thread.
_one_by_one = Lock()
# OpenCV's flags of a JPEG read by fewer waves of each block, the coarsest first; beside IMREAD_COLOR_RGB they
# do not mean grey.
_COARSE = {
    8: cv2.IMREAD_REDUCED_GRAYSCALE_8,
    4: cv2.IMREAD_REDUCED_GRAYSCALE_4,
    2: cv2.IMREAD_REDUCED_GRAYSCALE_2,
}
_COPY_AGAIN = "Copy it from the camera again"
_NO_IMAGE = ("not an image we can read", "Save it as JPEG or PNG")
# What is given in a photo's place: where in the file it says what it is, and how.
_VIDEO = ("a video, not a photo", "Take a photo")
_NO_PHOTOS = (
    (0, (b"%PDF-",), ("a PDF, not a photo", "Save the photo in it as JPEG")),
    (4, (b"ftypqt", b"ftypmp4", b"ftypiso", b"ftypavc", b"ftypM4V", b"ftyp3g"), _VIDEO),
    (0, (b"\x1aE\xdf\xa3",), _VIDEO),
    (8, (b"AVI ",), _VIDEO),
)


@dataclass(frozen=True, slots=True, eq=False)
class Photo:
    """One photo, ready to be looked at. The arrays are read-only.

    Attributes
    ----------
    file : str
        The path as typed.
    stem : str
        File name without folder and ending.
    sha256 : str
        Of the file's bytes, hexadecimal.
    width, height : int
        Of the upright photo in pixels.
    taken_at : str or None
        EXIF DateTimeOriginal as `YYYY-MM-DDTHH:MM:SS`, local time; with `+HH:MM` where the camera wrote its
        offset. None without the tag: a file's own date says nothing about when the photo was taken.
    rgb8 : ndarray, shape (height / step, width / step, 3), uint8
        sRGB, upright.
    step : int
        Full-size pixels per pixel of `rgb8`, across and down: 1, or 2, 4 or 8 where it was read coarsely.
    data : bytes
        The file's, so that what was read coarsely can be read again.
    working : ndarray, shape (h, w, 3), uint8
        The same, long side at most 1600; the same array when the photo is no larger.
    scale : float
        Full-size pixels per working pixel, the same across and down, at least 1.
    profile : str
        "sRGB", "Display P3", another profile's own name, or "assumed sRGB". `rgb8` is sRGB in every case.
    problems : tuple of str
        Names from `terms.PROBLEMS`.
    focal_px : float or None
        Focal length in full-size pixels, from the EXIF 35 mm equivalent; None without one.
    """

    file: str
    stem: str
    sha256: str
    width: int
    height: int
    taken_at: str | None
    rgb8: Pixels
    working: Pixels
    scale: float
    profile: str
    problems: tuple[str, ...]
    focal_px: float | None
    step: int = 1
    data: bytes = b""

    def __post_init__(self) -> None:
        shape = (self.height // self.step, self.width // self.step, 3)
        if self.rgb8.shape != shape or self.rgb8.dtype != np.uint8:
            raise ValueError(
                f"uint8 of shape {shape} expected, got {self.rgb8.dtype} of shape {self.rgb8.shape}"
            )
        self.rgb8.flags.writeable = False
        self.working.flags.writeable = False

    def at(self, xy: NDArray[np.float32]) -> NDArray[np.float32]:
        """Places (..., 2) of the full-size photo in pixels of `rgb8`."""
        if self.step == 1:
            return xy
        return np.asarray((xy + np.float32(0.5)) * np.float32(1 / self.step) - np.float32(0.5))


@dataclass(frozen=True, slots=True)
class PhotoBytes:
    """A photo that is no file here: its bytes and what the user calls it."""

    name: str
    data: bytes


@dataclass(frozen=True, slots=True)
class PhotoFile:
    """A photo whose file is called otherwise than the user calls it."""

    path: str
    name: str


def read_photo(path: str | os.PathLike[str], name: str | None = None, least_side: int | None = None) -> Photo:
    """The photo in a file: JPEG, PNG, WebP, TIFF or HEIC (also AVIF and GIF).

    Parameters
    ----------
    path : str or path-like
        An ordinary file.
    name : str or None
        What the user calls it; the path without.
    least_side : int or None
        As in `read_photo_bytes`.

    Raises
    ------
    PhotoError
        When it is missing, no ordinary file, unreadable, damaged, no photo, or over 200 megapixels.
    """
    file = os.fspath(path)
    return read_photo_bytes(_file_bytes(file), name or file, least_side)


def read_photo_bytes(data: bytes, name: str, least_side: int | None = None) -> Photo:
    """The photo in the bytes of a file, as `read_photo`; `name` is what the user calls it.

    Parameters
    ----------
    data : bytes
    name : str
    least_side : int or None
        Pixels that the long side of `rgb8` has at least: a JPEG of more than twice as many is read coarsely,
        in half of the time. None for all the pixels there are.

    Notes
    -----
    Orientation is applied to the pixels once: by the EXIF tag, except where the decoder has done it (a HEIC's
    own rotation, a TIFF's tag), see CIPA DC-008 and ISO/IEC 23008-12. An embedded ICC profile is converted to
    sRGB, relative colorimetric. Transparency is laid over white. Of an animation the first frame is taken.

    Raises
    ------
    PhotoError
        As `read_photo`.
    """
    decoded = _decoded(data, name, least_side)
    rgb8, step, tags = decoded.rgb8, decoded.step, decoded.tags
    height, width = rgb8.shape[0] * step, rgb8.shape[1] * step
    working, scale = _working_copy(rgb8)
    return Photo(
        file=name,
        stem=PurePath(name).stem,
        sha256=hashlib.sha256(data).hexdigest(),
        width=width,
        height=height,
        taken_at=tags.taken_at,
        rgb8=rgb8,
        working=working,
        scale=scale * step,
        profile=decoded.profile,
        problems=decoded.problems,
        focal_px=focal_px(tags, width, height),
        step=step,
        data=data,
    )


def read_in_full(photo: Photo) -> Photo:
    """The photo with all the pixels that its file has."""
    if photo.step == 1:
        return photo
    return replace(photo, rgb8=_decoded(photo.data, photo.file, None).rgb8, step=1)


@dataclass(frozen=True, slots=True, eq=False)
class _Decoded:
    """Upright pixels in sRGB, full-size pixels per pixel, and what else the file says."""

    rgb8: Pixels
    step: int
    tags: Tags
    profile: str
    problems: tuple[str, ...]


def _decoded(data: bytes, name: str, least_side: int | None) -> _Decoded:
    """What a file holds, all of its pixels or fewer; see `read_photo_bytes`."""
    if not data:
        raise PhotoError(name, "an empty file (0 bytes)", _COPY_AGAIN)
    with _one_by_one, warnings.catch_warnings():
        # Pillow warns about tags it cannot parse; such a tag is simply not known here.
        warnings.simplefilter("ignore")
        warnings.simplefilter("error", Image.DecompressionBombWarning)
        image = _opened(data, name)
        if image.mode not in EIGHT_BIT_MODES + SIXTEEN_BIT_MODES:
            raise PhotoError(name, f"a colour model we do not read ({image.mode})", "Save it as JPEG or PNG")
        if not (plain_jpeg := _is_plain_jpeg(image)):
            _load(image, name)
        tags = read_tags(image)
        managed = None if plain_jpeg else inks_or_grey_to_srgb(image)
        stored = None if plain_jpeg or managed is not None else plain_rgb(image)
    problems: tuple[str, ...] = ()
    step = _coarsest(image.size, least_side) if plain_jpeg else 1
    if managed is not None:
        rgb8, profile = managed
    else:
        stored = _jpeg_pixels(data, name, step) if stored is None else stored
        rgb8, profile, problems = rgb_to_srgb(stored, image, tags.colour_space)
    return _Decoded(np.ascontiguousarray(_turned(rgb8, tags.orientation)), step, tags, profile, problems)


def _coarsest(size: tuple[int, int], least_side: int | None) -> int:
    """The largest step that divides both sides and leaves the long one at least so many pixels."""
    if least_side is None:
        return 1
    fits = (
        step for step in _COARSE if max(size) >= step * least_side and not any(side % step for side in size)
    )
    return next(fits, 1)


def _file_bytes(name: str) -> bytes:
    try:
        status = os.stat(name)
        if stat.S_ISDIR(status.st_mode):
            raise PhotoError(name, "a folder, not a photo", "Name the photos in it")
        if not stat.S_ISREG(status.st_mode):  # reading a pipe or a device might never end
            raise PhotoError(name, "not an ordinary file", "Save the photo to a file first")
        if status.st_size > MAX_BYTES:
            raise PhotoError(name, f"larger than {MAX_BYTES // 1_000_000} MB", "Save a smaller copy as JPEG")
        with open(name, "rb") as file:
            return file.read()
    except FileNotFoundError as error:
        raise PhotoError(name, "no such file", "Check the name and the folder") from error
    except PermissionError as error:
        raise PhotoError(
            name, "we are not allowed to read it", "Change its permissions or copy it"
        ) from error
    except (OSError, ValueError) as error:  # ValueError: a null character in the name
        if isinstance(error, PhotoError):
            raise
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise PhotoError(name, f"cannot be opened ({reason.lower()})", "Check the name") from error


def _opened(data: bytes, name: str) -> Image.Image:
    """The image with its header read and its pixels not yet decoded."""
    format = _format_of(data)
    if format is None:
        raise PhotoError(name, *_no_image(data))
    if format == "HEIF":  # its decoder is not loaded for a JPEG
        import pillow_heif

        pillow_heif.register_heif_opener()
    try:
        return Image.open(io.BytesIO(data), formats=[format])
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise PhotoError(
            name, f"more than {MAX_PIXELS // 1_000_000} megapixels", "Save a smaller copy"
        ) from error
    except _UNREADABLE as error:
        if format == "HEIF" and isinstance(error, UnidentifiedImageError):
            raise PhotoError(name, *_no_image(data)) from error  # a video begins in the same way
        raise PhotoError(name, "damaged: its header cannot be read", _COPY_AGAIN) from error


def _no_image(data: bytes) -> tuple[str, str]:
    """What a file is that is no image, and what to do."""
    told = (told for at, signs, told in _NO_PHOTOS if data.startswith(signs, at))
    return next(told, _NO_IMAGE)


def _format_of(data: bytes) -> str | None:
    """Pillow's name of the format by the first bytes, whatever the file is called."""
    if data[4:8] == b"ftyp":  # ISO/IEC 14496-12: the brand follows
        return "AVIF" if data[8:12] in (b"avif", b"avis") else "HEIF"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "WEBP"
    return next((name for name, starts in _BEGINNINGS.items() if data.startswith(starts)), None)


def _load(image: Image.Image, name: str) -> None:
    try:
        image.load()
    except _UNREADABLE as error:
        early = "truncated" in str(error) or isinstance(error, EOFError)
        problem = "damaged: the file ends early" if early else "damaged: its pixels cannot be decoded"
        raise PhotoError(name, problem, _COPY_AGAIN) from error


def _is_plain_jpeg(image: Image.Image) -> bool:
    """Whether OpenCV decodes it right: it does not know CMYK, nor the profile of greys."""
    grey_with_profile = image.mode == "L" and "icc_profile" in image.info
    return image.format in ("JPEG", "MPO") and image.mode in ("RGB", "L") and not grey_with_profile


def _jpeg_pixels(data: bytes, name: str, step: int) -> Pixels:
    """Pixels as stored, not turned. OpenCV takes about half of Pillow's time."""
    if _lacks_end(data):
        # OpenCV would return a picture that is grey from somewhere on.
        raise PhotoError(name, "damaged: the file ends early", _COPY_AGAIN)
    how = cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION | _COARSE.get(step, 0)
    rgb8 = _straight_into_numpy(data, how) if step == 1 else None
    if rgb8 is None:
        rgb8 = cv2.imdecode(np.frombuffer(data, np.uint8), how)
    if rgb8 is None:
        raise PhotoError(name, "damaged: its pixels cannot be decoded", _COPY_AGAIN)
    return np.asarray(rgb8, dtype=np.uint8)


def _straight_into_numpy(data: bytes, how: int) -> Pixels | None:
    """Pixels decoded where they stay; None where there is no file in memory.

    `imdecode` decodes into memory of its own and copies that: a third of the time for 12 megapixels, nothing
    for a quarter of them. Only `imread` decodes into what NumPy holds, and it wants a file's name.
    """
    if not hasattr(os, "memfd_create"):
        return None
    file = os.memfd_create("photo")
    try:
        written = os.write(file, data)
        return cv2.imread(f"/proc/self/fd/{file}", None, how) if written == len(data) else None
    except OSError:
        return None
    finally:
        os.close(file)


def _lacks_end(data: bytes) -> bool:
    """Whether a JPEG has no end marker after its first scan begins; what follows it does not matter."""
    if data.endswith(b"\xff\xd9"):
        return False
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF:
        if data[at + 1] == 0xFF:  # fill byte
            at += 1
        elif data[at + 1] == 0xDA:
            return data.find(b"\xff\xd9", at) < 0
        else:
            at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return True


def _turned(rgb8: Pixels, orientation: int) -> Pixels:
    """Pixels turned upright by the EXIF orientation 1 to 8."""
    match orientation:
        case 2:
            turned = cv2.flip(rgb8, 1)
        case 3:
            turned = cv2.rotate(rgb8, cv2.ROTATE_180)
        case 4:
            turned = cv2.flip(rgb8, 0)
        case 5:
            turned = cv2.transpose(rgb8)
        case 6:
            turned = cv2.rotate(rgb8, cv2.ROTATE_90_CLOCKWISE)
        case 7:
            turned = cv2.flip(cv2.transpose(rgb8), -1)
        case 8:
            turned = cv2.rotate(rgb8, cv2.ROTATE_90_COUNTERCLOCKWISE)
        case _:
            return rgb8
    return np.asarray(turned, dtype=np.uint8)


def _working_copy(rgb8: Pixels) -> tuple[Pixels, float]:
    """The copy to find parts on, and full-size pixels per pixel of it.

    A whole-number average first, then a linear step of less than 2, which leaves no pixel out: a quarter of
    the time of one average by a broken factor. Factors are given, not sizes, so that the scale is exact
    across and down.
    """
    height, width = rgb8.shape[:2]
    # A strip a few pixels high stays at least one pixel high.
    scale = min(max(height, width) / WORKING_SIDE, float(min(height, width)))
    if scale <= 1:
        return rgb8, 1.0
    whole = int(scale)
    copy = rgb8
    if whole > 1:
        copy = np.asarray(
            cv2.resize(copy, None, fx=1 / whole, fy=1 / whole, interpolation=cv2.INTER_AREA), dtype=np.uint8
        )
    if scale > whole:
        rest = whole / scale
        copy = np.asarray(
            cv2.resize(copy, None, fx=rest, fy=rest, interpolation=cv2.INTER_LINEAR), dtype=np.uint8
        )
    return copy, scale
