import math
from dataclasses import replace

import numpy as np
import pytest

from tests.faces import TAN, clean_lining, ring_face
from wearview.grade import grade_lining, grade_steel
from wearview.lining import LiningReadings, read_lining
from wearview.reading import Reading, missing
from wearview.reference import Reference
from wearview.settings import load_settings
from wearview.steel import HotSpots, SteelReadings
from wearview.terms import PROBLEMS, TINTS, TWO_LIGHTS

SETTINGS = load_settings()
RULES = SETTINGS.rules
PHOTO = clean_lining()
NO_GLAZE = Reading(0.0, "index 0-100", "one photo", 1000, 0.0)


def share(value: float) -> Reading:
    return Reading(value, "fraction", "by hand", 1000, 0.0)


def lining(
    *areas: float, glazing: Reading = NO_GLAZE, draws: np.ndarray | None = None, delta_l: float = -5.0
) -> LiningReadings:
    """Readings with these four areas; equally likely areas are the same ones unless `draws` gives others."""
    measured = read_lining(ring_face(), PHOTO, SETTINGS)
    names = ("area_over_5", "area_over_10", "area_over_20", "area_char")
    return replace(
        measured,
        **dict(zip(names, map(share, areas), strict=True)),
        delta_l_median=Reading(delta_l, "L*", "by hand", 1000),
        glazing=glazing,
        area_draws=np.tile(areas, (16, 1)) if draws is None else draws,
        draw_likelihood=np.ones(16 if draws is None else len(draws)),
    )


def steel(
    *, spots: int = 0, spots_area: float = 0.0, problems: tuple[str, ...] = (), **areas: float
) -> SteelReadings:
    values = [areas.get(tint, 0.0) for tint in TINTS]
    values[0] = 1 - sum(values[1:])
    count = Reading(float(spots), "count", "by hand", 1000)
    nothing = np.zeros((4, 4))
    return SteelReadings(
        areas=tuple(map(share, values)),
        hot_spots=HotSpots(count, share(spots_area), ()),
        bare=None,
        uncertainty=1.0,
        area_draws=np.tile(values, (16, 1)),
        draw_likelihood=np.ones(16),
        family_map=nothing.astype(np.uint8),
        spot_map=nothing.astype(bool),
        problems=problems,
    )


def glaze(index: float, spread: float = 0.0) -> Reading:
    return Reading(index, "index 0-100", "one photo", 1000, spread)


@pytest.mark.parametrize(
    ("areas", "level", "name"),
    [
        ((0.0, 0.0, 0.0, 0.0), 0, "clean"),
        ((0.2499, 0.0, 0.0, 0.0), 0, "clean"),
        ((0.25, 0.0, 0.0, 0.0), 1, "light heat"),
        ((0.9, 0.25, 0.0, 0.0), 2, "heat-marked"),
        ((0.9, 0.5, 0.25, 0.0), 3, "burnt"),
        ((0.9, 0.5, 0.3, 0.25), 4, "charred"),
        ((0.3, 0.3, 0.0, 0.3), 4, "charred"),  # a dark lining chars before its Delta E passes 20
    ],
)
def test_the_highest_row_that_holds_decides(areas, level, name):
    grade = grade_lining(lining(*areas), PHOTO, RULES)
    assert (grade.level, grade.name, grade.relative) == (level, name, False)


@pytest.mark.parametrize(
    ("areas", "level", "name"),
    [
        ((0.0, 0.0, 0.0, 0.0), 1, "glazed"),
        ((0.5, 0.0, 0.0, 0.0), 2, "heat-marked, glazed"),
        ((0.5, 0.5, 0.0, 0.0), 3, "burnt, glazed"),
        ((0.5, 0.5, 0.5, 0.0), 3, "burnt"),
        ((0.5, 0.5, 0.5, 0.5), 4, "charred"),
    ],
)
def test_glaze_raises_levels_0_to_2_by_one(areas, level, name):
    grade = grade_lining(lining(*areas, glazing=glaze(60.0)), PHOTO, RULES)
    assert (grade.level, grade.name) == (level, name)
    assert grade_lining(lining(*areas, glazing=glaze(59.9)), PHOTO, RULES).level == level - ("glazed" in name)


