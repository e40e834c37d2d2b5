"""Orientation and time as the standards have them: TIFF 6.0, Exif (CIPA DC-008), HEIF (ISO/IEC 23008-12)."""

import io

import numpy as np
import pillow_heif
import pytest
from PIL import Image

from wearview.photo import read_photo, read_photo_bytes

# A stored picture `0 1 2 / 3 4 5` as it has to be shown, per orientation (TIFF 6.0, tag 274; Exif).
UPRIGHT = {
    1: ((0, 1, 2), (3, 4, 5)),
    2: ((2, 1, 0), (5, 4, 3)),
    3: ((5, 4, 3), (2, 1, 0)),
    4: ((3, 4, 5), (0, 1, 2)),
    5: ((0, 3), (1, 4), (2, 5)),
    6: ((3, 0), (4, 1), (5, 2)),
    7: ((5, 2), (4, 1), (3, 0)),
    8: ((2, 5), (1, 4), (0, 3)),
}
COLOURS = np.array(
    [(200, 30, 30), (30, 200, 30), (30, 30, 200), (200, 200, 30), (30, 200, 200), (200, 30, 200)], np.uint8
)
BLOCK = 32  # px per square of the picture: a whole number of JPEG and HEVC blocks


def stored_picture() -> Image.Image:
    squares = COLOURS[np.arange(6).reshape(2, 3)]
    return Image.fromarray(squares.repeat(BLOCK, axis=0).repeat(BLOCK, axis=1))


def exif(**tags: object) -> Image.Exif:
    """Exif with an orientation and, by name, tags of the camera's own directory."""
    result = Image.Exif()
    numbers = {"taken": 36867, "offset": 36881, "offset_of_change": 36880}
    for name, value in tags.items():
        if name == "orientation":
            result[274] = value
        elif name == "changed":
            result[306] = value
        else:
            result.get_ifd(34665)[numbers[name]] = value
    return result


def saved(format: str, tags: Image.Exif, **options: object) -> bytes:
    buffer = io.BytesIO()
    pillow_heif.register_heif_opener()
    # As bytes, so that the HEIC encoder finds the orientation and writes it as the file's own rotation.
    stored_picture().save(buffer, format, exif=tags.tobytes(), **options)
    return buffer.getvalue()


def squares_of(data: bytes) -> tuple[tuple[int, ...], ...]:
    """Which of the six colours each square of the read photo is nearest to."""
    centres = read_photo_bytes(data, "picture").rgb8[BLOCK // 2 :: BLOCK, BLOCK // 2 :: BLOCK].astype(int)
    distance = np.abs(centres[:, :, None] - COLOURS.astype(int)).sum(axis=-1)
    assert distance.min(axis=-1).max() < 30  # what JPEG and HEVC leave of a flat colour
    return tuple(map(tuple, distance.argmin(axis=-1).tolist()))


@pytest.mark.parametrize("format", ["JPEG", "PNG", "WEBP", "TIFF"])
@pytest.mark.parametrize("orientation", UPRIGHT)
def test_every_orientation_is_shown_upright_in_every_format(format, orientation):
    assert squares_of(saved(format, exif(orientation=orientation))) == UPRIGHT[orientation]


@pytest.mark.parametrize("orientation", [0, 9, 65535])
@pytest.mark.parametrize("format", ["JPEG", "PNG"])
def test_an_orientation_that_does_not_exist_counts_as_upright(format, orientation):
    assert squares_of(saved(format, exif(orientation=orientation))) == UPRIGHT[1]


@pytest.mark.parametrize("orientation", UPRIGHT)
def test_a_heic_that_turns_itself_is_turned_once(orientation):
    data = saved("HEIF", exif(orientation=orientation), quality=95)
    assert (b"irot" in data or b"imir" in data) == (orientation != 1)  # the file does carry its own rotation
    assert (
        squares_of(data) == UPRIGHT[orientation] == squares_of(saved("JPEG", exif(orientation=orientation)))
    )


@pytest.mark.parametrize("format", ["JPEG", "PNG", "WEBP", "TIFF", "HEIF"])
def test_a_time_without_zone_stays_local(format):
    data = saved(format, exif(taken="2023:07:05 16:20:09"))
    assert read_photo_bytes(data, "x").taken_at == "2023-07-05T16:20:09"


def test_a_time_with_its_offset_keeps_it():
    data = saved("JPEG", exif(taken="2023:07:05 16:20:09", offset="-03:30"))
    assert read_photo_bytes(data, "x").taken_at == "2023-07-05T16:20:09-03:30"


@pytest.mark.parametrize("offset", ["   :  ", "", "Z", "+2", "+99:00"])
def test_a_blank_or_wrong_offset_is_unknown(offset):
    data = saved("JPEG", exif(taken="2023:07:05 16:20:09", offset=offset))
    assert read_photo_bytes(data, "x").taken_at == "2023-07-05T16:20:09"


@pytest.mark.parametrize(
    "tags",
    [
        {},
        {"changed": "2023:07:05 16:20:09", "offset_of_change": "+02:00"},
        {"taken": "0000:00:00 00:00:00"},
        {"taken": "    :  :     :  :  "},
        {"taken": "yesterday"},
        {"taken": "2023:13:05 16:20:09"},
    ],
    ids=["no tags", "only a change", "zeros", "blanks", "words", "month 13"],
)
def test_without_a_time_of_taking_there_is_none(tags):
    assert read_photo_bytes(saved("JPEG", exif(**tags)), "x").taken_at is None


def test_the_date_of_the_file_is_never_used(tmp_path):
    path = tmp_path / "plain.jpg"
    path.write_bytes(saved("JPEG", exif()))
    assert read_photo(path).taken_at is None
