"""What cannot be read is refused in one line that names the file and the remedy."""

import io
import os
import struct
import warnings
import zlib
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pillow_heif
import pytest
from PIL import Image

from wearview.errors import PhotoError
from wearview.photo import read_photo, read_photo_bytes

NOISE = np.random.default_rng(0).integers(0, 256, (96, 128, 3)).astype(np.uint8)
NOBODY = 65534


def encoded(format: str, **options: object) -> bytes:
    buffer = io.BytesIO()
    pillow_heif.register_heif_opener()
    Image.fromarray(NOISE).save(buffer, format, **options)
    return buffer.getvalue()


def png_header(width: int, height: int) -> bytes:
    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    size = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", size) + chunk(b"IDAT", b"") + chunk(b"IEND", b"")


def jpeg_header(width: int, height: int) -> bytes:
    frame = b"\xff\xc0" + struct.pack(">HBHHB", 17, 8, height, width, 3) + b"\1\x11\0\2\x11\0\3\x11\0"
    return b"\xff\xd8" + frame + b"\xff\xda\0\x0c\3\1\0\2\0\3\0\0\x3f\0" + b"\0" * 64 + b"\xff\xd9"


def refusal(data: bytes) -> PhotoError:
    with pytest.raises(PhotoError) as caught:
        read_photo_bytes(data, "bench.jpg")
    return caught.value


@contextmanager
def without_privileges() -> Iterator[None]:
    """As a user to whom file permissions apply; the suite may run as root."""
    me = os.geteuid()
    if me == 0:
        os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(me)


def assert_one_line(error: PhotoError, name: str) -> None:
    line = str(error)
    assert "\n" not in line
    assert line.isprintable()
    assert line.startswith(f"{name}: ")
    assert error.remedy
    assert line.endswith(f"{error.remedy}.")


def test_an_empty_file_is_refused():
    error = refusal(b"")
    assert error.problem == "an empty file (0 bytes)"
    assert_one_line(error, "bench.jpg")


@pytest.mark.parametrize(
    "data",
    [
        b"just some words\n",
        b"<!doctype html>",
        b"%!PS-Adobe-3.0 EPSF-3.0",
        b"\0" * 4000,
        b"BM\x46\0\0\0 a bitmap",
    ],
    ids=["words", "page", "postscript", "zeros", "bitmap"],
)
def test_what_is_no_image_is_refused_whatever_it_is_called(data):
    error = refusal(data)
    assert error.problem == "not an image we can read"
    assert_one_line(error, "bench.jpg")


@pytest.mark.parametrize(
    ("data", "what"),
    [
        (b"%PDF-1.7 ", "PDF"),
        (b"\0\0\0\x18ftypmp42\0\0\0\0mp42isom", "video"),
        (b"\0\0\0\x14ftypqt  \0\0\0\0qt  ", "video"),
        (b"\x1aE\xdf\xa3\x01\0\0\0", "video"),
        (b"RIFF\x24\0\0\0AVI LIST", "video"),
    ],
    ids=["pdf", "mp4", "mov", "webm", "avi"],
)
def test_a_video_or_pdf_is_named_as_what_it_is(data, what):
    error = refusal(data)
    assert error.problem == f"a {what}, not a photo"
    assert_one_line(error, "bench.jpg")


@pytest.mark.parametrize("progressive", [False, True])
@pytest.mark.parametrize("left", [0.05, 0.3, 0.6, 0.95, -20, -2])
def test_a_jpeg_that_ends_early_is_refused_and_not_shown_half_grey(left, progressive, capfd):
    data = encoded("JPEG", quality=90, progressive=progressive)
    error = refusal(data[:left] if left < 0 else data[: int(len(data) * left)])
    assert error.problem.startswith("damaged")
    assert_one_line(error, "bench.jpg")
    assert capfd.readouterr().err == ""


