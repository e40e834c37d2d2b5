import math
from dataclasses import astuple, replace
from statistics import NormalDist

import numpy as np
import pytest
from colour import delta_E

from tests.faces import ANGLE, RADIUS, RING, TAN, clean_lining, ring_face, veiled
from wearview.lining import AREAS, clean_in_photo, read_glazing, read_lining
from wearview.lining.glazing import FILE, HALF_WIDTH, INDEX, ODDS, evidence_of_glaze, odds_of_glaze
from wearview.network import read_layers, read_range
from wearview.reference import Reference
from wearview.settings import load_settings, models_folder

SETTINGS = load_settings()
NOTHING = Reference("none", None, None, None, math.nan, math.nan, None, math.nan)
BURNT = (30.0, 8.0, 12.0)


def halves(first, second):
    lab = np.empty((*RING.shape, 3), np.float32)
    lab[:] = first
    lab[:, RING.shape[1] // 2 :] = second
    return lab


def test_a_face_against_itself_differs_by_nothing():
    readings = read_lining(ring_face(TAN), clean_lining(TAN), SETTINGS)
    assert readings.delta_e00_median.value == 0
    assert readings.delta_l_median.value == 0
    assert [area.value for area in readings.areas] == [0, 0, 0, 0]
    assert readings.uncertainty == 0


def test_a_half_burnt_face_reads_one_half():
    readings = read_lining(ring_face(halves(TAN, BURNT)), clean_lining(), SETTINGS)
    assert [area.value for area in readings.areas] == [0.5, 0.5, 0.5, 0.5]


def test_darker_is_negative():
    readings = read_lining(ring_face((51.0, 8.0, 24.0)), clean_lining(), SETTINGS)
    assert readings.delta_l_median.value == -10


def test_an_even_face_has_no_gradient():
    readings = read_lining(ring_face(BURNT), clean_lining(), SETTINGS)
    assert readings.gradient_radial.value == 0
    assert readings.gradient_angular.value == 0
    assert {step.value for step in readings.radial_delta_l} == {-31}


def test_a_radial_ramp_is_read_inner_to_outer():
    lab = np.empty((*RING.shape, 3), np.float32)
    lab[:] = TAN
    lab[..., 0] -= 24 * RADIUS
    readings = read_lining(ring_face(lab), clean_lining(), SETTINGS)
    steps = [step.value for step in readings.radial_delta_l]
    # Step i of 12 has its middle at (i + 0.5) / 12; the grid's own steps are a few hundredths of the radius.
    assert steps == pytest.approx([-24 * (i + 0.5) / 12 for i in range(12)], abs=0.3)
    # Medians of the outer and the inner third lie 2/3 apart, less the ring's growing area.
    assert readings.gradient_radial.value == pytest.approx(-16, abs=0.3)


def test_sectors_run_clockwise_on_screen_from_x():
    lab = np.empty((*RING.shape, 3), np.float32)
    lab[:] = TAN
    lab[(ANGLE >= 90) & (ANGLE < 100), 0] -= 12  # 90 degrees clockwise from +x is down, as y points down
    readings = read_lining(ring_face(lab), clean_lining(), SETTINGS)
    values = [sector.value for sector in readings.angular_delta_l]
    assert values[9] == -12
    assert values[:9] + values[10:] == [0] * 35
    assert readings.gradient_angular.value == 12
    row = RING.shape[0] - 20
    assert np.all(ANGLE[row, 195:205] < 100)
    assert np.all(ANGLE[row, 195:205] > 80)


def test_turning_the_face_turns_the_sectors_and_nothing_else():
    lab = np.empty((*RING.shape, 3), np.float32)
    lab[:] = TAN
    lab[..., 0] -= 15 * np.cos(np.radians(ANGLE)) ** 2 + 5 * RADIUS
    one = read_lining(ring_face(lab), clean_lining(), SETTINGS)
    two = read_lining(ring_face(np.rot90(lab, -1)), clean_lining(), SETTINGS)  # a quarter turn clockwise
    assert [a.value for a in two.areas] == [a.value for a in one.areas]
    turned = [s.value for s in two.angular_delta_l]
    # Pixels exactly on a sector's edge change sides.
    assert turned[9:] + turned[:9] == pytest.approx([s.value for s in one.angular_delta_l], abs=0.2)


def test_a_step_of_few_pixels_is_missing_not_clean():
    mask = RING & ~((ANGLE > 20) & (ANGLE < 30))
    readings = read_lining(ring_face(TAN, mask=mask), clean_lining(), SETTINGS)
    assert not readings.angular_delta_l[2].known
    assert readings.angular_delta_l[2].flags == ("too few pixels",)
    assert readings.gradient_angular.known


def test_a_gradient_over_less_than_half_the_way_round_is_missing():
    readings = read_lining(ring_face(TAN, mask=RING & (ANGLE < 170)), clean_lining(), SETTINGS)
    assert not readings.gradient_angular.known


def test_excluded_pixels_are_left_out_not_counted_as_clean():
    mask = RING & (ANGLE < 180)
    lab = np.where((ANGLE < 90)[..., None], np.float32(BURNT), np.float32(TAN))
    readings = read_lining(ring_face(lab, mask=mask), clean_lining(), SETTINGS)
    assert readings.area_over_20.value == pytest.approx(0.5, abs=0.01)
    assert np.isnan(readings.delta_e_map[~mask]).all()


def test_a_hidden_face_is_missing_not_clean():
    readings = read_lining(ring_face(TAN, mask=np.zeros_like(RING)), clean_lining(), SETTINGS)
    assert not any(reading.known for reading in (*readings.areas, readings.delta_e00_median))
    assert readings.problems == ("too few pixels",)
    assert (len(readings.radial_delta_l), len(readings.angular_delta_l)) == (12, 36)


def test_without_a_reference_everything_is_missing():
    readings = read_lining(ring_face(TAN), NOTHING, SETTINGS)
    assert not any(reading.known for reading in (*readings.areas, readings.glazing))
    assert readings.areas[0].flags == ("no clean reference",)
    assert readings.problems == ("no clean reference",)


@pytest.mark.parametrize(
    ("clean_l", "lightness", "is_char"),
    [
        (60.0, 30.0, True),  # exactly half as light
        (60.0, 30.1, False),
        (38.0, 19.0, True),  # Delta E 14.9: over 10, the limit of a dark lining, and under 15
        (31.0, 15.5, True),
        (30.0, 14.9, True),  # a clean L* of 30 is not under 30
    ],
)
def test_char_is_half_as_light_and_far_off(clean_l, lightness, is_char):
    readings = read_lining(ring_face((lightness, 0, 0)), clean_lining((clean_l, 0, 0)), SETTINGS)
    assert readings.area_char.value == is_char


def test_half_as_light_but_not_far_off_is_no_char():
    rules = replace(SETTINGS.rules, char_delta_e=30.0)
    readings = read_lining(ring_face((30, 0, 0)), clean_lining((60, 0, 0)), replace(SETTINGS, rules=rules))
    assert readings.area_char.value == 0


def test_a_lining_too_dark_for_char_still_has_its_other_readings():
    readings = read_lining(ring_face((20, 0, 0)), clean_lining((29.9, 0, 0)), SETTINGS)
    assert readings.area_char.flags == ("lining too dark to show heat",)
    assert "lining too dark to show heat" in readings.problems
    assert readings.area_over_5.value == 1
    assert readings.glazing.known


def test_uncertainties_add_in_quadrature():
    face = ring_face(TAN, light=3.0, noise=0.5)
    readings = read_lining(face, clean_lining(light=2.0, spread=1.0), SETTINGS)
    # 1.645 standard errors of the noise are half a 90 % interval of a normal distribution.
    assert readings.uncertainty == pytest.approx(math.sqrt(9 + 4 + 1 + (1.645 * 0.5) ** 2), abs=1e-3)
    assert readings.delta_e00_median.spread == readings.uncertainty


def test_an_error_of_light_that_part_and_clean_share_changes_their_difference_little():
    # In CIELAB's cube roots one factor on all light is one factor on L* + 16, a* and b*: worked out here.
    clean, burnt, off = np.array(TAN), np.array([35.0, 7.0, 12.0]), 1.3 ** (1 / 3)
    offset = np.array([16, 0, 0])
    dimmed = [(lab + offset) * off - offset for lab in (clean, burnt)]
    grown = delta_E(dimmed[1], dimmed[0], method="CIE 2000") - delta_E(burnt, clean, method="CIE 2000")
    face = replace(ring_face(burnt), light_shared=True)
    stated = 0.8 * (clean[0] + 16) / 3 * math.log(1.3)  # of the light of one photo alone
    told = {
        source: read_lining(face, clean_lining(TAN, source=source, light=stated), SETTINGS).uncertainty
        for source in ("photo", "library")
    }
    assert told["library"] == pytest.approx(stated)
    assert abs(grown) < told["photo"] < 2.5 * abs(grown)


def test_an_unknown_light_leaves_the_uncertainty_unknown():
    readings = read_lining(ring_face(TAN, light=math.nan), clean_lining(), SETTINGS)
    assert math.isnan(readings.uncertainty)
    assert len(readings.area_draws) == 0
    assert math.isnan(readings.area_over_5.spread)


def test_without_uncertainty_every_draw_is_the_measured_areas():
    readings = read_lining(ring_face(halves(TAN, BURNT)), clean_lining(), SETTINGS)
    assert np.allclose(readings.area_draws, 0.5)
    assert all(area.spread == 0 for area in readings.areas)


def test_an_error_of_the_light_spreads_an_area_near_its_limit_and_not_one_far_from_it():
    near = read_lining(ring_face((53.0, 8.5, 24), light=3), clean_lining(), SETTINGS)
    far = read_lining(ring_face(TAN, light=3), clean_lining(), SETTINGS)
    assert near.area_over_5.spread > 0.4
    assert far.area_over_20.spread == 0


def test_most_draws_of_a_clean_face_stay_within_its_uncertainty():
    readings = read_lining(ring_face(TAN, light=5.0), clean_lining(), SETTINGS)
    # Delta E 5 is the half width of the 90 % interval here. CIEDE2000 is no plain distance: a few per cent.
    assert readings.area_draws[:, 0].mean() == pytest.approx(0.10, abs=0.04)


def test_the_same_face_gives_the_same_bytes():
    face = ring_face(halves(TAN, (50, 8, 24)), light=4)
    one, two = (read_lining(face, clean_lining(), SETTINGS) for _ in range(2))
    assert one.area_draws.tobytes() == two.area_draws.tobytes()


def test_the_map_cannot_be_written_to():
    readings = read_lining(ring_face(TAN), clean_lining(), SETTINGS)
    with pytest.raises(ValueError, match="read-only"):
        readings.delta_e_map[0, 0] = 1


def test_the_faces_problems_are_carried_on():
    assert read_lining(ring_face(problems=("glare",)), clean_lining(), SETTINGS).problems == ("glare",)


def test_the_areas_come_in_the_order_of_their_names():
    readings = read_lining(ring_face(BURNT), clean_lining(), SETTINGS)
    assert readings.areas == tuple(getattr(readings, name) for name in AREAS)


def test_glazing_is_zero_on_a_clean_face_and_nears_a_hundred_without_grain_under_strong_sheen():
    assert read_glazing(ring_face(), clean_lining()).value == 0
    closed = read_glazing(ring_face(veiled(TAN, 0.3), grain=0.0), clean_lining())
    assert closed.value == pytest.approx(100, abs=3)


def test_glazing_rises_as_grain_is_lost_and_as_sheen_is_gained():
    for values in (
        [
            read_glazing(ring_face(veiled(TAN, 0.03), grain=g), clean_lining()).value
            for g in (4.5, 4, 3, 2, 0)
        ],
        [
            read_glazing(ring_face(veiled(TAN, a), grain=3.0), clean_lining()).value
            for a in (0, 0.01, 0.03, 0.1)
        ],
    ):
        assert values == sorted(values)
        assert values[-1] > values[0] + 20


@pytest.mark.parametrize("left", [0.9, 0.6, 0.3])
@pytest.mark.parametrize("lab", [TAN, (48, -9, 16), (41.5, 17, 18), (35.5, -1.5, 13)])
def test_darkening_alone_is_no_sheen(lab, left):
    # Less light of the same colour, and even half the grain gone with it.
    face = ring_face(veiled(lab, 0, left), grain=2.5)
    assert read_glazing(face, clean_lining(lab)).value == pytest.approx(0, abs=3)


@pytest.mark.parametrize("lab", [TAN, (48, -9, 16), (41.5, 17, 18), (35.5, -1.5, 13)])
def test_glaze_shows_on_linings_of_any_colour_heated_or_not(lab):
    for left in (1.0, 0.6):
        face = ring_face(veiled(lab, 0.04, left), grain=2.0)
        assert read_glazing(face, clean_lining(lab)).value > 60


def test_a_little_wrong_exposure_is_no_sheen_on_a_coloured_lining():
    for exposure in (0.8, 1.25):
        face = ring_face(veiled(TAN, 0, exposure), grain=2.5)
        assert read_glazing(face, clean_lining()).value == pytest.approx(0, abs=3)


def test_a_grey_lining_is_judged_by_its_grain_with_more_doubt():
    grey = (50.0, 0.2, 3.0)
    assert read_glazing(ring_face(grey), clean_lining(grey)).value == 0
    glazed = read_glazing(ring_face(grey, grain=1.0), clean_lining(grey))
    tan = read_glazing(ring_face(veiled(TAN, 0.04), grain=1.0), clean_lining())
    assert glazed.value > 60
    assert glazed.spread > tan.spread + 2


def test_a_black_lining_brighter_than_the_light_allows_is_under_sheen():
    black = (22.5, 0.8, 2.0)
    plain = read_glazing(ring_face(black, grain=3.5, light=3.0), clean_lining(black))
    shining = read_glazing(ring_face(veiled(black, 0.1), grain=3.5, light=3.0), clean_lining(black))
    assert shining.value > plain.value + 5


def test_how_unevenly_light_a_face_is_shows_in_its_tenths():
    lab = np.broadcast_to(np.array(TAN, np.float32), (*RING.shape, 3)).copy()
    lab[..., 0] += 12 * RADIUS**3  # most of the face near its middle, a little far lighter
    shown = evidence_of_glaze(ring_face(lab), clean_lining())
    dark, half, light, top = np.quantile(lab[RING][:, 0], (0.1, 0.5, 0.9, 0.98))
    assert shown.lightest == pytest.approx(light - half, abs=0.01)
    assert shown.darkest == pytest.approx(half - dark, abs=0.01)
    assert shown.peak == pytest.approx(top - light, abs=0.01)


def test_the_interval_holds_60_with_the_chance_that_the_odds_say():
    # Phi(1.645 (index - 60) / half width) is the chance that a normal error reaches 60.
    for odds, index, half_width in zip(ODDS, INDEX, HALF_WIDTH, strict=True):
        if index != 60 and abs(odds) < 8:
            chance = NormalDist().cdf(1.6449 * (index - 60) / half_width)
            assert chance == pytest.approx(1 / (1 + math.exp(-odds)), abs=0.03)


def test_no_reading_beyond_the_fitted_ones_counts_further():
    shown = evidence_of_glaze(ring_face(veiled(TAN, 0.1), grain=1.0), clean_lining())
    _, high = read_range(models_folder() / FILE)
    assert odds_of_glaze(replace(shown, swing=float(high[-2]))) == odds_of_glaze(replace(shown, swing=9.0))


def test_shine_from_one_side_swings_round_the_face():
    one_side = np.where((ANGLE < 180)[..., None], veiled(TAN, 0.06), np.array(TAN)).astype(np.float32)
    lit, plain = (evidence_of_glaze(ring_face(lab), clean_lining()) for lab in (one_side, TAN))
    # Blue beyond the own colour is the veil times 1 - blue / warm: half of the sectors have it.
    assert lit.swing == pytest.approx(0.03 * (1 - lit.blueness), rel=0.1)
    assert plain.swing == pytest.approx(0, abs=1e-4)


def test_evidence_has_a_weight_for_each_cue():
    shown = evidence_of_glaze(ring_face(), clean_lining())
    [(weights, _), *_] = read_layers(models_folder() / FILE)
    assert shown.cues.shape == (weights.shape[0],)
    assert shown.cues[:6] == pytest.approx((*astuple(shown)[:5], 1.0))


def test_oil_over_a_visible_grain_is_not_called_glaze():
    # An oil film: shinier, darker, grain as clean (common practice, no source).
    assert read_glazing(ring_face(veiled(TAN, 0.06, 0.84), grain=4.9), clean_lining()).value < 30


def test_glazing_is_missing_where_grain_is_not_resolved_in_either_photo():
    assert read_glazing(ring_face(grain=math.nan), clean_lining()).flags == ("grain not resolved",)
    assert read_glazing(ring_face(), clean_lining(grain=math.nan)).flags == ("grain not resolved",)


def test_glazing_is_missing_on_a_few_pixels():
    mask = np.zeros(RING.shape, bool)
    mask[RING.nonzero()[0][:40], RING.nonzero()[1][:40]] = True
    assert read_glazing(ring_face(mask=mask), clean_lining()).flags == ("too few pixels",)


def test_plates_of_one_photo_show_how_much_grain_it_resolves():
    faces = [ring_face(grain=8.0), ring_face(grain=8.0), ring_face(grain=4.0)]
    assert clean_in_photo(faces, clean_lining(grain=5.0)).grain == 8.0


def test_a_plate_alone_is_compared_with_the_clean_photo_as_it_is():
    clean = clean_lining(grain=5.0)
    assert clean_in_photo([ring_face(grain=8.0)], clean) is clean


def test_a_photo_of_glazed_plates_alone_does_not_make_glaze_the_measure():
    assert clean_in_photo([ring_face(grain=2.0), ring_face(grain=2.1)], clean_lining(grain=5.0)).grain == 5.0


def test_grain_that_heat_has_added_is_no_clean_grain():
    burnt = ring_face((TAN[0] / 2, 6.0, 9.0), grain=8.0)
    assert clean_in_photo([burnt, ring_face(grain=5.0)], clean_lining(grain=5.0)).grain == 5.0


def test_without_a_clean_lining_there_is_no_clean_grain():
    assert clean_in_photo([ring_face(), ring_face()], NOTHING) is NOTHING
