import json
import math
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.faces import RING, TAN, ring_face
from tests.scenes.colours import delta_e00
from tests.scenes.linings import BY_NAME
from wearview.cli import main
from wearview.errors import CleanReferenceError, ModelsError
from wearview.pipeline import grade_photos
from wearview.reference import NO_REFERENCE, cleanest_part, named_lining, reference_from_face
from wearview.settings import load_settings

DEMO = Path(__file__).parents[2] / "demo_images"
SETTINGS = load_settings()
# The shipped linings, and what the demo's plates were painted with.
PAINTED = {"demo-tan": "tan paper", "demo-green": "leaf green", "demo-red-brown": "brick red-brown"}


@pytest.fixture
def settings(tmp_path):
    """Settings whose colour files may be spoilt."""
    models = shutil.copytree(SETTINGS.models, tmp_path / "models")
    return replace(SETTINGS, models=models)


def lined(text: str, settings):
    (settings.models / "linings.toml").write_text(text, "utf-8")
    return settings


@pytest.mark.parametrize("name", PAINTED)
def test_a_shipped_lining_is_what_the_demos_plate_was_painted_with(name):
    clean = named_lining(name, SETTINGS)
    painted = BY_NAME[PAINTED[name]].lab
    off = float(delta_e00(np.array(painted), clean.lab_median))
    # Twice the half width of the 90 % interval that the file itself states.
    assert off < 2 * math.hypot(clean.spread, clean.light_uncertainty)
    assert (clean.source, clean.lining, clean.file) == ("library", name, None)
    assert clean.grain > 0


@pytest.mark.parametrize("name", PAINTED)
def test_drift_alarm_the_shipped_linings_are_what_the_program_measures_today(name):
    photo = str(DEMO / f"reference-{name.removeprefix('demo-')}.jpg")
    measured = grade_photos([photo], SETTINGS, reference=photo).reference
    shipped = named_lining(name, SETTINGS)
    # Our own earlier output: made again by `python -m tests.training.linings` when this is meant to move.
    assert measured.lab_median == pytest.approx(shipped.lab_median, abs=0.5)
    assert measured.grain == pytest.approx(shipped.grain, rel=0.1)


def test_every_shipped_lining_is_named_as_the_demos():
    text = (SETTINGS.models / "linings.toml").read_text("utf-8")
    assert "NO REFERENCE FOR REAL PLATES" in text
    with pytest.raises(CleanReferenceError) as error:
        named_lining("", SETTINGS)
    known = error.value.remedy.removeprefix("Known linings: ").split(", ")
    assert sorted(known) == sorted(PAINTED)
    assert all(name.startswith("demo-") for name in known)


def test_an_unknown_lining_is_refused_with_the_names_that_are_known():
    with pytest.raises(CleanReferenceError, match=r"demo-pink: no such lining\. Known linings: .*demo-tan"):
        named_lining("demo-pink", SETTINGS)


COMPLETE = "[x]\nlab = [60, 8, 24]\nspread = 1.2\ngrain = 3.0\nlight_uncertainty = 1.5\n"


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("[x\n", "cannot be read"),
        (COMPLETE.replace("[60, 8, 24]", "[60, 8]"), "x is not complete"),
        (COMPLETE.replace("[60, 8, 24]", '"tan"'), "x is not complete"),
        (COMPLETE.replace("[60, 8, 24]", "[60, 8, nan]"), "x has a value that is no number"),
        (COMPLETE.replace("spread = 1.2\n", ""), "x is not complete"),
        (COMPLETE.replace("1.5", '"little"'), "x is not complete"),
        (COMPLETE.replace("1.5", "inf"), "x has a value that is no number"),
        ("x = 3\n", "x is not complete"),
    ],
)
def test_a_damaged_file_of_linings_is_named(text, complaint, settings):
    with pytest.raises(ModelsError, match=rf"^linings\.toml: {complaint}.* Install the program again\.$"):
        named_lining("x", lined(text, settings))


def test_a_missing_file_of_linings_is_named(settings):
    (settings.models / "linings.toml").unlink()
    with pytest.raises(ModelsError, match=r"^linings\.toml: cannot be read"):
        named_lining("demo-tan", settings)


def test_a_lining_whose_grain_was_not_resolved_is_kept_without_it(settings):
    clean = named_lining("x", lined(COMPLETE.replace("3.0", "nan"), settings))
    assert math.isnan(clean.grain)
    assert list(clean.lab_median) == [60, 8, 24]


def test_a_document_that_used_a_demo_lining_says_so(capsys):
    photo = str(DEMO / "direct-pack-2.jpg")
    assert main(["grade", photo, "--lining", "demo-tan", "--json", "-"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["reference"]["source"] == "library"
    assert document["reference"]["lining"] == "demo-tan"
    assert document["reference"]["file"] is None
    assert "demo lining" in document["photos"][0]["quality"]["problems"]
    levels = [part["grade"]["level"] for part in document["photos"][0]["parts"] if part["grade"]]
    assert max(levels) == 4  # painted charred at the reaction end


def test_the_table_of_a_demo_lining_says_that_it_is_no_reference(capsys):
    assert main(["grade", str(DEMO / "reference-tan.jpg"), "--lining", "demo-tan"]) == 0
    assert "no reference for real plates" in " ".join(capsys.readouterr().out.split())


def test_an_unknown_lining_on_the_command_line_is_a_wrong_call(capsys):
    assert main(["grade", str(DEMO / "direct-pack-2.jpg"), "--lining", "pink"]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_a_reference_is_the_median_of_the_measured_face():
    lab = np.tile(np.float32(TAN), (*RING.shape, 1))
    lab[:150] = (10, 0, 0)  # well under half of the face
    clean = reference_from_face(ring_face(lab), "photo", "clean.jpg")
    assert clean.lab_median == pytest.approx(TAN)
    assert clean.file == "clean.jpg"


def test_a_face_with_hardly_a_measured_pixel_gives_no_reference():
    speck = np.zeros_like(RING)
    speck[0:20, 190:210] = True
    assert reference_from_face(ring_face(mask=RING & speck), "photo") is None


def test_the_lightest_of_several_plates_is_the_cleanest():
    faces = [ring_face((level, 8.0, 24.0)) for level in (40.0, 62.0, 50.0)]
    clean = cleanest_part(faces)
    assert clean.relative
    assert clean.lab_median == pytest.approx((62.0, 8.0, 24.0))


@pytest.mark.parametrize("levels", [(), (60.0,), (60.0, 30.0), (60.0, 61.0, 59.0), (30.0, 30.0, 31.0, 30.5)])
def test_two_plates_or_plates_all_alike_have_no_cleanest(levels):
    assert cleanest_part([ring_face((level, 8.0, 24.0)) for level in levels]) is NO_REFERENCE