def test_a_jpeg_cut_short_and_filled_with_zeros_is_refused():
    data = encoded("JPEG", quality=90)
    assert refusal(data[: len(data) // 2] + b"\0" * 5000).problem == "damaged: the file ends early"


def test_a_jpeg_with_a_thumbnail_is_not_complete_because_its_thumbnail_is():
    tags = Image.Exif()
    tags[270] = "x"
    body = encoded("JPEG", quality=90, exif=tags.tobytes() + b"\xff\xd8 a small picture \xff\xd9")
    assert refusal(body[: len(body) // 2]).problem == "damaged: the file ends early"


@pytest.mark.parametrize("trailer", [b"\0" * 30, b"maker's notes", b"\xff\xd8 a second picture"])
def test_what_a_phone_appends_to_a_jpeg_does_no_harm(trailer):
    data = encoded("JPEG", quality=90)
    whole = read_photo_bytes(data, "x").rgb8
    np.testing.assert_array_equal(read_photo_bytes(data + trailer, "x").rgb8, whole)


def test_a_phones_file_of_two_pictures_is_read_as_its_first():
    data = encoded("MPO", save_all=True, append_images=[Image.new("RGB", (20, 20))])
    assert read_photo_bytes(data, "x").rgb8.shape == NOISE.shape


@pytest.mark.parametrize("format", ["PNG", "WEBP", "TIFF", "HEIF", "GIF"])
@pytest.mark.parametrize("left", [0.1, 0.5, 0.9])
def test_any_other_format_that_ends_early_is_refused(format, left):
    data = encoded(format)
    assert_one_line(refusal(data[: int(len(data) * left)]), "bench.jpg")


@pytest.mark.parametrize("header", [png_header, jpeg_header])
def test_a_header_that_declares_too_many_pixels_is_refused_before_decoding(header):
    error = refusal(header(60_000, 60_000))
    assert error.problem == "more than 200 megapixels"
    assert_one_line(error, "bench.jpg")


def test_the_limit_is_the_one_stated():
    assert refusal(png_header(20_001, 10_000)).problem == "more than 200 megapixels"
    assert refusal(png_header(20_000, 10_000)).problem.startswith("damaged")  # let through, then found empty


def test_several_threads_refuse_what_one_would_and_leave_the_warnings_as_they_were():
    small, filters = encoded("PNG"), list(warnings.filters)

    def read(number: int) -> str | None:
        if number % 2:
            return refusal(png_header(20_001, 10_000)).problem
        read_photo_bytes(small, "small.png")
        return None

    with ThreadPoolExecutor(4) as pool:
        told = list(pool.map(read, range(200)))
    assert told == [None, "more than 200 megapixels"] * 100
    assert list(warnings.filters) == filters


def test_a_colour_model_without_a_plain_way_to_rgb_is_refused():
    buffer = io.BytesIO()
    Image.fromarray(np.zeros((4, 4), np.float32)).save(buffer, "TIFF")
    assert refusal(buffer.getvalue()).problem == "a colour model we do not read (F)"


def test_damaged_tags_do_not_stop_a_photo():
    data = encoded("JPEG", exif=b"Exif\0\0II*\0\x08\0\0\0\xff\x7f\x12\x01\x03")
    photo = read_photo_bytes(data, "x")
    assert photo.rgb8.shape == NOISE.shape
    assert photo.taken_at is None


@pytest.mark.parametrize(
    ("make", "problem"),
    [
        (lambda path: None, "no such file"),
        (lambda path: path.mkdir(), "a folder, not a photo"),
        (lambda path: os.mkfifo(path), "not an ordinary file"),
        (lambda path: path.symlink_to("/dev/zero"), "not an ordinary file"),
        (lambda path: path.symlink_to(path), "cannot be opened"),
        (lambda path: path.write_bytes(b""), "an empty file (0 bytes)"),
    ],
    ids=["missing", "folder", "pipe", "device", "circle", "empty"],
)
def test_what_is_not_a_file_with_a_photo_is_named_for_what_it_is(tmp_path, make, problem):
    path = tmp_path / "IMG 1.jpg"
    make(path)
    with pytest.raises(PhotoError) as caught:
        read_photo(path)
    assert caught.value.problem.startswith(problem)
    assert_one_line(caught.value, str(path))


def test_a_file_inside_a_file_is_refused(tmp_path):
    (tmp_path / "a.jpg").write_bytes(b"x")
    with pytest.raises(PhotoError, match="cannot be opened"):
        read_photo(tmp_path / "a.jpg" / "b.jpg")


def test_a_photo_that_may_not_be_read_is_refused():
    # Not in tmp_path, whose folders are closed to other users.
    path = Path("/tmp") / f"wearview-test-{os.getpid()}.png"
    path.write_bytes(encoded("PNG"))
    path.chmod(0)
    try:
        with without_privileges(), pytest.raises(PhotoError) as caught:
            read_photo(path)
    finally:
        path.unlink()
    assert caught.value.problem == "we are not allowed to read it"
    assert_one_line(caught.value, str(path))


@pytest.mark.parametrize("name", ["a\0b.jpg", "n" * 5000 + ".jpg"], ids=["null", "long"])
def test_a_name_no_file_can_have_is_refused(name):
    with pytest.raises(PhotoError, match="cannot be opened"):
        read_photo(name)


def test_a_name_with_a_newline_still_gives_one_line(tmp_path):
    with pytest.raises(PhotoError) as caught:
        read_photo(tmp_path / "two\nlines.jpg")
    assert "\n" not in str(caught.value)
    assert "two\\nlines.jpg" in str(caught.value)


@pytest.mark.parametrize("format", ["JPEG", "PNG", "WEBP", "TIFF", "HEIF", "GIF", "AVIF"])
def test_bytes_changed_at_random_give_a_photo_or_one_line(format):
    data = encoded(format)
    rng = np.random.default_rng(5)
    for _ in range(40):
        changed = bytearray(data)
        for place in rng.integers(0, min(len(data), 1200), rng.integers(1, 6)):
            changed[place] = rng.integers(0, 256)
        try:
            photo = read_photo_bytes(bytes(changed), "bench.jpg")
        except PhotoError as error:
            assert_one_line(error, "bench.jpg")
        else:
            assert photo.rgb8.shape == (photo.height, photo.width, 3)
