import pytest

from tests.faces import clean_lining, ring_face
from wearview.errors import CallError
from wearview.grade import Grade, grade_lining
from wearview.lining import read_lining
from wearview.pack import PackEntry, profile_pack
from wearview.settings import load_settings
from wearview.terms import BAND, FRICTION, LINING_LEVELS, PATTERNS, PROBLEMS, REACTION, STEEL, STEEL_LEVELS

SETTINGS = load_settings()


def entry(position, score, kind=FRICTION, side=None, problems=(), relative=False):
    """A part with this score; None is "cannot tell"."""
    level = None if score is None else int(score)
    names = LINING_LEVELS if kind == FRICTION else STEEL_LEVELS
    name = None if level is None else names[level]
    remedies = tuple(PROBLEMS[problem].remedy for problem in problems if PROBLEMS[problem].refuses)
    grade = Grade(level, name, relative, score, None, (), tuple(problems), remedies)
    return PackEntry(f"{kind[0]}{position}{side or ''}", position, kind, side, grade)


def pack(*scores, kind=FRICTION):
    return profile_pack([entry(i, score, kind) for i, score in enumerate(scores, start=1)])


def mirrored(entries):
    last = max(e.position for e in entries) + 1
    other = {"apply": "reaction", "reaction": "apply", None: None}
    return [PackEntry(e.id, last - e.position, e.kind, other[e.side], e.grade) for e in entries]


def test_ids_are_ordered_by_position_whatever_the_order_given():
    profile = profile_pack([entry(3, 0.0), entry(1, 0.0), entry(2, 0.0, STEEL)])
    assert profile.order == ("f1", "s2", "f3")


def test_bands_and_single_parts_are_no_pack():
    assert profile_pack([entry(1, 0.0)]) is None
    assert profile_pack([]) is None
    assert profile_pack([entry(1, 0.0, BAND), entry(2, 0.0, BAND)]) is None


def test_two_parts_at_one_position_are_a_wrong_call_that_says_what_to_type():
    with pytest.raises(CallError, match="3a and 3r"):
        profile_pack([entry(3, 0.0), entry(3, 1.0), entry(4, 0.0)])
    with pytest.raises(CallError):
        profile_pack([entry(3, 0.0, side="apply"), entry(3, 1.0, side="apply")])


def test_an_unknown_side_or_position_is_refused():
    with pytest.raises(ValueError, match="side"):
        entry(1, 0.0, side="a")
    with pytest.raises(ValueError, match="positions"):
        entry(0, 0.0)


@pytest.mark.parametrize(
    ("scores", "pattern"),
    [
        ((0.1, 0.2, 0.0, 0.3), "none"),
        ((0.1, 0.2, 0.4, 2.2, 3.1), "reaction end"),
        ((0.1, 0.3, 0.6, 0.9, 1.8), "reaction end"),  # a rise to one plate at the end
        ((0.1, 0.1, 0.1, 0.1, 1.8), "single plate"),  # that plate alone
        ((3.0, 4.7, 3.1, 4.2), "whole pack"),  # burnt throughout, whichever is charred
        ((0.8, 0.0, 1.2, 2.0, 4.4), "reaction end"),  # the cold plates' order says nothing
        ((3.2, 2.5, 0.4, 0.1, 0.0), "apply end"),
        ((0.1, 1.8, 2.2, 2.0, 0.2), "middle"),
        ((0.1, 0.2, 2.8, 0.2, 0.1), "single plate"),
        ((2.1, 2.4, 2.2, 2.3), "whole pack"),
        ((3.9, 3.2, 0.3, 3.1, 3.6), "whole pack"),
        ((3.1, 0.1, 0.2, 0.1, 3.2), "cannot tell"),  # both ends, no name for it
        ((0.2, 1.5), "single plate"),
        ((1.2, 1.5), "whole pack"),
    ],
)
def test_a_profile_has_its_pattern(scores, pattern):
    assert pack(*scores).pattern == pattern


def test_one_ungraded_plate_among_cold_ones_is_not_called_none():
    assert pack(0.1, None, 0.2, 0.1).pattern == "cannot tell"


def test_too_few_graded_plates_tell_nothing():
    profile = pack(None, None, None, 2.2, 3.0)
    assert profile.pattern == "cannot tell"
    assert pack(None, 3.0).pattern == "cannot tell"


