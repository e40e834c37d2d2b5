"""What is said of a teardown beyond its grades: unexpected heat, parts to order, then and now, blind."""

import pytest
from jsonschema import Draft202012Validator

from tests import documents
from wearview.errors import CallError
from wearview.record import (
    EXAMPLES,
    HIDDEN,
    Comparison,
    Duty,
    Element,
    Grading,
    Teardown,
    Verdict,
    compare,
    miscount,
    parts_list,
    schema,
    unexpected_heat,
    validate,
    veil,
    veil_document,
)
from wearview.terms import EXPECTATIONS

WHEN = "2026-03-05T10:00:0{}+00:00"


def pack(levels, kinds=None, near=None):
    """A grading of one photo with plates of these levels by position."""
    photo = documents.jpeg(90)
    kinds = kinds or ["friction plate"] * len(levels)
    parts = [
        documents.part(photo, n, n, level, kind, left=110.0 * n)
        for n, (level, kind) in enumerate(zip(levels, kinds, strict=True), 1)
    ]
    document = documents.document([documents.photo_entry(photo, "a.jpg", parts)])
    if near is not None:
        document["pack"]["near_reaction_end"]["positions"] = near
    return Grading(document, "0" * 64, WHEN.format(0), {document["photos"][0]["sha256"]: "f" * 64})


def part_id(grading, position):
    return next(p["id"] for p in grading.document["photos"][0]["parts"] if p["position"] == position)


def given(decision, target="pack", part=None, second=1, **more):
    more = {"heat": None, "reason": None, "by": None, "note": None} | more
    return Verdict(target, part, decision, given_at=WHEN.format(second), **more)


def element(grading, *verdicts, name="Forward", **duty):
    gradings = () if grading is None else (grading,)
    return Element(name, None, gradings, verdicts, Duty(**duty))


def teardown(*elements, name="Job 7", **more):
    return Teardown(name, "four-speed", "S1", None, None, WHEN.format(0), elements, **more)


def hot(found):
    return [line.part["position"] for line in unexpected_heat(found)]


@pytest.mark.parametrize("expects", ["clean", "seldom"])
def test_any_heat_is_news_where_none_is_expected(expects):
    assert hot(element(pack([0, 1, None, 3]), expects=expects)) == [2, 4]


def test_heat_of_a_shift_element_is_news_away_from_its_reaction_end():
    assert hot(element(pack([1, 0, 2, 3], near=[3, 4]), expects="shift")) == [1]


def test_nothing_is_news_where_nothing_is_expected_or_nothing_was_graded():
    assert hot(element(pack([1, 3]))) == []
    assert hot(element(pack([1, 3]), words="as it comes")) == []
    assert hot(element(None, expects="clean")) == []
    assert hot(element(pack([3]), expects="shift")) == []  # one plate has no reaction end


def test_a_duty_is_told_as_a_sentence_with_the_shops_own_words():
    assert Duty().told is None
    assert Duty(expects="clean").told == EXPECTATIONS["clean"]
    assert Duty(expects="shift", words="blue steels since 2019").told == (
        f"{EXPECTATIONS['shift']}; blue steels since 2019"
    )


@pytest.mark.parametrize("wrong", [{"direction": "up"}, {"plates": 0}, {"expects": "burnt"}])
def test_a_duty_of_other_words_is_refused(wrong):
    with pytest.raises(CallError):
        Duty(**wrong)


def test_the_shipped_examples_name_no_unit():
    for name, duty in EXAMPLES.items():
        assert name == name.lower()
        assert duty.applied
        assert not any(c.isdigit() for c in f"{name} {duty.applied} {duty.told}")


def test_a_pack_marked_replace_is_listed_whole_by_kind():
    kinds = ["steel plate", "friction plate"] * 2
    graded = pack([0, 0, 0, 3], kinds)
    whole = given("replace", reason="policy", note="always whole")
    single = given("reuse", "1", part_id(graded, 1), second=0)
    lines = parts_list(teardown(element(graded, single, whole)))
    assert [(line.part, line.count, line.positions) for line in lines] == [
        ("steel plate", 2, (1, 3)),
        ("friction plate", 2, (2, 4)),
    ]
    assert {(line.reasons, line.notes, line.whole, line.kept) for line in lines} == {
        (("policy",), ("always whole",), True, ())
    }


def test_a_later_verdict_on_a_plate_of_a_replaced_pack_is_to_be_settled():
    graded = pack([0, 3])
    keeps = given("reuse", "1", part_id(graded, 1), second=2)
    [line] = parts_list(teardown(element(graded, given("replace"), keeps)))
    assert (line.count, line.positions, line.kept) == (2, (1, 2), (1,))


def test_single_plates_are_listed_by_the_verdict_that_holds():
    graded = pack([0, 2, 3])
    verdicts = [
        given("replace", "1", part_id(graded, 1), second=1, reason="wear"),
        given("reuse", "1", part_id(graded, 1), second=2),
        given("replace", "2", part_id(graded, 2), second=3, reason="heat"),
        given("replace", "3", part_id(graded, 3), second=4, reason="heat"),
        given("leave", second=5),
    ]
    [line] = parts_list(teardown(element(graded, *verdicts)))
    assert (line.part, line.count, line.positions, line.reasons, line.whole) == (
        "friction plate",
        2,
        (2, 3),
        ("heat",),
        False,
    )


