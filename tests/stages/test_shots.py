"""Several shots of one face joined into one reading, and the two sides of a plate beside each other."""

import io
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from tests import documents
from tests.faces import TAN, clean_lining, ring_face
from tests.stages.test_grade import lining, share, steel
from wearview.cli import main
from wearview.errors import CallError
from wearview.grade import grade_lining, grade_steel
from wearview.lining import read_lining
from wearview.photo import PhotoBytes
from wearview.pipeline import grade_photos
from wearview.record import (
    Place,
    Shows,
    build_document,
    in_shots,
    keep_ids,
    parts_of,
    validate,
    veil_document,
)
from wearview.settings import load_settings
from wearview.shots import compare_sides, join_linings, join_steels
from wearview.terms import SHOTS_DISAGREE, SHOTS_DO_NOT_FIT

DEMO = Path(__file__).parents[2] / "demo_images"
CLEAN, PACK = str(DEMO / "reference-tan.jpg"), str(DEMO / "direct-pack-2.jpg")
SETTINGS = load_settings()
IDS = ("a" * 12 + "-1", "b" * 12 + "-1")


def read(lightness: float, light: float = 2.0):
    face = ring_face((TAN[0] + lightness, *TAN[1:]))
    return read_lining(replace(face, light_uncertainty=light), clean_lining(TAN), SETTINGS)


def test_two_equal_shots_read_as_one_of_them_does():
    one = read(-8)
    joined, told = join_linings(IDS, [one, one])
    assert [a.value for a in joined.areas] == [a.value for a in one.areas]
    assert joined.delta_e00_median.value == pytest.approx(one.delta_e00_median.value)
    assert joined.uncertainty == one.uncertainty
    assert (told.spread, told.agree) == (0, True)
    alone, both = (grade_lining(r, clean_lining(TAN), SETTINGS.rules) for r in (one, joined))
    assert both.probability == pytest.approx(alone.probability)


def test_the_better_known_shot_weighs_more_by_the_inverse_square():
    good, poor = read(-6, light=1.0), read(-9, light=4.0)
    weight = good.uncertainty**-2 / (good.uncertainty**-2 + poor.uncertainty**-2)
    expected = weight * good.delta_e00_median.value + (1 - weight) * poor.delta_e00_median.value
    joined, told = join_linings(IDS, [good, poor])
    assert joined.delta_e00_median.value == pytest.approx(expected)
    assert told.agree
    assert joined.uncertainty == good.uncertainty


def test_shots_further_apart_than_their_light_accounts_for_widen_the_interval_and_say_so():
    clean, burnt = read(0), read(-30)
    joined, told = join_linings(IDS, [clean, burnt])
    assert not told.agree
    assert "disagree" in told.said
    assert joined.uncertainty == pytest.approx(clean.uncertainty * 2 * told.spread / told.expected, rel=1e-6)
    grade = grade_lining(joined, clean_lining(TAN), SETTINGS.rules)
    assert grade.level is None  # clean in one shot and burnt in the other: nobody can tell
    assert "uncertainty spans grades" in grade.problems


def test_neighbouring_levels_of_two_shots_both_keep_their_chance():
    one, two = lining(0.20, 0.0, 0.0, 0.0), lining(0.40, 0.0, 0.0, 0.0)
    joined, _ = join_linings(IDS, [one, two])
    grade = grade_lining(joined, clean_lining(TAN), SETTINGS.rules)
    assert joined.area_over_5.value == pytest.approx(0.30)
    assert grade.level == 1
    assert grade.probability == pytest.approx((0.5, 0.5, 0, 0, 0))


def test_a_glaze_read_by_two_lights_counts_alone_beside_shots_of_one():
    one, two = read(0), read(0)
    single = replace(one, glazing=replace(one.glazing, value=80.0, method="one photo"))
    double = replace(two, glazing=replace(two.glazing, value=10.0, method="two lights"))
    joined, _ = join_linings(IDS, [single, double])
    assert (joined.glazing.value, joined.glazing.method) == (10.0, "two lights")
    joined, _ = join_linings(IDS, [single, single])
    assert (joined.glazing.value, joined.glazing.method) == (80.0, "one photo")


def test_steels_are_joined_by_their_shares():
    one, two = steel(blue=0.04), steel(blue=0.30)
    joined, told = join_steels(IDS, [one, two])
    assert joined.area("blue").value == pytest.approx(0.17)
    assert told.values == pytest.approx((0.04, 0.30))
    assert not told.agree
    assert grade_steel(joined, SETTINGS.rules).level is None  # bare in one, blue in the other
    same, told = join_steels(IDS, [one, replace(one, areas=(share(0.95), *one.areas[1:]))])
    assert told.agree
    assert grade_steel(same, SETTINGS.rules).level == 0


