"""Trade facts: what published manuals and safety rules say, against the words the program uses."""

import ast
import itertools
import re
from pathlib import Path

import pytest

from tests.stages.test_pack import entry
from wearview import grade, pack, terms
from wearview.pack import profile_pack
from wearview.terms import STEEL

SOURCES = [Path(grade.__file__), *sorted(Path(pack.__file__).parent.glob("*.py")), Path(terms.__file__)]
# A part whose grade is 0 may have lost its bond to coolant: a US car maker's transmission manuals,
# Clutch Plate Diagnosis, 2004, 2005 and 2011 (extracts seen). And no text outside the cautions says
# safe.
PRAISE = re.compile(
    r"\b(good|reusable|re-usable|(?<!no )pass(es|ed)?|safe(ly)?|asbestos-free|will last)\b", re.I
)
# Published tempering tables stand 10 to 55 degrees C apart (see test_heat_tint.py).
DEGREES = re.compile(r"°|\bdegrees? [CF]\b|\b\d+ ?[CF]\b|(?i:celsius|fahrenheit|temperature)")
# ISO 2813:2014, ASTM D523: gloss units belong to a glossmeter. ASTM D4857: a merit runs 10 (best) to 0.
NOT_OURS = re.compile(r"\bgloss units?\b|\bGU\b|\bmerit\b")


def spoken(path: Path) -> list[str]:
    """Text constants of a module without its docstrings and without the cautions."""
    tree = ast.parse(path.read_text("utf-8"))
    silent = {
        id(node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Assign) and any(getattr(t, "id", "") == "CAUTIONS" for t in node.targets):
            silent |= {id(inner) for inner in ast.walk(node)}
    return [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in silent
    ]


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: f"{path.parent.name}/{path.name}")
@pytest.mark.parametrize("forbidden", [PRAISE, DEGREES, NOT_OURS], ids=["praise", "degrees", "borrowed"])
def test_no_sentence_praises_a_part_names_a_temperature_or_borrows_a_scale(path, forbidden):
    assert [text for text in spoken(path) if forbidden.search(text)] == []


def test_the_search_for_forbidden_words_finds_them():
    for text in ("This plate is good.", "Level 0 may pass.", "heated to 220 C", "70 gloss units"):
        assert any(pattern.search(text) for pattern in (PRAISE, DEGREES, NOT_OURS))


def every_pack():
    for scores in itertools.product((0.1, 1.2, 3.4, None), repeat=3):
        yield profile_pack(
            [
                *(entry(2 * i + 1, score) for i, score in enumerate(scores)),
                entry(2, scores[0], STEEL),
                entry(4, scores[2], STEEL),
            ]
        )


def test_whatever_a_pack_shows_a_photo_is_said_to_show_no_thickness_and_no_bond():
    # Cone, thickness and bond are checked with gauges and by hand: a 2012 truck manual; the US manuals above.
    for profile in every_pack():
        assert "thickness" in profile.advice[-1]
        assert "bond" in profile.advice[-1]


def test_a_cause_is_something_to_check_and_never_a_finding():
    for profile in every_pack():
        for sentence in profile.advice:
            if re.search(r"pressure|seal|piston|coolant|valve", sentence):
                assert re.search(r"\bcheck\b", sentence), sentence


def test_burnt_plates_are_said_to_be_replaced_whole_and_the_decision_to_be_the_technicians():
    # Peeled or discoloured lining, or damaged print: replace all discs of that clutch. One Japanese car
    # maker's manuals, 1989 and 2008 (extracts seen).
    profile = profile_pack([entry(1, 0.2), entry(3, 0.3), entry(5, 3.3)])
    assert any("replaced whole" in s and "technician" in s for s in profile.advice)


def test_hot_spots_and_the_springs_of_a_very_hot_pack_follow_the_manuals():
    # Steel with hot spots or scuffing: replace; very hot pack: replace the return springs too. The US
    # manuals above.
    profile = profile_pack([entry(1, 4.2), entry(3, 4.4), entry(2, 3.2, STEEL), entry(4, 0.0, STEEL)])
    assert any("return springs" in sentence for sentence in profile.advice)


def test_heat_at_the_reaction_end_is_called_common_and_not_a_rule():
    # Hottest beside the snap ring: J. Wu and others, Int. J. Vehicle Design 77(3), 2018. Hottest beside
    # the piston: Tribology Transactions 62(4), 724-736, 2019 (abstracts seen). What rebuilders expect:
    # common practice, no source.
    far = " ".join(
        profile_pack([entry(i, s) for i, s in ((1, 0.1), (3, 0.4), (5, 2.2), (7, 3.1))]).explanation
    )
    near = " ".join(
        profile_pack([entry(i, s) for i, s in ((1, 3.1), (3, 2.2), (5, 0.4), (7, 0.1))]).explanation
    )
    assert "commonly see it there" in far
    for text in (far, near):
        assert "published measurements have found either end the hottest" in text


def test_no_text_speaks_of_one_plate_replaced_alone():
    # A pack is replaced whole, not a couple of plates: common practice; the Japanese manuals above say
    # the same.
    for profile in every_pack():
        assert not any(
            re.search(r"replace (this|the) plate", s) for s in (*profile.advice, *profile.explanation)
        )


def test_a_level_0_profile_gives_no_verdict():
    profile = profile_pack([entry(1, 0.0), entry(2, 0.0, STEEL), entry(3, 0.0), entry(4, 0.0, STEEL)])
    words = " ".join((*profile.explanation, *profile.advice)).lower()
    assert not any(f" {verdict}" in words for verdict in terms.VERDICTS)