@pytest.mark.parametrize(
    "scores",
    [
        (0.1, 0.2, 0.4, 2.2, 3.1),
        (3.2, 2.5, 0.4, 0.1, 0.0),
        (0.1, 1.8, 2.2, 2.0, 0.2),
        (1.0, 0.3, 2.9, 0.0, 4.1),
    ],
)
def test_mirroring_the_order_flips_the_trend_and_the_ends_and_no_grade(scores):
    entries = [entry(i, score) for i, score in enumerate(scores, start=1)]
    one, two = profile_pack(entries), profile_pack(mirrored(entries))
    assert two.trend.slope_per_position == -one.trend.slope_per_position
    assert two.trend.kendall_tau == -one.trend.kendall_tau
    assert two.trend.p_value == one.trend.p_value
    swapped = {"reaction end": "apply end", "apply end": "reaction end"}
    assert two.pattern == swapped.get(one.pattern, one.pattern)
    assert two.order == one.order[::-1]


def test_every_profile_of_five_plates_mirrors():
    swapped = {"reaction end": "apply end", "apply end": "reaction end"}
    seen = set()
    for code in range(4**5):
        scores = [0.5 + (code // 4**i) % 4 for i in range(5)]
        one, two = pack(*scores).pattern, pack(*scores[::-1]).pattern
        assert two == swapped.get(one, one), scores
        seen.add(one)
    assert seen == set(PATTERNS) - {"one side"}


def test_a_rise_along_the_pack_is_said_in_levels_without_a_formula():
    said = pack(0.1, 0.9, 2.0, 2.9, 4.1).explanation
    assert "Over the 5 friction plates, heat rises by about 4 levels towards the reaction end." in said
    mirrored_said = pack(4.1, 2.9, 2.0, 0.9, 0.1).explanation
    assert "Over the 5 friction plates, heat rises by about 4 levels towards the apply end." in mirrored_said
    few = "Over the 3 friction plates, heat rises by about 3 levels towards the reaction end. "
    assert few + "So few plates may show that by chance." in pack(0.0, 1.2, 3.1).explanation
    for sentences in (said, mirrored_said):
        assert not any(word in " ".join(sentences) for word in ("Theil", "tau", "slope", " p "))


@pytest.mark.parametrize("scores", [(0.0, 0.1, 0.0, 0.2, 0.1), (0.1, 2.0, 3.0, 2.0, 1.0), (2.2, 2.2, 2.2)])
def test_a_flat_pack_or_one_hot_in_the_middle_has_no_rise_to_tell(scores):
    assert not any("rises" in sentence for sentence in pack(*scores).explanation)


def test_the_trend_runs_over_friction_plates():
    entries = [entry(1, 0.0), entry(2, 3.5, STEEL), entry(3, 1.0), entry(4, 0.0, STEEL), entry(5, 2.0)]
    profile = profile_pack(entries)
    assert profile.trend.plates == 3
    assert profile.trend.slope_per_position == 0.5  # per position, steels counted


def test_the_trend_runs_over_steels_when_under_two_frictions_are_graded():
    dark = "lining too dark to show heat"
    entries = [
        entry(1, None, problems=(dark,)),
        entry(2, 1.0, STEEL),
        entry(3, None, problems=(dark,)),
        entry(4, 3.0, STEEL),
        entry(5, 4.0, REACTION),
    ]
    profile = profile_pack(entries)
    assert profile.trend.plates == 2
    assert profile.trend.slope_per_position == 1.0
    said = next(s for s in profile.explanation if "too dark" in s)
    assert said == (
        "The lining at positions 1 and 3 is too dark to show heat. The steels beside it: position 2 straw; "
        "position 4 blue."
    )


def test_heat_that_only_the_steels_show_is_the_packs_pattern():
    frictions = [entry(i, 0.1) for i in (1, 3, 5, 7)]
    steels = [entry(2, 0.1, STEEL), entry(4, 1.5, STEEL), entry(6, 3.4, STEEL)]
    assert profile_pack(frictions + steels).pattern == "reaction end"


def test_bare_steels_beside_linings_that_nobody_could_grade_are_not_called_none():
    linings = [entry(n, None, problems=("no clean reference",)) for n in (1, 3, 5)]
    profile = profile_pack([*linings, *(entry(n, 0.1, STEEL) for n in (2, 4, 6))])
    assert profile.pattern == "cannot tell"
    assert "No plate shows heat." not in profile.explanation


def test_a_hot_reaction_plate_alone_is_not_called_none():
    profile = profile_pack([entry(1, 0.1), entry(3, 0.1), entry(5, 3.0, REACTION)])
    assert profile.pattern == "cannot tell"
    assert "Reaction plate: position 5 blue." in profile.explanation


def test_the_worse_side_of_a_plate_counts():
    entries = [
        entry(1, 0.2),
        entry(3, 0.4, side="apply"),
        entry(3, 2.6, side="reaction"),
        entry(5, 0.3),
    ]
    profile = profile_pack(entries)
    assert profile.trend.plates == 3
    assert profile.order == ("f1", "f3apply", "f3reaction", "f5")
    assert profile.near_reaction_end.showing_heat == (3,)
    assert (
        "Position 3: apply side clean, reaction side heat-marked; the worse side counts."
        in profile.explanation
    )


def test_heat_on_the_same_side_of_every_plate_is_one_side():
    entries = [
        entry(position, score, side=side)
        for position in (1, 3, 5)
        for side, score in (("apply", 0.3), ("reaction", 2.4))
    ]
    assert profile_pack(entries).pattern == "one side"
    assert profile_pack(mirrored(entries)).pattern == "one side"


@pytest.mark.parametrize(("n", "near"), [(2, (1, 2)), (3, (2, 3)), (5, (4, 5)), (6, (5, 6)), (9, (7, 8, 9))])
def test_near_the_reaction_end_is_the_last_third_and_two_at_least(n, near):
    profile = pack(*[0.0] * (n - 1), 1.0)
    assert profile.near_reaction_end.positions == near
    assert profile.near_reaction_end.showing_heat == (n,)


def test_position_alters_no_grade():
    face = ring_face((50.0, 9.0, 22.0), light=1.0)
    readings = read_lining(face, clean_lining(), SETTINGS)
    alone = grade_lining(readings, clean_lining(), SETTINGS.rules)
    for position in (1, 9):
        others = [entry(i, 0.0) for i in range(2, 9)]
        profile = profile_pack([PackEntry("x", position, FRICTION, None, alone, readings), *others])
        assert profile.order[0 if position == 1 else -1] == "x"
    assert grade_lining(readings, clean_lining(), SETTINGS.rules) == alone


def test_an_ungraded_part_is_named_with_why_and_its_remedy():
    profile = profile_pack([entry(1, 2.0), entry(3, 2.1), entry(5, None, problems=("covered", "glare"))])
    assert "Not graded: position 5. Something covers most of the face." in profile.explanation
    assert f"Position 5: {PROBLEMS['covered'].remedy}" in profile.advice


def test_what_a_parts_own_case_asks_for_stands_in_place_of_its_problems_words():
    between = "uncertainty spans grades"
    own = [
        Grade(None, None, False, None, None, (), (between,), (f"Move {what}.",)) for what in ("paper", "lamp")
    ]
    parts = [PackEntry(f"x{n}", n, FRICTION, grade=grade) for n, grade in enumerate(own, start=3)]
    cut_off = PackEntry("c", 5, FRICTION, grade=own[0], problems=("cut off by the frame", between))
    advice = profile_pack([entry(1, 2.0), *parts, cut_off]).advice
    assert "Positions 3 and 5: Move paper." in advice
    assert "Position 4: Move lamp." in advice
    assert f"Position 5: {PROBLEMS['cut off by the frame'].remedy}" in advice
    assert not any(PROBLEMS[between].remedy in said for said in advice)


def test_a_part_without_any_grade_is_ungraded_too():
    entries = [entry(1, 2.0), entry(3, 2.1), PackEntry("x", 5, FRICTION, problems=("blurred",))]
    assert "Not graded: position 5. The photo is blurred." in profile_pack(entries).explanation


def test_ungraded_parts_of_one_reason_are_named_together():
    sides = ("apply", "reaction")
    covered = [PackEntry(side, 5, FRICTION, side, problems=("covered",)) for side in sides]
    said = profile_pack([entry(1, 2.0), entry(3, None, problems=("covered",)), *covered]).explanation
    told = "Not graded: positions 3, 5 (apply side) and 5 (reaction side). Something covers most of the face."
    assert told in said


def test_a_relative_pack_says_that_all_may_be_hotter():
    profile = profile_pack([entry(i, 0.5 * i, relative=True) for i in (1, 2, 3)])
    assert any("cleanest plate only" in sentence for sentence in profile.explanation)


def test_burnt_plates_bring_the_manuals_causes_and_cold_ones_do_not():
    hot, cold = pack(0.2, 1.0, 3.2, 3.4).advice, pack(0.2, 0.1, 0.3).advice
    assert any("line pressure" in sentence for sentence in hot)
    assert any("replaced whole" in sentence for sentence in hot)
    assert len(cold) == 1
    assert "measure them" in cold[0]


def test_very_hot_steels_bring_up_the_return_springs():
    profile = profile_pack([entry(1, 0.2), entry(2, 3.2, STEEL), entry(3, 0.2), entry(4, 0.2, STEEL)])
    assert any("return springs" in sentence for sentence in profile.advice)
