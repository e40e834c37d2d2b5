"""What page and phone say of one photo."""

from types import SimpleNamespace

import pytest

from tests import documents
from wearview.report.words import gap_words
from wearview.terms import GAP, PROBLEMS
from wearview.ui.bench import Seen
from wearview.ui.told import NOT_THE_PHOTO, told


def told_of(*problems, on_photo=(), **fields):
    photo = documents.jpeg(40)
    part = documents.part(photo, 1, 3, None) | {"problems": list(problems)} | fields
    entry = documents.photo_entry(photo, "a.jpg", [part])
    entry["quality"]["problems"] = list(on_photo)
    return told_as(Seen(documents.document([entry]), None, None))


def told_as(seen):
    bench = SimpleNamespace(seen=lambda lying, photo: seen)
    lying = SimpleNamespace(first_light=lambda sha256: None, photos=())
    return told(bench, lying, SimpleNamespace(sha256="a"), blind=False)


@pytest.mark.parametrize("problem", sorted(NOT_THE_PHOTO))
def test_nobody_is_asked_to_take_a_photo_again_that_lacks_only_a_clean_lining(problem):
    said = told_of(problem)
    assert said.change == [f"{PROBLEMS[problem].text} {PROBLEMS[problem].remedy}"]
    assert not said.again


@pytest.mark.parametrize("problem", ["covered", "cut off by the frame", "uncertainty spans grades"])
def test_what_another_photo_may_mend_is_asked_for(problem):
    assert told_of(problem).again
    assert told_of("no clean reference", problem).again


def test_missing_paper_is_said_and_no_other_photo_asked_for():
    said, neutral = told_of(on_photo=["no neutral in view"]), PROBLEMS["no neutral in view"]
    assert said.change == [f"{neutral.text} {neutral.remedy}"]
    assert not said.again


def test_of_a_lining_that_is_not_recognised_one_thing_is_said():
    uncertain = PROBLEMS["lining not certain"]
    assert told_of(uncertain.name, "no clean reference").change == [f"{uncertain.text} {uncertain.remedy}"]


def test_a_part_between_levels_is_told_what_its_own_case_asks_for_and_no_level():
    between, covered = PROBLEMS["uncertainty spans grades"], PROBLEMS["covered"]
    own = {"ungraded_because": ["It could be: clean 60 %.", "Move the lamp."], "remedies": ["Move the lamp."]}
    change = told_of(between.name, covered.name, **own).change
    assert change == [between.text, f"{covered.text} {covered.remedy}", "Position 3: Move the lamp."]
    assert told_of(between.name).change == [
        f"{between.text} {between.remedy}"
    ]  # of a program before this one


def test_a_blurred_photo_and_one_that_cannot_be_read_are_asked_for_again():
    assert told_of(on_photo=["blurred"]).again
    assert told_as(Seen(None, None, "a.jpg: not an image we can read. Save it as JPEG or PNG.")).again


def test_a_photo_without_a_problem_asks_for_nothing():
    assert told_of("glare") == told_of()
    assert (told_of().change, told_of().again) == ([], False)


def test_a_gap_is_said_with_its_position():
    said = told_of(GAP)
    assert said.change == gap_words(["3"])
    assert said.again


@pytest.mark.parametrize("problem", PROBLEMS.values(), ids=PROBLEMS)
def test_what_to_do_names_no_command_as_it_is_read_on_pages_and_by_customers_too(problem):
    assert "wearview" not in problem.remedy
    assert "--" not in problem.remedy
