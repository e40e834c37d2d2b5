"""Taking out of a JPEG all that is not its picture: location, camera, thumbnails, comments, appended files.

Its pixels stay as they are to the bit. Its way up, the time it was taken and its colour profile stay too:
without them it would lie on its side, out of order, or in other colours.
"""

import io
import re
from collections.abc import Iterator

from PIL import Image
from PIL.JpegImagePlugin import JpegImageFile

from wearview.photo.exif import read_tags

# ITU-T T.81, table B.1. Within coded pixels 0 after 0xFF is a stuffed byte, D0 to D7 are restarts, 1 stands
# alone; 0xFF before a marker only fills.
_START, _END, _SCAN = 0xD8, 0xD9, 0xDA
_MARKER = re.compile(rb"\xff[^\x00\x01\xd0-\xd7\xff]", re.DOTALL)
_APP, _COMMENT = range(0xE0, 0xF0), 0xFE
# Application data that decoding needs: JFIF, the profile, and what Adobe says of the colour transform. JFXX
# thumbnails, Exif, XMP, MPF (further pictures behind the end), IPTC and makers' own blocks go.
_NEEDED = {0xE0: b"JFIF\0", 0xE2: b"ICC_PROFILE\0", 0xEE: b"Adobe"}
# Exif 2.32 (CIPA DC-008): the tags that stay.
_ORIENTATION, _CAMERA, _TAKEN, _OFFSET = 274, 34665, 36867, 36881


def is_jpeg(data: bytes) -> bool:
    """Whether these are the bytes of a JPEG."""
    return data.startswith(b"\xff\xd8\xff")


def stripped(jpeg: bytes) -> bytes:
    """The JPEG with its picture, way up, time and profile, and nothing else.

    Raises
    ------
    ValueError
        When it is no JPEG or its segments do not add up.
    """
    try:
        tags = read_tags(JpegImageFile(io.BytesIO(jpeg)))  # whatever it says of pictures behind its end
    except (OSError, SyntaxError) as error:
        raise ValueError("the JPEG's header cannot be read") from error
    exif = time_and_turn(tags.taken_at, tags.orientation)
    pieces = list(_segments(jpeg))
    kept = [piece for marker, piece in pieces if _is_kept(marker, piece)]
    first = 1 + (pieces[1][0] == 0xE0 and _is_kept(*pieces[1]))  # JFIF comes first where it is (T.871)
    block = b"\xff\xe1" + (len(exif) + 2).to_bytes(2, "big") + exif if exif else b""
    return b"".join([*kept[:first], block, *kept[first:]])


def time_and_turn(taken_at: str | None, orientation: int = 1) -> bytes:
    """Exif that says when a photo was taken and which way up it is; empty where it has nothing to say.

    Parameters
    ----------
    taken_at : str or None
        As `Photo.taken_at`: `YYYY-MM-DDTHH:MM:SS`, with `+HH:MM` where known.
    orientation : int
        1 to 8.
    """
    exif = Image.Exif()
    if orientation != 1:
        exif[_ORIENTATION] = orientation
    if taken_at is not None:
        camera = exif.get_ifd(_CAMERA)
        camera[_TAKEN] = taken_at[:19].replace("-", ":").replace("T", " ")
        if offset := taken_at[19:]:
            camera[_OFFSET] = offset
    return exif.tobytes() if orientation != 1 or taken_at is not None else b""


def _is_kept(marker: int, piece: bytes) -> bool:
    if marker in _NEEDED:
        return piece[4:].startswith(_NEEDED[marker])
    return marker not in _APP and marker != _COMMENT


def _segments(jpeg: bytes) -> Iterator[tuple[int, bytes]]:
    """Each marker with its bytes up to the end of the image; a scan's coded pixels belong to its marker."""
    yield _START, jpeg[:2]
    at = 2
    while found := _MARKER.search(jpeg, at):
        at, marker = found.start(), jpeg[found.end() - 1]
        if marker == _END:
            yield _END, jpeg[at : at + 2]
            return
        end = at + 2 + int.from_bytes(jpeg[at + 2 : at + 4], "big")
        if marker == _SCAN and (following := _MARKER.search(jpeg, end)):
            end = following.start()
        yield marker, jpeg[at:end]
        at = end
    raise ValueError("the JPEG ends before its picture does")
