"""Plates in more than one row have no order that a photo tells: it is said, and changes no grade."""

import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from wearview.parts import lie_in_rows
from wearview.photo import PhotoBytes
from wearview.pipeline import grade_photos
from wearview.record import Place, build_document, validate
from wearview.report.words import order_words
from wearview.settings import load_settings
from wearview.terms import PROBLEMS, ROWS

DEMO = Path(__file__).parents[2] / "demo_images"
ROW = np.array([[210.0 * k, 12.0 * k] for k in range(4)])


def told(*rows):
    centres = np.concatenate(rows)
    return lie_in_rows(centres[np.argsort(centres[:, 0], kind="stable")], np.full(len(centres), 180.0))


@pytest.mark.parametrize("shift", [0, 60, -60])
def test_two_rows_are_told_however_the_second_begins(shift):
    below = ROW + np.array([shift, 230])
    assert told(ROW, below)
    swapped = np.concatenate([ROW, below])[:, ::-1]  # two columns
    assert lie_in_rows(swapped[np.argsort(swapped[:, 1], kind="stable")], np.full(8, 180.0))


@pytest.mark.parametrize(
    "row",
    [ROW, ROW * [1, 8], ROW[:2] * [0, 1], ROW * 0.3, np.array([[95 * k, 156 * (k % 2)] for k in range(5)])],
    ids=["even", "leaning", "two plates", "overlapping", "zigzag, each touching the next"],
)
def test_one_row_is_no_two(row):
    assert not told(row)


def test_in_a_photo_of_two_rows_it_is_said_until_positions_are_stated():
    above, below = (Image.open(DEMO / name) for name in ("direct-pack-1.jpg", "direct-pack-2.jpg"))
    both = Image.new("RGB", (1000, 1500))
    for n, picture in enumerate((above, below)):
        both.paste(picture.resize((1000, 750)), (0, 750 * n))
    out = io.BytesIO()
    both.save(out, "PNG")
    photo, settings = PhotoBytes("both.png", out.getvalue()), load_settings()
    graded = grade_photos([photo], settings)
    document = build_document(graded, settings)
    validate(document)
    assert order_words(document) == [f"{PROBLEMS[ROWS].text} {PROBLEMS[ROWS].remedy}"]
    places = [Place(n) for n, _ in enumerate(document["photos"][0]["parts"], start=1)]
    assert order_words(build_document(grade_photos([photo], settings, places=places), settings)) == []