def test_both_sides_of_a_plate_are_one_plate_to_order():
    photo = documents.jpeg(60)
    sides = [
        documents.part(photo, 1, 4, 0, side="apply"),
        documents.part(photo, 2, 4, 2, side="reaction", left=200),
    ]
    graded = Grading(documents.document([documents.photo_entry(photo, "a.jpg", sides)]), "", "", {})
    verdicts = [given("replace", "4", side["id"]) for side in sides]
    [line] = parts_list(teardown(element(graded, *verdicts)))
    assert (line.count, line.positions) == (1, (4,))


def test_a_plate_judged_on_a_photo_taken_again_since_is_not_forgotten():
    before, after = pack([0, 3]), Grading(retaken([0, 3]), "", "", {})
    verdicts = (given("replace", "2", part_id(before, 2)),)
    both = Element("Forward", None, (before, after), verdicts)
    [line] = parts_list(teardown(both))
    assert (line.count, line.positions) == (1, (2,))
    judged_again = (*verdicts, given("reuse", "2", part_id(after, 2), second=2))
    assert parts_list(teardown(Element("Forward", None, (before, after), judged_again))) == []


def retaken(levels):
    photo = documents.jpeg(33)
    parts = [documents.part(photo, n, n, level, left=110.0 * n) for n, level in enumerate(levels, 1)]
    return documents.document([documents.photo_entry(photo, "b.jpg", parts)])


def test_plates_that_are_in_no_photo_are_counted_by_the_duty_and_never_guessed():
    assert [
        (line.part, line.count)
        for line in parts_list(teardown(element(pack([0, 3]), given("replace"), plates=5)))
    ] == [("friction plate", 2), ("plate in no photo", 3)]
    [unknown] = parts_list(teardown(element(None, given("replace"))))
    assert (unknown.part, unknown.count) == ("whole pack", None)
    [stated] = parts_list(teardown(element(None, given("replace"), plates=9)))
    assert stated.count == 9


def test_named_parts_are_listed_one_by_one():
    verdicts = (given("replace", "drum", reason="wear"), given("leave", "pump"))
    [line] = parts_list(teardown(element(None, *verdicts)))
    assert (line.element, line.part, line.count, line.reasons) == ("Forward", "drum", 1, ("wear",))


def test_nothing_is_ordered_without_a_verdict():
    assert parts_list(teardown(element(pack([4, 4])))) == []


def test_then_and_now_stand_side_by_side_by_position():
    then, now = element(pack([0, 1, 2]), name="forward "), element(pack([2, 3]), name="Forward")
    pair, pump = compare(
        teardown(element(None, name="Pump"), element(pack([0, 1, 2]), name="FORWARD")), teardown(now)
    )
    assert isinstance(pair, Comparison)
    assert [(r.label, r.then and r.then.level, r.now and r.now.level) for r in pair.rows] == [
        ("1", 0, 2),
        ("2", 1, 3),
        ("3", 2, None),
    ]
    assert (pump.now.name, pump.now.latest, pump.rows) == ("Pump", None, ())
    [alone] = compare(teardown(then), teardown(now))  # a blank more is another name
    assert [(row.then.level, row.now) for row in alone.rows] == [(0, None), (1, None), (2, None)]


def test_a_veiled_document_shows_nothing_measured_and_is_still_valid():
    document = pack([0, 3]).document
    document["photos"][0]["parts"][0]["ungraded_because"] = ["It could be: burnt 60 %.", "Move the lamp."]
    document["photos"][0]["parts"][0]["remedies"] = ["Move the lamp."]
    veiled = veil_document(document)
    validate(veiled)
    Draft202012Validator(schema()).validate(veiled)
    for part in veiled["photos"][0]["parts"]:
        assert part["grade"] is part["discoloration"] is part["glazing"] is part["heat_tint"] is None
        assert part["problems"] == [HIDDEN]
        assert not {"ungraded_because", "remedies"} & part.keys()
        assert part["outline"]
    assert document["photos"][0]["parts"][1]["grade"]["level"] == 3


def test_only_a_blind_teardown_is_veiled():
    seen = teardown(element(pack([0, 3])))
    assert veil(seen) is seen
    [hidden] = veil(teardown(element(pack([0, 3])), blind=True)).elements
    assert hidden.latest.overlays == {}
    assert hidden.latest.document["pack"] is None


def test_unexpected_heat_is_no_news_while_it_is_hidden():
    [hidden] = veil(teardown(element(pack([0, 3]), expects="clean"), blind=True)).elements
    assert hot(hidden) == []


def test_another_number_of_plates_than_stated_is_said_in_words():
    assert "show 1 plate; the pack is stated to have 3" in miscount(element(pack([0]), plates=3))
    assert "one was missed, perhaps at an end" in miscount(element(pack([0, 1]), plates=3))
    assert "photographed twice" in miscount(element(pack([0, 1, 2, 3]), plates=3))


def test_plates_may_be_missing_since_their_photo_could_not_be_graded():
    blurred = pack([0, 1])
    blurred.document["photos"].append(blurred.document["photos"][0] | {"parts": []})
    assert "could not be graded" in miscount(element(blurred, plates=3))
    assert miscount(element(blurred, plates=2)) == ""
    assert "photographed twice" in miscount(element(blurred, plates=1))


def test_two_sides_of_a_plate_are_one_plate():
    two_sided = pack([0, 1])
    for part, side in zip(two_sided.document["photos"][0]["parts"], ("apply", "reaction"), strict=True):
        part |= {"position": 1, "side": side}
    assert miscount(element(two_sided, plates=1)) == ""


def test_no_number_is_missed_where_none_is_stated_or_nothing_was_graded():
    assert miscount(element(pack([0, 1]))) == ""
    assert miscount(element(None, plates=3)) == ""
    assert miscount(element(pack([0, 1]), plates=2)) == ""
