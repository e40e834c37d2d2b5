"""A photo is refused as blurred by what lies in it, not by the bench."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from wearview.look import look_at
from wearview.photo import Photo, read_photo
from wearview.quality import judge

DEMO = Path(__file__).parents[2] / "demo_images"


@pytest.fixture(scope="module")
def on_soft_bench() -> Photo:
    """Sharp plates of a demo photo, laid on a bench of soft stains that has no sharp edge of its own."""
    photo = read_photo(str(DEMO / "direct-pack-1.jpg"))
    on_parts = np.zeros(photo.working.shape[:2], np.uint8)
    for part in look_at(photo).parts:
        (x, y), (h, w) = part.origin, part.part_mask.shape
        on_parts[y : y + h, x : x + w] |= part.part_mask.astype(np.uint8)
    assert on_parts.any()
    noise = np.random.default_rng(4).normal(0, 1, on_parts.shape).astype(np.float32)
    stains = cv2.GaussianBlur(noise, (0, 0), 9)
    bench = np.clip(120 + 45 * stains / stains.std(), 0, 255).astype(np.uint8)[..., None]
    share = cv2.GaussianBlur(cv2.dilate(on_parts, np.ones((5, 5))).astype(np.float32), (0, 0), 0.8)[..., None]
    laid = photo.working * share + bench * np.array([1.0, 0.97, 0.9]) * (1 - share)
    return replace(photo, working=np.clip(laid, 0, 255).astype(np.uint8))


def test_a_sharp_plate_on_a_bench_without_sharp_edges_is_not_blurred(on_soft_bench):
    assert judge(on_soft_bench).problems == ("blurred",)
    seen = look_at(on_soft_bench)
    assert seen.quality.gradeable
    assert seen.quality.problems == ()
    assert seen.parts


def test_where_the_plate_is_blurred_too_the_photo_is(on_soft_bench):
    smeared = replace(on_soft_bench, working=cv2.GaussianBlur(on_soft_bench.working, (0, 0), 7))
    seen = look_at(smeared)
    assert not seen.quality.gradeable
    assert seen.quality.problems == ("blurred",)
    assert seen.parts == ()
