"""The document against its schema, and the views that tables and reports take."""

import copy
import json
import math
import random

import numpy as np
import pytest

from tests import documents
from wearview import terms
from wearview.errors import CallError
from wearview.record import (
    Element,
    Grading,
    Verdict,
    combine,
    differences,
    keep_ids,
    parse_target,
    part_lines,
    schema,
    to_json,
    validate,
)


@pytest.fixture
def hot():
    return documents.hot_pack()[0]


def verdict(decision="replace", **fields):
    given = {"target": "1", "part_id": None, "heat": None, "reason": None, "by": None, "note": None}
    return Verdict(**{**given, "decision": decision, "given_at": "2024-05-03T10:00:00+00:00", **fields})


def element(document, *verdicts):
    return Element("Forward", None, (Grading(document, "0" * 64, "2024-05-03T10:00:00+00:00", {}),), verdicts)


def test_a_whole_document_is_accepted(hot):
    validate(hot)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize(
    ("place", "spoil"),
    [
        (
            "photos/0/parts/0/discoloration/delta_e00_median",
            lambda d, v: d["photos"][0]["parts"][0]["discoloration"].update(delta_e00_median=v),
        ),
        (
            "photos/0/parts/1/discoloration/angular_delta_l/7",
            lambda d, v: d["photos"][0]["parts"][1]["discoloration"]["angular_delta_l"].__setitem__(7, v),
        ),
        ("photos/1/quality/sharpness", lambda d, v: d["photos"][1]["quality"].update(sharpness=v)),
        ("pack/trend/p_value", lambda d, v: d["pack"]["trend"].update(p_value=v)),
        ("reference/lab_median/2", lambda d, v: d["reference"]["lab_median"].__setitem__(2, v)),
    ],
)
def test_a_number_that_json_cannot_hold_is_refused_by_its_place(hot, place, spoil, value):
    spoil(hot, value)
    with pytest.raises(CallError, match=rf"^grading document: {place}: not a finite number"):
        validate(hot)


@pytest.mark.parametrize(
    "breaking",
    [
        lambda d: d.update(contract="wearview.grading/2"),
        lambda d: d.update(colour="red"),
        lambda d: d.pop("unread"),
        lambda d: d["photos"][0]["parts"][0].update(kind="washer"),
        lambda d: d["photos"][0]["parts"][0]["grade"].update(level=5),
        lambda d: d["photos"][0]["parts"][0]["grade"].update(name="fine"),
        lambda d: d["photos"][0]["parts"][0]["discoloration"].update(area_over_5=1.2),
        lambda d: d["photos"][0]["parts"][0]["discoloration"].update(radial_delta_l=[0.0] * 11),
        lambda d: d["photos"][0]["parts"][0]["outline"]["outer"].update(angle_deg=180),
        lambda d: d["photos"][0]["parts"][0].update(position=0),
        lambda d: d["photos"][0].update(sha256="00"),
        lambda d: d["photos"][0].update(width=np.float32(4000)),
        lambda d: d["photos"][0].update(taken_at="2024:05:03 10:15:00"),
        lambda d: d["photos"][0]["quality"].update(sharpness="high"),
        lambda d: d["pack"].update(pattern="left"),
        lambda d: d["pack"]["order"].append("0123456789ab-1"),
        lambda d: d["photos"][0]["parts"][0].update(problems=["looks odd"]),
        lambda d: d["photos"][0]["parts"][0]["grade"].update(probability=[0.5, 0.4, 0, 0, 0]),
        lambda d: d["photos"][0]["parts"][1].update(id=d["photos"][0]["parts"][0]["id"]),
        lambda d: d["photos"][0]["parts"][0].update(id="0123456789ab-1"),
    ],
)
def test_a_document_that_breaks_the_contract_is_refused(hot, breaking):
    breaking(hot)
    with pytest.raises(CallError, match="grading document"):
        validate(hot)


def test_what_could_not_be_measured_may_be_null(hot):
    hot["photos"][0]["parts"][0].update(discoloration=None, glazing=None, grade=None, gradeable=False)
    hot["photos"][0].update(taken_at=None, mm_per_px=None)
    hot["photos"][0]["light"].update(uncertainty=None)
    hot["pack"]["trend"] = {"slope_per_position": None, "kendall_tau": None, "p_value": None}
    validate(hot)


def test_a_tint_that_does_not_sum_to_one_is_refused():
    photo = documents.jpeg(50)
    part = documents.part(photo, 1, 1, 1, "steel plate")
    part["heat_tint"]["area"]["straw"] = 0.2
    with pytest.raises(CallError, match="sum to 1"):
        validate(documents.document([documents.photo_entry(photo, "a.jpg", [part])]))


def test_the_schema_lists_the_words_of_the_program():
    defs = schema()["$defs"]
    assert defs["part"]["properties"]["kind"]["enum"] == list(terms.KINDS)
    assert defs["pack"]["properties"]["pattern"]["enum"] == list(terms.PATTERNS)
    assert defs["reference"]["properties"]["source"]["enum"] == list(terms.REFERENCE_SOURCES)
    assert defs["photo"]["properties"]["light"]["properties"]["method"]["enum"] == list(terms.LIGHT_METHODS)
    assert list(defs["heat_tint"]["properties"]["area"]["properties"]) == list(terms.TINTS)
    lifted = {f"{name}, {terms.GLAZED}" for name in terms.LINING_LEVELS[2:4]}
    names = {*terms.LINING_LEVELS, *terms.STEEL_LEVELS, terms.CLEANEST_HERE, terms.GLAZED, *lifted}
    assert set(defs["grade"]["properties"]["name"]["enum"]) == names


