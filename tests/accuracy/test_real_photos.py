"""Real pictures without a clutch part: nothing in them is taken for one."""

import pytest

from tests.accuracy.real_photos import parts_in, real_pictures


def test_the_two_wheels_hold_pictures():
    assert {"china.jpg", "flower.jpg"} <= {file.name for file in real_pictures()}


@pytest.mark.parametrize("name", ["china.jpg", "flower.jpg"])
def test_no_part_is_found_in_a_real_photo_without_any(name):
    [file] = [file for file in real_pictures() if file.name == name]
    assert parts_in(file) == []
