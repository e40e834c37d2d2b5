"""A report of 40 photos: how large, how quickly."""

import io
import time

import numpy as np
import pytest
from PIL import Image

from tests import documents
from tests.stages.test_report import element, teardown
from wearview.photo import read_photo_bytes
from wearview.report import write_report

PHOTOS = 40
MB = 1_000_000


def noise(width, height, seed, strength):
    """Grain over a grey bench: JPEG has nothing to save on."""
    grain = np.random.default_rng(seed).normal(128, strength, (height, width, 3))
    out = io.BytesIO()
    Image.fromarray(grain.clip(0, 255).astype(np.uint8)).save(out, "JPEG", quality=90)
    return out.getvalue()


def job(overlays):
    """A teardown of four packs of ten photos each, and the bytes of its photos and overlays."""
    names = [f"{n:064x}" for n in range(PHOTOS)]
    entries = []
    for n, name in enumerate(names):
        part = documents.part(name.encode(), 1, n % 10 + 1, n % 5)
        entries.append(documents.photo_entry(name.encode(), f"{n}.jpg", [part]) | {"sha256": name})
    elements = [
        element(
            documents.document(entries[first : first + 10]),
            name=f"Pack {first}",
            overlays={name: f"overlay {n % 4}" for n, name in enumerate(names)} if overlays else {},
        )
        for first in range(0, PHOTOS, 10)
    ]
    return teardown(*elements), names


@pytest.fixture(scope="module")
def pictures():
    """A photo as phones take it, and four overlays of it."""
    photo = noise(4000, 3000, 1, 8)
    return {"photo": photo, **{f"overlay {n}": noise(1600, 1260, n, 25) for n in range(4)}}


def test_it_opens_on_a_phone_and_is_written_in_less_than_6_times_the_decoding(pictures, tmp_path):
    record, _ = job(overlays=True)
    read_photo_bytes(pictures["photo"], "a.jpg")
    start = time.process_time()
    for _ in range(4):
        read_photo_bytes(pictures["photo"], "a.jpg")
    decoding = (time.process_time() - start) * PHOTOS / 4
    start = time.process_time()
    write_report(record, lambda key: pictures.get(key, pictures["photo"]), tmp_path, originals=True)
    assert time.process_time() - start < 6 * decoding
    assert (tmp_path / "report.html").stat().st_size < 8 * MB
    assert (tmp_path / "report.pdf").stat().st_size < 10 * MB


def test_pictures_that_are_all_grain_are_made_smaller(tmp_path):
    photo = noise(1000, 750, 3, 70)
    record, _ = job(overlays=False)
    write_report(record, lambda key: photo, tmp_path)
    assert (tmp_path / "report.html").stat().st_size < 8 * MB
    assert (tmp_path / "report.pdf").stat().st_size < 10 * MB