def test_two_sides_are_compared_and_not_joined():
    told = compare_sides(IDS, [read(0), read(-20)])
    assert told.spread == pytest.approx((told.values[1] - told.values[0]) / 2)
    assert not told.agree


def darker(factor: float, file: str = PACK) -> PhotoBytes:
    with Image.open(file) as picture:
        rgb8 = np.asarray(picture.convert("RGB"))
    out = io.BytesIO()
    Image.fromarray((rgb8 * factor).astype(np.uint8)).save(out, "JPEG", quality=95)
    return PhotoBytes(f"shot {factor}", out.getvalue())


@pytest.fixture(scope="module")
def joined():
    """A photo of several plates and the same one a little darker, as two shots."""
    return grade_photos([PACK, darker(0.9)], SETTINGS, reference=CLEAN, shows=in_shots(2, 2))


def test_shots_of_the_same_parts_hold_the_same_positions_and_one_grade(joined):
    document = build_document(joined, SETTINGS)
    validate(document)
    first, again = (photo["parts"] for photo in document["photos"])
    assert [p["position"] for p in first] == [p["position"] for p in again]
    assert [p["id"] for p in first] == [p["shot_of"] for p in again]
    assert [p["grade"] for p in first] == [p["grade"] for p in again]
    assert [p["shots"]["ids"] for p in first] == [
        [a["id"], b["id"]] for a, b in zip(first, again, strict=True)
    ]
    assert [part["id"] for _, part in parts_of(document)] == [p["id"] for p in first]
    assert document["pack"] is None or document["pack"]["order"] == [p["id"] for p in first]


def test_a_joined_reading_lies_between_its_shots(joined):
    for part in joined.photos[0].parts:
        if part.lining is not None and part.shots is not None:
            low, high = min(part.shots.values), max(part.shots.values)
            assert low <= part.lining.delta_e00_median.value <= high


def test_stored_ids_are_kept_in_what_names_them(joined):
    document = build_document(joined, SETTINGS)
    old = json.loads(json.dumps(document))
    for photo in old["photos"]:  # as if found in the reverse order then
        ids = [p["id"] for p in photo["parts"]]
        for part, name in zip(photo["parts"], reversed(ids), strict=True):
            part["id"] = name
    kept = keep_ids(document, [old])
    validate(kept)
    for first, again in zip(*(photo["parts"] for photo in kept["photos"]), strict=True):
        assert again["shot_of"] == first["id"]
        assert first["shots"]["ids"] == [first["id"], again["id"]]


def test_a_blind_document_hides_what_the_shots_say(joined):
    document = build_document(joined, SETTINGS)
    shown = document["photos"][0]["parts"][0]["id"]
    parts = [part for photo in veil_document(document, [shown])["photos"] for part in photo["parts"]]
    seen = [part["id"] for part in parts if part["grade"] is not None]
    assert all(part["id"] == shown or part.get("shot_of") == shown for part in parts if part["id"] in seen)
    assert all("shots" not in part for part in parts if part["id"] not in seen)


def test_a_shot_of_other_parts_is_left_out_and_named():
    graded = grade_photos([CLEAN, PACK], SETTINGS, reference=CLEAN, shows=in_shots(2, 2))
    assert [len(photo.parts) for photo in graded.photos] == [1, 0]
    assert SHOTS_DO_NOT_FIT in graded.photos[1].problems


def test_a_shot_that_shows_no_part_leaves_the_reading_to_the_others():
    graded = grade_photos([darker(0.02, CLEAN), CLEAN], SETTINGS, reference=CLEAN, shows=in_shots(2, 2))
    [part] = [part for photo in graded.photos for part in photo.parts]
    assert (part.position, part.shots, part.grade.level) == (1, None, 0)


def test_shots_that_disagree_are_named_and_not_graded(tmp_path, capsys):
    burnt = tmp_path / "burnt.jpg"
    burnt.write_bytes(darker_face(CLEAN))
    words = ["grade", CLEAN, str(burnt), "--shots", "2", "--reference", CLEAN]
    assert main(words) == 0
    told = capsys.readouterr().out
    assert "cannot tell" in told
    assert "position 1: The shots of this part differ" in " ".join(told.split())


