"""Outlines set by a person in a file: they are followed and marked; a bad file is one clear line."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest
from jsonschema import Draft202012Validator

from wearview.cli import main
from wearview.errors import CallError
from wearview.outlines import outlines_schema, read_outlines
from wearview.parts import Ellipse, find_parts
from wearview.photo import read_photo

ROOT = Path(__file__).parents[2]
PLATES, BAND = (str(ROOT / "demo_images" / name) for name in ("direct-pack-2.jpg", "intermediate-band.jpg"))
ROUND = np.linspace(0, 2 * np.pi, 6, endpoint=False)
CIRCLE = [[500.0, 100.0], [900.0, 500.0], [500.0, 900.0]]
HOLE = [[500.0, 200.0], [800.0, 500.0], [500.0, 800.0]]


def written(tmp_path, said) -> str:
    path = tmp_path / "outlines.json"
    path.write_text(said if isinstance(said, str) else json.dumps(said), "utf-8")
    return str(path)


def of_one(photo, *parts, **more):
    return {"outlines": "wearview.outlines/1", "photos": [{"photo": photo, "parts": list(parts), **more}]}


def document(capsys, *arguments):
    assert main(["grade", *arguments, "--json", "-"]) == 0
    return json.loads(capsys.readouterr().out)


def test_the_schema_is_one_and_takes_the_readme_s_example():
    Draft202012Validator.check_schema(outlines_schema())
    examples = re.findall(r"```json\n(.*?)```", (ROOT / "README.md").read_text("utf-8"), re.DOTALL)
    said = json.loads(next(e for e in examples if "wearview.outlines/1" in e))
    Draft202012Validator(outlines_schema()).validate(said)


def test_a_rim_set_by_hand_is_graded_and_marked(tmp_path, capsys):
    true = Ellipse(1300.0, 900.0, 600.0, 540.0, 20.0)
    inner = Ellipse(1300.0, 900.0, 420.0, 378.0, 20.0)
    plate = {"outer": true.points(ROUND).tolist(), "inner": inner.points(ROUND).tolist()}
    outlines = written(tmp_path, of_one("direct-pack-2.jpg", plate))
    parts = document(capsys, PLATES, "--outlines", outlines)["photos"][0]["parts"]
    [outline] = [p["outline"] for p in parts if p["outline"].get("stated")]
    assert outline["outer"]["major"] == pytest.approx(600, abs=0.2)
    assert outline["inner"]["minor"] == pytest.approx(378, abs=0.2)


def test_a_band_set_by_hand_takes_the_found_one_s_place(tmp_path, capsys):
    [found] = find_parts(read_photo(BAND))
    along = np.gradient(found.spine, axis=0)
    across = np.stack([-along[:, 1], along[:, 0]], axis=1) / np.linalg.norm(along, axis=1)[:, None]
    rows = np.linspace(0, len(found.spine) - 1, 6).astype(int)
    edges = [(found.spine + sign * found.width / 2 * across)[rows] for sign in (-1, 1)]
    outlines = written(tmp_path, of_one(BAND, {"edges": [e.tolist() for e in edges]}))
    [part] = document(capsys, BAND, "--outlines", outlines)["photos"][0]["parts"]
    assert part["kind"] == "band"
    assert part["outline"]["stated"] is True
    polygon = np.array(part["outline"]["polygon"])
    assert np.ptp(polygon[:, 0]) == pytest.approx(np.ptp(found.spine[:, 0]), rel=0.05)


def test_what_is_no_part_goes(tmp_path, capsys):
    before = document(capsys, PLATES)["photos"][0]["parts"]
    outer = before[0]["outline"]["outer"]
    said = of_one(PLATES, no_parts=[[outer["cx"], outer["cy"]]])
    after = document(capsys, PLATES, "--outlines", written(tmp_path, said))["photos"][0]["parts"]
    assert len(after) == len(before) - 1


def test_a_band_that_is_none_goes(tmp_path, capsys):
    [part] = document(capsys, BAND)["photos"][0]["parts"]
    [found] = find_parts(read_photo(BAND))
    x, y = found.spine[len(found.spine) // 2]
    said = of_one(BAND, no_parts=[[float(x), float(y)]])
    assert part["kind"] == "band"
    outlines = written(tmp_path, said)
    assert not document(capsys, BAND, "--outlines", outlines)["photos"][0]["parts"]


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ("", "is no JSON file"),
        ("[" * 100_000, "is no JSON file"),
        ("[]", "the whole: "),
        ({"outlines": "wearview.outlines/2", "photos": [{"photo": "a.jpg"}]}, "outlines: "),
        (of_one("a.jpg", {"outer": CIRCLE}), 'photos/0/parts/0: "inner" is a required'),
        (of_one("a.jpg", {"outer": CIRCLE[:2], "inner": HOLE}), "photos/0/parts/0/outer: "),
        (of_one("a.jpg", {"edges": [CIRCLE, CIRCLE[:2]]}), "photos/0/parts/0/edges/1: "),
        (of_one("other.jpg"), "other.jpg is not among the photos"),
        (of_one("a.jpg", {"outer": HOLE, "inner": CIRCLE}), "a.jpg, part 1: rim: the inner rim does not lie"),
        (of_one("a.jpg", {"outer": [[0, 0], [1, 1], [2, 2]], "inner": HOLE}), "the points make no ring"),
        (of_one("a.jpg", {"edges": [CIRCLE, CIRCLE]}), "do not run side by side"),
        (of_one("a.jpg", {"edges": [[[0, 0]] * 3, CIRCLE]}), "the same point twice"),
        ('{"outlines": NaN}', "is no JSON file"),
        (
            '{"outlines": "wearview.outlines/1", "photos": [{"photo": "a", "no_parts": [[1e999, 1]]}]}',
            "parts/0/0: ",
        ),
    ],
)
def test_a_bad_file_is_one_line_that_names_it(tmp_path, said, words):
    (tmp_path / "a.jpg").write_bytes(b"x")
    outlines = written(tmp_path, said)
    with pytest.raises(CallError) as caught:
        read_outlines(outlines, [str(tmp_path / "a.jpg")])
    line = str(caught.value)
    assert line.startswith(outlines)
    assert words in line
    assert "\n" not in line


def test_a_missing_file_ends_the_call_with_status_2(tmp_path, capsys):
    assert main(["grade", PLATES, "--outlines", str(tmp_path / "none.json")]) == 2
    assert "none.json: could not be read" in capsys.readouterr().err


def test_two_photos_of_one_name_must_be_told_apart(tmp_path):
    photos = [str(tmp_path / folder / "a.jpg") for folder in ("left", "right")]
    with pytest.raises(CallError, match="several photos"):
        read_outlines(written(tmp_path, of_one("a.jpg")), photos)