def test_without_glazing_the_colour_decides_alone_and_says_so():
    reading = missing("index 0-100", "one photo", "grain not resolved")
    grade = grade_lining(lining(0.5, 0.0, 0.0, 0.0, glazing=reading), PHOTO, RULES)
    assert grade.level == 1
    assert "Glazing was not measured, so the colour decides alone." in grade.because


def test_the_score_is_the_level_and_how_far_the_next_row_has_come():
    assert grade_lining(lining(0.125, 0.0, 0.0, 0.0), PHOTO, RULES).score == 0.5
    assert grade_lining(lining(0.8, 0.05, 0.0, 0.0), PHOTO, RULES).score == pytest.approx(1.2)
    assert grade_lining(lining(0.8, 0.4, 0.2, 0.0), PHOTO, RULES).score == pytest.approx(2.8)
    assert grade_lining(lining(0.8, 0.4, 0.1, 0.0, glazing=glaze(80)), PHOTO, RULES).score == 3.0


def test_the_score_of_a_charred_face_goes_on_and_stays_under_five():
    scores = [grade_lining(lining(1, 1, 1, area), PHOTO, RULES).score for area in (0.25, 0.5, 0.9, 1.0)]
    assert scores == sorted(scores)
    assert scores[0] == 4.0
    assert 4.9 < scores[-1] < 5


def test_the_score_never_falls_as_a_face_darkens():
    scores = []
    for lightness in np.arange(61, 10, -1.0):
        readings = read_lining(ring_face(_ramp(lightness)), PHOTO, SETTINGS)
        grade = grade_lining(readings, PHOTO, RULES)
        assert int(grade.score) == grade.level
        scores.append(grade.score)
    assert scores == sorted(scores)
    assert scores[0] == 0
    assert scores[-1] > 4


def _ramp(lightness: float) -> np.ndarray:
    """A face from clean at the left to this L* at the right."""
    lab = np.empty((400, 400, 3), np.float32)
    lab[:] = TAN
    lab[..., 0] += (lightness - TAN[0]) * np.linspace(0, 1, 400)
    return lab


def test_without_uncertainty_the_level_is_certain():
    grade = grade_lining(lining(0.5, 0.3, 0.0, 0.0), PHOTO, RULES)
    assert grade.probability == (0, 0, 1, 0, 0)


def test_the_probability_sums_to_one():
    face = ring_face((54.0, 8.0, 24.0), light=3.0, grain=2.0)
    readings = read_lining(face, PHOTO, SETTINGS)
    grade = grade_lining(readings, PHOTO, RULES)
    assert sum(grade.probability) == pytest.approx(1, abs=1e-12)
    assert max(grade.probability) < 1


def test_a_glazing_index_on_its_limit_raises_half_the_chances():
    grade = grade_lining(lining(0.0, 0.0, 0.0, 0.0, glazing=glaze(60.0, spread=5.0)), PHOTO, RULES)
    assert grade.probability == pytest.approx((0.5, 0.5, 0, 0, 0))
    assert grade.level == 1


def test_the_chance_of_glaze_follows_its_interval():
    # One half width of a 90 % interval over the limit: 95 % of a normal distribution lie above it.
    grade = grade_lining(lining(0.0, 0.0, 0.0, 0.0, glazing=glaze(65.0, spread=5.0)), PHOTO, RULES)
    assert grade.probability[1] == pytest.approx(0.95, abs=1e-6)


LEVEL_ROWS = np.array([(0, 0, 0, 0), (1, 0, 0, 0), (1, 1, 0, 0), (1, 1, 1, 0), (1, 1, 1, 1)], float)


def heated(*likelihood: float) -> LiningReadings:
    """A lining lightly heated as read, with the likelihood of an error that makes it each of the levels."""
    return replace(lining(0.5, 0, 0, 0, draws=LEVEL_ROWS), draw_likelihood=np.array(likelihood, float))


def test_a_level_is_as_likely_as_the_likeliest_error_that_gives_it():
    # Ninety-nine unlikely ways to be marked do not outweigh one likely way to be clean.
    rows = np.vstack([np.tile(LEVEL_ROWS[2], (99, 1)), LEVEL_ROWS[0]])
    likelihood = np.append(np.full(99, 0.25), 0.75)
    readings = replace(lining(0.5, 0, 0, 0, draws=rows), draw_likelihood=likelihood)
    assert grade_lining(readings, PHOTO, RULES).probability == pytest.approx((0.75, 0, 0.25, 0, 0))


