"""Reading a photo: decoded, upright, in sRGB, with its date, its hash and a smaller working copy."""

from wearview.photo.read import (
    MAX_PIXELS,
    WORKING_SIDE,
    Photo,
    PhotoBytes,
    PhotoFile,
    read_in_full,
    read_photo,
    read_photo_bytes,
)

__all__ = [
    "MAX_PIXELS",
    "WORKING_SIDE",
    "Photo",
    "PhotoBytes",
    "PhotoFile",
    "read_in_full",
    "read_photo",
    "read_photo_bytes",
]