def darker_face(file: str) -> bytes:
    """The clean plate with its lining darkened as by heat."""
    [photo] = grade_photos([file], SETTINGS, reference=file).photos
    part = photo.parts[0].part
    with Image.open(file) as picture:
        rgb8 = np.asarray(picture.convert("RGB")).copy()
    scale = photo.scale
    mask = np.asarray(
        Image.fromarray(part.face_mask).resize([round(n * scale) for n in part.face_mask.shape[::-1]])
    )
    x, y = (round(v * scale) for v in part.origin)
    window = rgb8[y : y + mask.shape[0], x : x + mask.shape[1]]
    window[mask] = (window[mask] * 0.35).astype(np.uint8)
    out = io.BytesIO()
    Image.fromarray(rgb8).save(out, "JPEG", quality=95)
    return out.getvalue()


def test_photos_that_make_no_whole_groups_are_refused():
    with pytest.raises(CallError, match="--shots 2: the number of photos, 3, is no multiple of it"):
        in_shots(3, 2)


def test_only_the_photos_that_show_the_same_parts_are_joined_whichever_end_they_begin_at():
    sources, shows = [darker(0.9), PACK, CLEAN], [Shows(0), Shows(0), Shows(1)]
    found = grade_photos(sources, SETTINGS, reference=CLEAN, shows=shows)
    many = len(found.photos[0].parts)
    assert [p.position for p in found.photos[0].parts] == list(range(1, many + 1))
    assert [p.shot_of for p in found.photos[1].parts] == [p.id for p in found.photos[0].parts]
    assert [(p.position, p.shot_of, p.shots) for p in found.photos[2].parts] == [(many + 1, None, None)]
    turned = grade_photos(sources[::-1], SETTINGS, reference=CLEAN, shows=shows[::-1], first="reaction")
    assert build_document(turned, SETTINGS) == build_document(found, SETTINGS)


def test_two_sides_hold_one_position_and_are_numbered_by_the_first():
    shows = [Shows(0, "apply"), Shows(0, "reaction"), Shows(1)]
    found = grade_photos([PACK, darker(0.9), CLEAN], SETTINGS, reference=CLEAN, shows=shows)
    many = len(found.photos[0].parts)
    places = [[(p.position, p.side, p.shot_of) for p in photo.parts] for photo in found.photos]
    assert places[0] == [(n, "apply", None) for n in range(1, many + 1)]
    assert places[1] == [(n, "reaction", None) for n in range(1, many + 1)]
    assert places[2] == [(many + 1, None, None)]
    assert [len(one.ids) for one in found.pack.sides] == [2] * len(found.pack.sides)
    validate(build_document(found, SETTINGS))


def test_stated_positions_keep_the_sides_that_photos_show():
    shows = [Shows(0, "apply"), Shows(0, "reaction")]
    places = [Place(5), Place(5)]
    found = grade_photos([CLEAN, darker(0.9, CLEAN)], SETTINGS, reference=CLEAN, shows=shows, places=places)
    assert [(p.position, p.side) for photo in found.photos for p in photo.parts] == [
        (5, "apply"),
        (5, "reaction"),
    ]


def test_a_side_with_other_parts_is_left_out_and_named():
    shows = [Shows(0, "apply"), Shows(0, "reaction")]
    graded = grade_photos([CLEAN, PACK], SETTINGS, reference=CLEAN, shows=shows)
    assert [len(photo.parts) for photo in graded.photos] == [1, 0]
    assert SHOTS_DO_NOT_FIT in graded.photos[1].problems


def test_each_photo_is_finished_once_with_the_grade_that_it_keeps():
    finished = []

    def finish(photo):
        finished.append(photo)
        return photo

    sources, shows = [PACK, darker(0.9), CLEAN], [Shows(0), Shows(0), Shows(1)]
    found = grade_photos(sources, SETTINGS, reference=CLEAN, shows=shows, finish=finish)
    assert [photo.sha256 for photo in finished] == [photo.sha256 for photo in found.photos]
    for early, late in zip(finished, found.photos, strict=True):
        assert [p.grade for p in early.parts] == [p.grade for p in late.parts]


def test_a_shot_of_a_part_that_is_not_there_is_no_document():
    photo = documents.jpeg(90)
    part = documents.part(photo, 1, 1, 0) | {"shot_of": "0" * 12 + "-1"}
    with pytest.raises(CallError, match="shot of a part that is not there"):
        validate(documents.document([documents.photo_entry(photo, "one.jpg", [part])]))


def test_disagreement_is_a_published_problem_that_refuses_nothing():
    from wearview.terms import PROBLEMS

    assert not PROBLEMS[SHOTS_DISAGREE].refuses
