"""The shop's own files: read, or refused in words."""

import io

import pytest
from PIL import Image

from wearview.errors import CallError
from wearview.report.shop import Shop, load_shop


def describe(folder, text):
    (folder / "shop.toml").write_text(text, "utf-8")


def test_a_folder_that_is_empty_or_missing_is_a_shop_without_a_name(tmp_path):
    assert load_shop(tmp_path) == load_shop(tmp_path / "none") == Shop(None, (), None, "a4")


def test_name_lines_and_paper_are_read(tmp_path):
    describe(tmp_path, 'name = "Müller & Söhne"\nlines = ["Street 1", "555-0100"]\npaper = "us-letter"')
    assert load_shop(tmp_path) == Shop("Müller & Söhne", ("Street 1", "555-0100"), None, "us-letter")


@pytest.mark.parametrize("name", ["logo.png", "logo.jpg"])
def test_a_logo_becomes_a_png_of_its_pixels_alone(tmp_path, name):
    exif = Image.Exif()
    exif.get_ifd(0x8825)[1] = "N"
    Image.new("RGB", (3000, 500), "navy").save(tmp_path / name, exif=exif)
    logo = Image.open(io.BytesIO(load_shop(tmp_path).logo))
    assert logo.format == "PNG"
    assert logo.size == (900, 150)
    assert not logo.getexif()


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("name = ", "is no TOML text"),
        (f"name = {'[' * 9999}", "is no TOML text"),
        ("name = 7", "name is no text"),
        ("lines = 'Street 1'", "lines is no list of texts"),
        (f"lines = {['a'] * 7}", "has 7 lines"),
        ("paper = 'a3'", "is no paper we know"),
        ("line = 'Street 1'", "line is no word we know. Use name, lines, paper"),
    ],
)
def test_a_wrong_description_is_told(tmp_path, text, told):
    describe(tmp_path, text)
    with pytest.raises(CallError, match=told):
        load_shop(tmp_path)


def test_a_logo_that_is_no_picture_is_told(tmp_path):
    (tmp_path / "logo.png").write_bytes(b"<svg onload='x'/>")
    with pytest.raises(CallError, match=r"logo.png: is no PNG or JPEG we can read. Save the logo as PNG"):
        load_shop(tmp_path)
