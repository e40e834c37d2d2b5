"""The shop's reuse policy: versions kept, decisions suggested, nothing of the record touched."""

import copy

import pytest

from tests import documents
from wearview.errors import CallError, ModelsError
from wearview.policy import Policy, change_policy, load_policy, policy_files
from wearview.record import PACK, Element, Grading, suggestions, to_json
from wearview.terms import FRESH

PHOTO = documents.jpeg(90)


def element(*parts):
    document = documents.document([documents.photo_entry(PHOTO, "a.jpg", list(parts))])
    return Element("Forward", None, (Grading(document, "", "2026-03-05T10:00:00+00:00", {}),), ())


def plate(n, level, kind="friction plate", spots=0, **more):
    made = documents.part(PHOTO, n, n, level, kind, left=150 * n, **more)
    if made["heat_tint"]:
        made["heat_tint"] = documents.heat_tint(spots)
    return made


def suggested(found):
    return [(s.target, s.decision) for s in found]


def test_without_a_policy_nothing_is_suggested():
    hot = element(plate(1, 3), plate(2, 3, "steel plate", 4), plate(3, 4, "reaction plate"))
    assert suggestions(hot, FRESH, Policy()) == []


def test_a_smooth_colour_smear_and_hot_spots_on_steel_are_two_cases():
    # One US car maker's manuals of 2004 to 2011 (extracts seen): smooth with only a colour smear may be
    # reused, hot spots are replaced.
    policy = Policy("policy-1", colour_smear="reuse", hot_spots="replace")
    found = suggestions(element(plate(1, 3, "steel plate"), plate(2, 3, "steel plate", 4)), None, policy)
    assert suggested(found) == [("1", "reuse"), ("2", "replace")]
    assert "a photo does not show scuffs" in found[0].because
    assert "policy-1" in found[0].because


def test_a_plate_that_shows_no_heat_or_cannot_be_told_gets_no_suggestion():
    policy = Policy("policy-1", "replace", "replace", "replace", "replace", "replace")
    assert suggestions(element(plate(1, 0), plate(2, None)), FRESH, policy) == []


def test_only_a_wholly_clean_pack_of_a_customer_who_wants_it_fresh_is_renewed():
    policy = Policy("policy-1", fresh_clean_pack="replace")
    clean = element(plate(1, 0), plate(2, 0))
    assert suggested(suggestions(clean, FRESH, policy)) == [(PACK, "replace")]
    assert suggestions(clean, "replace what it needs", policy) == []
    assert suggestions(element(plate(1, 0), plate(2, 1)), FRESH, policy) == []
    relative = element(plate(1, 0, relative=True), plate(2, 0, relative=True))
    assert suggestions(relative, FRESH, policy) == []


def test_a_suggestion_leaves_document_and_verdicts_as_they_are():
    hot = element(plate(1, 3))
    before = copy.deepcopy(hot.latest.document)
    assert suggestions(hot, None, Policy("policy-1", heated_lining="replace"))
    assert to_json(hot.latest.document) == to_json(before)
    assert hot.verdicts == ()


def test_each_change_is_a_new_file_and_the_old_one_stays(tmp_path):
    change_policy({"hot_spots": "replace"}, "Settled by Ines.", tmp_path)
    first = (tmp_path / "policy-1.toml").read_bytes()
    second = change_policy({"colour_smear": "reuse", "hot_spots": "none"}, "Settled by Ines.", tmp_path)
    assert second == load_policy(None, tmp_path) == Policy("policy-2", colour_smear="reuse")
    assert load_policy("policy-1", tmp_path) == Policy("policy-1", hot_spots="replace")
    assert (tmp_path / "policy-1.toml").read_bytes() == first
    assert b"# Settled by Ines." in first
    assert sorted(policy_files(tmp_path)) == ["policy-1", "policy-2"]


def test_no_policy_ships_with_the_program(tmp_path):
    assert load_policy(None, tmp_path) == Policy()


@pytest.mark.parametrize(
    "changes", [{"hot_spot": "replace"}, {"hot_spots": "burn it"}, {"hot_spots": ""}], ids=str
)
def test_a_word_that_is_no_case_or_decision_is_refused_and_nothing_written(tmp_path, changes):
    with pytest.raises(CallError):
        change_policy(changes, "", tmp_path)
    assert policy_files(tmp_path) == {}


@pytest.mark.parametrize(
    "text",
    [
        "",
        "id = ",
        f"id = {'[' * 9999}",
        'id = "policy-2"',
        'id = "policy-1"\nhot_spots = "burn"',
        'id = "policy-1"\nx = "reuse"',
    ],
)
def test_a_damaged_policy_is_told_and_suggests_nothing(tmp_path, text):
    (tmp_path / "policy-1.toml").write_text(text, "utf-8")
    with pytest.raises(ModelsError, match=r"policy-1\.toml"):
        load_policy(None, tmp_path)


def test_an_unknown_version_is_told(tmp_path):
    change_policy({"hot_spots": "replace"}, "", tmp_path)
    with pytest.raises(CallError, match="policy-1"):
        load_policy("policy-9", tmp_path)
