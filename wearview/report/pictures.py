"""Pictures that leave the shop: no location goes with any of them."""

import contextlib
import io
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from wearview.photo import read_photo_bytes
from wearview.report.photos import PhotoView
from wearview.report.strip import is_jpeg, stripped, time_and_turn

PhotoSource = Callable[[str], bytes]

# The report stays a file that a phone opens and a mail takes: 40 photos must fit in 8 MB, and as text in a
# page a picture takes a third more. So the more photos the smaller, and where photos are all grain, smaller
# still. (Photos up to which, widest side in pixels, JPEG quality.)
SIZES = ((12, 1200, 82), (24, 1100, 74), (60, 900, 68), (10**9, 700, 60), (10**9, 500, 50))
MOST_BYTES = 5_500_000
ARCHIVE_QUALITY = 92
SCREEN_QUALITY = 85


@dataclass(frozen=True, slots=True, eq=False)
class ReportPicture:
    """A picture as a report shows it, width and height in pixels."""

    jpeg: bytes
    width: int
    height: int


def report_pictures(
    photos: Sequence[PhotoView], photo_bytes: PhotoSource, tell: Callable[[str], None]
) -> dict[int, ReportPicture]:
    """The picture of each photo by its number, all of them together small enough for one report.

    Parameters
    ----------
    tell : callable
        Called with a line of text before each picture.
    """
    pictures: dict[int, ReportPicture] = {}
    for _, width, quality in (size for size in SIZES if len(photos) <= size[0]):
        pictures = {}
        for photo in photos:
            tell(f"report: picture {photo.number} of {len(photos)}")
            pictures[photo.number] = _report_picture(photo, photo_bytes, width, quality)
        if sum(len(picture.jpeg) for picture in pictures.values()) <= MOST_BYTES:
            break
    return pictures


def _report_picture(photo: PhotoView, photo_bytes: PhotoSource, width: int, quality: int) -> ReportPicture:
    """The overlay drawn when it was graded, or the photo itself where there is none, made small."""
    if photo.overlay_sha256 is None:
        image = _upright(photo, photo_bytes(photo.sha256))
    else:
        image = Image.open(io.BytesIO(photo_bytes(photo.overlay_sha256)))
        image.draft("RGB", (width, width * 2))  # decoded at half or a quarter where that is wide enough
        image = image.convert("RGB")
    image.thumbnail((width, width * 2), Image.Resampling.LANCZOS)
    return ReportPicture(_pixels_only(image, quality), *image.size)


def graded_pictures(photo: PhotoView, photo_bytes: PhotoSource) -> Iterator[tuple[str, bytes]]:
    """Name in the archive and JPEG bytes of a photo as it was graded, with what was found drawn on it."""
    if photo.overlay_sha256 is not None:
        yield f"graded/{archive_stem(photo)}.jpg", stripped(photo_bytes(photo.overlay_sha256))


def original_picture(photo: PhotoView, photo_bytes: PhotoSource) -> tuple[str, bytes]:
    """Name in the archive and JPEG bytes of the photo itself, with what keeps it upright and its time.

    A JPEG keeps its pixels to the bit, its colour profile, its way up and its time; any other format becomes
    an upright JPEG in sRGB that keeps its time.
    """
    data = photo_bytes(photo.sha256)
    name = f"originals/{archive_stem(photo)}.jpg"
    if is_jpeg(data):
        with contextlib.suppress(ValueError):  # decoders forgive more; then it is written anew as below
            return name, stripped(data)
    out = io.BytesIO()
    _upright(photo, data).save(out, "JPEG", quality=ARCHIVE_QUALITY, exif=time_and_turn(photo.taken_at))
    return name, out.getvalue()


def jpeg(rgb8: NDArray[np.uint8], quality: int = ARCHIVE_QUALITY) -> bytes:
    """A picture, shape (H, W, 3), as JPEG bytes that hold its pixels and nothing else."""
    return _pixels_only(Image.fromarray(rgb8), quality)


def screen_picture(data: bytes, name: str) -> bytes:
    """A kept photo as a JPEG that any browser shows: upright, at most as wide as overlays, pixels only."""
    return _pixels_only(Image.fromarray(read_photo_bytes(data, name).working), SCREEN_QUALITY)


def small_picture(jpeg: bytes, width: int) -> bytes:
    """A JPEG made small enough for a list."""
    image = Image.open(io.BytesIO(jpeg))
    image.draft("RGB", (width, width * 2))
    image.thumbnail((width, width * 2), Image.Resampling.LANCZOS)
    return _pixels_only(image.convert("RGB"), SCREEN_QUALITY)


def archive_stem(photo: PhotoView) -> str:
    """A name that sorts by the photo's number and says where it belongs."""
    return f"{photo.number:02d}-{_plain(photo.element)}-{_plain(photo.stem)}"


def _upright(photo: PhotoView, data: bytes) -> Image.Image:
    return Image.fromarray(read_photo_bytes(data, photo.file).rgb8)


def _pixels_only(image: Image.Image, quality: int) -> bytes:
    out = io.BytesIO()
    # A new image from the array: pixels only, whatever the opened file said about itself.
    Image.fromarray(np.asarray(image)).save(out, "JPEG", quality=quality)
    return out.getvalue()


def _plain(name: str) -> str:
    """A name that every system takes as a file name."""
    return re.sub(r"[^\w]+", "-", name, flags=re.ASCII).strip("-").lower()[:40] or "unnamed"