def test_the_grade_is_null_when_no_level_reaches_one_half():
    grade = grade_lining(heated(33, 34, 33, 0, 0), PHOTO, RULES)
    assert grade.level is None
    assert grade.name is None
    assert grade.score is None
    assert grade.problems == ("uncertainty spans grades",)
    assert any("light heat 34 %" in sentence for sentence in grade.because)
    assert any("white paper" in sentence for sentence in grade.remedies)


@pytest.mark.parametrize(
    ("clean_light", "named"),
    [
        (4.9, "the part"),
        (5.1, "the part, and beside the clean plate too"),
        (9.0, "the clean plate"),
        (10.1, "the part, and beside the clean plate too"),
    ],
)
def test_an_open_colour_asks_for_the_photo_whose_light_leaves_it_open(clean_light, named):
    readings = replace(heated(33, 34, 33, 0, 0), uncertainty=10.0)
    [remedy] = grade_lining(readings, clean_lining(light=clean_light), RULES).remedies
    assert f"close beside {named}, in even light" in remedy


@pytest.mark.parametrize(
    ("by", "remedy"), [("one photo", "only the lamp moved"), (TWO_LIGHTS, "further to the side")]
)
def test_where_only_the_glaze_is_open_a_lamp_is_asked_for_and_no_paper(by, remedy):
    glazing = Reading(60.0, "index 0-100", by, 1000, 10.0)
    grade = grade_lining(replace(heated(50, 50, 0, 0, 0), glazing=glazing), PHOTO, RULES)
    assert grade.level is None
    assert grade.problems == ("uncertainty spans grades",)
    assert any("glazing index of 60, known to within 10" in sentence for sentence in grade.because)
    assert any("be: clean 25 %; light heat 50 %; heat-marked, glazed 25 %." in s for s in grade.because)
    assert any(remedy in sentence for sentence in grade.remedies)
    assert not any("paper" in sentence for sentence in grade.because)


def test_an_open_colour_asks_for_paper_whatever_the_glaze():
    glazing = Reading(60.0, "index 0-100", "one photo", 1000, 10.0)
    grade = grade_lining(replace(heated(33, 34, 33, 0, 0), glazing=glazing), PHOTO, RULES)
    assert any("white paper" in sentence for sentence in grade.because)


def test_two_neighbours_at_one_half_are_no_reason_for_null():
    assert grade_lining(heated(50, 50, 0, 0, 0), PHOTO, RULES).level == 1


def test_the_grade_is_null_when_two_levels_apart_both_reach_a_tenth():
    assert grade_lining(heated(10, 80, 10, 0, 0), PHOTO, RULES).level is None
    assert grade_lining(heated(9, 81, 10, 0, 0), PHOTO, RULES).level == 1


def test_an_unknown_uncertainty_is_null_not_certain():
    readings = replace(
        lining(0.5, 0, 0, 0), area_draws=np.empty((0, 4)), draw_likelihood=np.empty(0), uncertainty=math.nan
    )
    grade = grade_lining(readings, PHOTO, RULES)
    assert grade.level is None
    assert "uncertainty spans grades" in grade.problems
    assert not any("nan" in sentence for sentence in grade.because)


def test_a_face_that_no_error_of_light_explains_is_null_not_certain():
    grade = grade_lining(heated(0, 0, 0, 0, 0), PHOTO, RULES)
    assert grade.level is None
    assert "uncertainty spans grades" in grade.problems
    assert grade.because


def test_a_missing_reading_never_grades_clean():
    readings = replace(lining(0, 0, 0, 0), area_char=missing("fraction", "by hand", "too few pixels"))
    grade = grade_lining(readings, PHOTO, RULES)
    assert grade.level is None
    assert grade.because


def test_a_missing_lower_row_does_not_matter_when_a_higher_one_holds():
    readings = replace(lining(0, 0, 0, 0.5), area_over_5=missing("fraction", "by hand", "too few pixels"))
    assert grade_lining(readings, PHOTO, RULES).level == 4


