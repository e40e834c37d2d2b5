"""Pictures that leave the shop: pixels only, so that no location or camera data goes with them."""

import base64
import io
import re
from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from wearview.photo import read_photo_bytes
from wearview.report.view import PhotoView

PhotoSource = Callable[[str], bytes]

# The report stays a file that a phone opens and a mail takes: 40 photos must fit in 8 MB, so the more photos
# the smaller. (Photos up to which, widest side in pixels, JPEG quality.)
SIZES = ((12, 1200, 82), (24, 1100, 74), (10**9, 900, 68))
ARCHIVE_QUALITY = 92
SCREEN_QUALITY = 85


def report_picture(photo: PhotoView, photo_bytes: PhotoSource, n_photos: int) -> bytes:
    """JPEG for the report: the overlay drawn when it was graded, or the photo itself where there is none."""
    width, quality = next((width, quality) for limit, width, quality in SIZES if n_photos <= limit)
    image = _overlay(photo, photo_bytes) or _original(photo, photo_bytes)
    image.thumbnail((width, width * 2), Image.Resampling.LANCZOS)
    return _jpeg(image, quality)


def archive_pictures(photo: PhotoView, photo_bytes: PhotoSource) -> Iterator[tuple[str, bytes]]:
    """Names in the archive and JPEG bytes: the photo at full size, and its overlay."""
    stem = f"{photo.number:02d}-{_plain(photo.element)}-{_plain(photo.stem)}.jpg"
    yield f"photos/{stem}", _jpeg(_original(photo, photo_bytes), ARCHIVE_QUALITY)
    if (overlay := _overlay(photo, photo_bytes)) is not None:
        yield f"overlays/{stem}", _jpeg(overlay, ARCHIVE_QUALITY)


def jpeg(rgb8: NDArray[np.uint8], quality: int = ARCHIVE_QUALITY) -> bytes:
    """A picture, shape (H, W, 3), as JPEG bytes that hold its pixels and nothing else."""
    return _jpeg(Image.fromarray(rgb8), quality)


def screen_picture(data: bytes, name: str) -> bytes:
    """A kept photo as a JPEG that any browser shows: upright, at most as wide as overlays, pixels only."""
    return _jpeg(Image.fromarray(read_photo_bytes(data, name).working), SCREEN_QUALITY)


def data_uri(jpeg: bytes) -> str:
    """The picture as text that stands inside the page."""
    return "data:image/jpeg;base64," + base64.b64encode(jpeg).decode("ascii")


def _original(photo: PhotoView, photo_bytes: PhotoSource) -> Image.Image:
    return Image.fromarray(read_photo_bytes(photo_bytes(photo.sha256), photo.file).rgb8)


def _overlay(photo: PhotoView, photo_bytes: PhotoSource) -> Image.Image | None:
    if photo.overlay_sha256 is None:
        return None
    return Image.open(io.BytesIO(photo_bytes(photo.overlay_sha256))).convert("RGB")


def _jpeg(image: Image.Image, quality: int) -> bytes:
    out = io.BytesIO()
    # A new image from the array: pixels only, whatever the opened file said about itself.
    Image.fromarray(np.asarray(image)).save(out, "JPEG", quality=quality)
    return out.getvalue()


def _plain(name: str) -> str:
    """A name that every system takes as a file name."""
    return re.sub(r"[^\w]+", "-", name, flags=re.ASCII).strip("-").lower()[:40] or "unnamed"