def test_equal_documents_give_equal_bytes_whatever_the_order_of_their_keys(hot):
    def shuffled(value):
        if isinstance(value, dict):
            keys = list(value)
            random.Random(1).shuffle(keys)
            return {key: shuffled(value[key]) for key in keys}
        return [shuffled(item) for item in value] if isinstance(value, list) else value

    assert to_json(shuffled(hot)) == to_json(hot)
    assert json.loads(to_json(hot)) == hot
    assert to_json(hot).lstrip("{\n ").startswith('"contract"')


def test_a_forgotten_nan_cannot_be_written(hot):
    hot["photos"][0]["parts"][0]["discoloration"]["delta_l_median"] = math.nan
    with pytest.raises(ValueError, match="JSON"):
        to_json(hot)


def test_a_name_that_is_no_text_is_still_written(hot):
    hot["photos"][0]["file"] = "plate-\udcff.jpg"  # how Python hands over a name that is not UTF-8
    assert json.loads(to_json(hot).encode("ascii"))["photos"][0]["file"] == "plate-\udcff.jpg"


def test_a_regraded_part_keeps_its_id_when_parts_are_found_in_another_order(hot):
    again = copy.deepcopy(hot)
    left, right = again["photos"][0]["parts"]
    left["id"], right["id"] = right["id"], left["id"]  # the row now runs the other way
    left["position"], right["position"] = 2, 1
    again["photos"][0]["parts"] = [right, left]
    again["pack"]["order"][:2] = [right["id"], left["id"]]

    kept = keep_ids(again, [hot])

    place = {part["outline"]["polygon"][0][0]: part["id"] for part in kept["photos"][0]["parts"]}
    assert place == {0.0: hot["photos"][0]["parts"][0]["id"], 150.0: hot["photos"][0]["parts"][1]["id"]}
    assert kept["pack"]["order"] == [place[150.0], place[0.0], hot["photos"][1]["parts"][0]["id"]]
    validate(kept)


def test_a_part_found_for_the_first_time_gets_a_number_never_used(hot):
    photo = documents.jpeg(90)
    again = copy.deepcopy(hot)
    again["photos"][0]["parts"] = [documents.part(photo, 1, 1, 0, left=600)]
    again["pack"] = None
    assert keep_ids(again, [hot])["photos"][0]["parts"][0]["id"].endswith("-3")


def test_a_first_grading_keeps_its_own_ids(hot):
    assert keep_ids(hot, []) == hot


def test_a_joined_document_holds_every_pack_and_validates(hot):
    photo = documents.jpeg(200)
    band = documents.document(
        [documents.photo_entry(photo, "band.jpg", [documents.part(photo, 1, 1, 0, "band")])]
    )
    band["reference"] = {"source": "none", "file": None, "lining": None, "lab_median": None}
    joined = combine([("Band", band), ("Forward", hot)])
    validate(joined)
    assert joined["pack"] == hot["pack"]
    assert joined["reference"] == hot["reference"]
    assert [e["name"] for e in joined["elements"]] == ["Band", "Forward"]
    assert joined["photos"][0]["parts"][0]["reference"] == band["reference"]


def test_documents_of_different_rules_are_not_joined(hot):
    other = copy.deepcopy(hot)
    other["rules"]["id"] = "rules-2"
    with pytest.raises(CallError, match="other rules"):
        combine([("a", hot), ("b", other)])


@pytest.mark.parametrize(
    ("typed", "means"),
    [("3", (3, None)), ("3a", (3, "apply")), ("12r", (12, "reaction")), ("pack", None), ("0", None)],
)
def test_a_target_is_read_as_a_position_only_where_it_is_one(typed, means):
    assert parse_target(typed) == means


@pytest.mark.parametrize("wrong", [{"decision": "good"}, {"heat": 5}, {"reason": "colour"}])
def test_a_verdict_in_words_outside_the_contract_is_refused(wrong):
    with pytest.raises(CallError):
        verdict(**wrong)


def test_parts_come_in_position_order_apply_side_first():
    photo = documents.jpeg(10)
    parts = [
        documents.part(photo, 1, 2, 0),
        documents.part(photo, 2, 1, 1, side="reaction", left=200),
        documents.part(photo, 3, 1, 0, side="apply", left=400),
    ]
    lines = part_lines(element(documents.document([documents.photo_entry(photo, "a.jpg", parts)])))
    assert [line.label for line in lines] == ["1a", "1r", "2"]


def test_the_last_verdict_on_a_part_holds_and_the_first_is_kept(hot):
    part_id = hot["photos"][0]["parts"][0]["id"]
    first, second = verdict("reuse", part_id=part_id), verdict("replace", part_id=part_id)
    line = part_lines(element(hot, first, second))[0]
    assert line.verdict == second
    assert line.verdicts == (first, second)


@pytest.mark.parametrize(
    ("position", "given", "where"),
    [
        (1, {"decision": "replace"}, ["decision"]),
        (3, {"decision": "reuse"}, ["decision"]),
        (3, {"decision": "replace", "heat": 2}, ["heat"]),
        (3, {"decision": "replace", "heat": 3}, []),
        (1, {"decision": "unsure"}, []),
    ],
)
def test_a_verdict_and_a_grade_that_point_different_ways_are_named(hot, position, given, where):
    ids = hot["pack"]["order"]
    line = part_lines(element(hot, verdict(part_id=ids[position - 1], **given)))[position - 1]
    assert list(differences(line)) == where


def test_a_part_without_a_grade_differs_from_no_verdict():
    photo = documents.jpeg(10)
    hidden = documents.document([documents.photo_entry(photo, "a.jpg", [documents.part(photo, 1, 1, None)])])
    part_id = hidden["photos"][0]["parts"][0]["id"]
    line = part_lines(element(hidden, verdict("replace", part_id=part_id, heat=4)))[0]
    assert line.level is None
    assert list(differences(line)) == []