def test_a_lining_too_dark_is_not_graded_and_says_what_to_do():
    dark = clean_lining((22, 0, 0))
    grade = grade_lining(read_lining(ring_face((22, 0, 0)), dark, SETTINGS), dark, RULES)
    assert grade.level is None
    assert grade.problems == ("lining too dark to show heat",)
    assert any("steels beside it" in sentence for sentence in grade.because)


@pytest.mark.parametrize(("light", "graded"), [(0.0, True), (2.5, True), (6.0, False)])
def test_a_lining_that_may_be_too_dark_is_graded_only_where_that_is_nearly_ruled_out(light, graded):
    # Normal errors whose 90 % interval is as wide: at L* 34 of 30 the chance is 0.004 and 0.14.
    dark = clean_lining((34, 2, 6), light=light)
    grade = grade_lining(read_lining(ring_face((34, 2, 6)), dark, SETTINGS), dark, RULES)
    assert (grade.level == 0) == graded
    if not graded:
        assert grade.problems == ("uncertainty spans grades",)
        assert "may be too dark" in grade.because[0]
        assert "beside the clean plate" in grade.remedies[0]


def test_without_a_reference_there_is_no_grade_and_a_remedy():
    nothing = Reference("none", None, None, None, math.nan, math.nan, None, math.nan)
    grade = grade_lining(read_lining(ring_face(), nothing, SETTINGS), nothing, RULES)
    assert grade.level is None
    assert grade.problems == ("no clean reference",)
    assert any("clean" in sentence and "same lining" in sentence for sentence in grade.because)


def test_all_that_keeps_a_grade_back_is_said_before_what_to_do():
    grade = grade_lining(
        read_lining(ring_face(problems=("covered", "too small")), PHOTO, SETTINGS), PHOTO, RULES
    )
    covered, small = PROBLEMS["covered"], PROBLEMS["too small"]
    assert grade.remedies == (covered.remedy, small.remedy)
    assert grade.because == (covered.text, small.text, *grade.remedies)


def test_a_problem_that_refuses_leaves_the_part_ungraded():
    readings = read_lining(ring_face(problems=("covered",)), PHOTO, SETTINGS)
    assert grade_lining(readings, PHOTO, RULES).level is None
    assert grade_steel(steel(problems=("covered",)), RULES).level is None


def test_against_the_cleanest_part_the_grade_is_relative():
    cleanest = clean_lining(source="cleanest part")
    grade = grade_lining(lining(0, 0, 0, 0), cleanest, RULES)
    assert (grade.level, grade.name, grade.relative) == (0, "cleanest here", True)
    assert "Compared with the cleanest plate only." in grade.because
    assert grade_lining(lining(1, 0, 0, 0), cleanest, RULES).name == "light heat"


def test_a_colour_that_is_off_because_it_is_lighter_is_no_heat():
    grade = grade_lining(lining(0.9, 0.0, 0.0, 0.0, delta_l=8.0), PHOTO, RULES)
    assert grade.level is None
    assert grade.problems == ("does not fit the reference",)
    assert PROBLEMS[grade.problems[0]].refuses  # what refuses is told on page, phone and report
    assert "lighter than the clean lining" in grade.because[0]


def test_a_colour_that_heat_does_not_give_is_another_lining_or_another_light():
    # A green face beside a clean tan lining; browned to the same lightness it is heat.
    green = grade_lining(read_lining(ring_face((50, -9, 17)), PHOTO, SETTINGS), PHOTO, RULES)
    assert green.level is None
    assert green.problems == ("does not fit the reference",)
    assert "heat does not give" in green.because[0]
    assert "same lining" in green.remedies[0]
    brown = grade_lining(read_lining(ring_face((50, 8, 17)), PHOTO, SETTINGS), PHOTO, RULES)
    assert brown.level is not None
    assert brown.level > 0


def test_light_taken_down_is_said_with_its_share():
    readings = replace(lining(0.9, 0.0, 0.0, 0.0), too_bright=math.log(1.25))
    assert any("taken down by 20 %" in s for s in grade_lining(readings, PHOTO, RULES).because)


