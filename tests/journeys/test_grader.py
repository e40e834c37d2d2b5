"""The grading process of the page: what was graded photo by photo is not graded again for the pack."""

import contextlib
from dataclasses import replace
from pathlib import Path

import pytest

from wearview.record import parts_of
from wearview.settings import PrintedMat
from wearview.shop import keep_mat
from wearview.ui.grading import Asked, Grader, Picture

DEMO = Path(__file__).parents[2] / "demo_images"
NAMES = ("direct-pack-2.jpg", "direct-pack-3.jpg")


@pytest.fixture
def pictures(tmp_path):
    """Two photos and their reference as the record keeps them: files without an ending."""
    for name in (*NAMES, "reference-tan.jpg"):
        (tmp_path / Path(name).stem).write_bytes((DEMO / name).read_bytes())
    return [Picture(str(tmp_path / Path(name).stem), name) for name in (*NAMES, "reference-tan.jpg")]


@pytest.fixture
def grader():
    at = Grader()
    yield at
    at.close()


def test_a_pack_takes_photos_graded_alone_where_their_position_and_all_else_is_the_same(pictures, grader):
    first, second, clean = pictures
    one = grader.grade(Asked((first,), clean))
    begins = 1 + len(list(parts_of(one.document)))
    two = grader.grade(Asked((second,), clean, begins=begins))
    alone = {**one.overlays, **two.overlays}
    asked = Asked((first, second), clean)
    pack = grader.grade(asked)
    assert pack.overlays == alone
    assert [part["position"] for _, part in parts_of(pack.document)] == list(range(1, begins + 1))
    assert set(grader.grade(replace(asked, photos=(second, first))).overlays.values()).isdisjoint(
        alone.values()
    )
    assert set(grader.grade(replace(asked, apply_end="right")).overlays.values()).isdisjoint(alone.values())
    assert set(grader.grade(replace(asked, reference=None)).overlays.values()).isdisjoint(alone.values())


def test_what_was_graded_before_the_mat_was_measured_is_graded_anew(pictures, tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    first, _, clean = pictures
    with contextlib.closing(Grader()) as grader:
        before, again = (grader.grade(Asked((first,), clean)).overlays for _ in range(2))
        assert before == again
        keep_mat(PrintedMat("1", "card", {"paper": (93.0, 0.0, 2.0)}), "measured")
        assert set(grader.grade(Asked((first,), clean)).overlays.values()).isdisjoint(before.values())