def test_the_reasons_give_the_numbers_and_the_limits():
    grade = grade_lining(lining(0.61, 0.42, 0.11, 0.0), PHOTO, RULES)
    assert (
        "42 % of the face is clearly off the clean lining's colour (Delta E over 10; heat-marked from 25 %)."
        in grade.because
    )
    assert (
        "11 % of the face is far off the clean lining's colour (Delta E over 20; burnt from 25 %)."
        in grade.because
    )


def test_a_row_that_has_not_begun_is_not_spoken_of():
    because = grade_lining(lining(0.9, 0.7, 0.4, 0.0), PHOTO, RULES).because
    assert not any("charred" in sentence for sentence in because)
    because = grade_lining(lining(0.001, 0.0, 0.0, 0.0), PHOTO, RULES).because
    assert because[0].startswith("Under 1 % of the face is a shade off")


def test_a_value_just_under_its_limit_is_not_rounded_onto_it():
    because = grade_lining(lining(0.2496, 0.0, 0.0, 0.0), PHOTO, RULES).because
    assert because[0].startswith("24.96 % of the face")
    because = grade_lining(lining(0.24999999, 0.0, 0.0, 0.0), PHOTO, RULES).because
    assert because[0].startswith("just under 25 % of the face")


@pytest.mark.parametrize(
    ("areas", "level", "name"),
    [
        ({}, 0, "bare"),
        ({"straw": 0.099}, 0, "bare"),
        ({"straw": 0.10}, 1, "straw"),
        ({"brown": 0.06, "purple": 0.05}, 2, "brown to purple"),
        ({"blue": 0.10}, 3, "blue"),
        ({"spots": 2}, 0, "bare"),
        ({"spots": 3}, 3, "blue"),
        ({"grey": 0.10}, 4, "grey"),
        ({"spots": 1, "spots_area": 0.25}, 4, "grey"),
        ({"other": 0.9}, 0, "bare"),
    ],
)
def test_steel_rows_follow_the_contracts_table(areas, level, name):
    grade = grade_steel(steel(**areas), RULES)
    assert (grade.level, grade.name, grade.relative) == (level, name, False)
    assert grade.probability[level] == 1


def test_a_steels_score_follows_the_way_that_has_come_further():
    assert grade_steel(steel(straw=0.05), RULES).score == 0.5
    assert grade_steel(steel(brown=0.2, spots=2), RULES).score == pytest.approx(2 + 2 / 3)
    assert grade_steel(steel(blue=0.2, grey=0.05), RULES).score == pytest.approx(3.5)
    assert grade_steel(steel(grey=1.0), RULES).score < 5


def test_a_missing_count_of_hot_spots_never_grades_bare():
    count = missing("count", "by hand", "too few pixels")
    readings = steel(straw=0.2)
    readings = replace(readings, hot_spots=replace(readings.hot_spots, count=count))
    assert grade_steel(readings, RULES).level is None
    readings = steel(blue=0.2)
    readings = replace(readings, hot_spots=replace(readings.hot_spots, count=count))
    assert grade_steel(readings, RULES).level == 3


def test_a_bare_plate_says_what_was_seen_and_no_share_of_nothing():
    assert grade_steel(steel(), RULES).because == ("No heat colour on the face.",)
    [said] = grade_steel(steel(straw=0.04, blue=0.02), RULES).because
    assert said == "Heat colour on too little of the face to count: 4 % straw, 2 % blue."
    assert "2 hot spots (blue from 3)." in grade_steel(steel(spots=2), RULES).because


def test_what_hides_the_metal_is_said():
    assert any(
        "15 % of the face is under varnish" in s for s in grade_steel(steel(other=0.15), RULES).because
    )


def test_hot_spots_are_counted_in_words():
    assert "1 hot spot (blue from 3)." in grade_steel(steel(brown=0.2, spots=1), RULES).because
    assert "4 hot spots (blue from 3)." in grade_steel(steel(spots=4), RULES).because


def test_what_makes_a_level_is_said_before_what_falls_short_of_it():
    by_spots = grade_steel(steel(blue=0.02, spots=4), RULES)
    assert (by_spots.level, by_spots.because[0]) == (3, "4 hot spots (blue from 3).")
    by_tint = grade_steel(steel(blue=0.2, spots=2), RULES)
    assert (by_tint.level, by_tint.because[0]) == (3, "20 % of the face is blue (blue from 10 %).")
