import math
from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.faces import ANGLE, DIAMETER, RADIUS, RING, STEEL, clean_lining, disc, painted, ring_face
from wearview.grade import grade_steel
from wearview.settings import load_settings
from wearview.steel import NOT_MEASURED, read_steel
from wearview.steel.spacing import evenly_spaced
from wearview.terms import TINTS

SETTINGS = load_settings()
# Colours between the published film's and bare steel: what a brushed plate shows of them.
STRAW, BROWN, PURPLE, BLUE, GREY = (
    (63.0, 2.5, 19.0),
    (47.0, 11.0, 16.0),
    (38.0, 13.0, -7.0),
    (41.0, 1.5, -20.5),
    (44.0, -0.5, -2.0),
)
RUST, VARNISH_BLACK = (45.0, 24.0, 34.0), (20.0, 4.0, 7.0)


def read(lab, **kwargs):
    return read_steel(ring_face(lab, **kwargs), None, SETTINGS)


def shares(readings):
    return {tint: area.value for tint, area in zip(TINTS, readings.areas, strict=True) if area.value > 0}


def sector(first, last):
    return (first <= ANGLE) & (last > ANGLE)


def ladder(*steps, blur=1.0):
    """Rings of colour of one width in the order given, from the inner edge outward."""
    edges = np.linspace(0, 1, len(steps) + 1)
    return painted(STEEL, *((edges[i] <= RADIUS, colour) for i, colour in enumerate(steps)), blur=blur)


def test_plain_steel_is_bare():
    readings = read(STEEL)
    assert shares(readings) == {"bare": 1.0}
    assert readings.hot_spots.count.value == 0
    assert readings.hot_spots.angles_deg == ()


# Straw with so sharp an edge is varnish: tests/stages/test_deposits.py.
@pytest.mark.parametrize(("colour", "tint"), [(PURPLE, "purple"), (BLUE, "blue")])
def test_a_third_of_the_face_in_one_tint_reads_a_third(colour, tint):
    readings = read(painted(STEEL, (sector(0, 120), colour), blur=0))
    assert readings.area(tint).value == pytest.approx(1 / 3, abs=0.005)  # pixels on the two edges
    assert readings.area("bare").value == pytest.approx(2 / 3, abs=0.005)


def test_brown_that_straw_leads_up_to_is_brown_and_brown_with_an_edge_is_not():
    stops = (0, 40, 80, 200, 240, 280, 360)
    colours = (STEEL, STRAW, BROWN, BROWN, STRAW, STEEL, STEEL)
    lab = np.stack([np.interp(ANGLE, stops, [c[k] for c in colours]) for k in range(3)], axis=-1)
    grown = read(lab.astype(np.float32))
    assert 120 / 360 < grown.area("brown").value < 200 / 360
    assert grown.area("other").value < 0.02
    assert read(painted(STEEL, (sector(0, 120), BROWN), blur=0)).area("brown").value < 0.02


def test_the_areas_sum_to_one():
    readings = read(ladder(STEEL, STRAW, BROWN, PURPLE, BLUE, GREY))
    assert sum(area.value for area in readings.areas) == pytest.approx(1, abs=1e-12)
    assert np.allclose(readings.area_draws.sum(axis=1), 1)


def test_a_hidden_face_is_missing_not_bare():
    readings = read(STEEL, mask=np.zeros_like(RING))
    assert not any(area.known for area in readings.areas)
    assert not readings.hot_spots.count.known
    assert readings.problems == ("too few pixels",)
    assert grade_steel(readings, SETTINGS.rules).level is None


def test_unmeasured_pixels_are_in_no_family():
    mask = RING & (ANGLE < 180)
    readings = read(STEEL, mask=mask)
    assert np.array_equal(readings.family_map != NOT_MEASURED, mask)
    assert readings.area("bare").n_pixels == mask.sum()


@pytest.mark.parametrize("cast", [(0, 2, 3), (0, -2, -3), (0, 0, 4), (0, 3, -2), (0, 0, -5)])
def test_a_cast_of_the_lamp_within_its_uncertainty_leaves_bare_steel_bare(cast):
    readings = read(np.add(STEEL, cast), light=4.0)
    assert readings.area("bare").value == 1
    assert grade_steel(readings, SETTINGS.rules).level == 0


@pytest.mark.parametrize("cast", [(0, 2, 3), (0, -2, -3), (0, 0, -4)])
def test_a_cast_of_the_lamp_moves_no_tint_into_another(cast):
    colours = [np.add(colour, cast) for colour in (STEEL, STRAW, BROWN, PURPLE, BLUE)]
    plain = read(ladder(STEEL, STRAW, BROWN, PURPLE, BLUE))
    lit = read(ladder(*colours), light=4.0)
    for one, two in zip(plain.areas, lit.areas, strict=True):
        assert two.value == pytest.approx(one.value, abs=0.04)  # mixed pixels between two rings


def test_sheen_that_varies_with_angle_is_no_tint():
    lab = painted(STEEL, blur=0)
    lab[..., 0] += 14 * np.cos(np.radians(2 * ANGLE))
    assert read(lab).area("bare").value == 1


def test_a_straw_plate_without_any_bare_metal_is_straw():
    assert read(STRAW, light=3.0).area("straw").value == 1


def test_grey_is_oxide_where_it_lies_inside_blue():
    readings = read(ladder(STEEL, STRAW, PURPLE, BLUE, GREY))
    grey_ring = RING & (RADIUS > 0.8)
    assert readings.area("grey").value == pytest.approx(grey_ring.sum() / RING.sum(), abs=0.03)


def test_grey_without_blue_is_bare():
    assert "grey" not in shares(read(GREY))
    assert "grey" not in shares(read(painted(STEEL, (sector(0, 90), GREY))))
    assert "grey" not in shares(read(painted(STEEL, (sector(0, 90), STRAW), (sector(30, 60), GREY))))


def test_bare_metal_beside_blue_marks_stays_bare():
    marks = [(disc(angle, 30), BLUE) for angle in range(0, 360, 45)]
    readings = read(painted(STEEL, *marks))
    assert readings.area("grey").value < 0.01
    assert readings.area("bare").value > 0.7


def test_a_few_blue_pixels_at_the_edge_do_not_make_a_plate_grey():
    rim = RADIUS > 0.97
    specks = painted(GREY, *((rim & sector(at, at + 3), BLUE) for at in range(0, 360, 60)), blur=0.0)
    readings = read(specks)
    assert 0 < readings.area("blue").value < 0.01
    assert readings.area("grey").value < 0.01


def test_a_grey_middle_inside_a_blue_mark_is_oxide():
    readings = read(painted(STEEL, (disc(0, 52), STRAW), (disc(0, 44), BLUE), (disc(0, 22), GREY)))
    expected = (disc(0, 22) & RING).sum() / RING.sum()
    assert readings.area("grey").value == pytest.approx(expected, rel=0.25)


def test_a_plate_gone_grey_all_over_but_for_blue_at_its_edge_is_not_bare():
    readings = read(painted(GREY, (RADIUS > 0.75, BLUE), (RADIUS > 0.95, PURPLE)))
    assert readings.area("grey").value > 0.6


def test_darker_than_a_clean_steel_reference_is_grey():
    clean = clean_lining(STEEL)
    face = ring_face(GREY, light=2.0)
    assert read_steel(face, clean, SETTINGS).area("grey").value == 1
    assert read_steel(ring_face(STEEL, light=2.0), clean, SETTINGS).area("bare").value == 1
    unsure = ring_face(GREY, light=25.0)
    assert read_steel(unsure, clean, SETTINGS).area("grey").value == 0


def test_rust_is_other_and_brown_between_straw_and_purple_is_brown():
    rust = read(painted(STEEL, (disc(40, 40), RUST)))
    assert rust.area("other").value > 0.6 * (disc(40, 40) & RING).sum() / RING.sum()
    rich = (45.0, 20.0, 28.0)
    oxide = read(ladder(STEEL, STRAW, rich, PURPLE, BLUE, blur=4))  # a film grows without jumps
    assert oxide.area("other").value == 0


def test_soot_and_dull_brown_are_other():
    readings = read(painted(STEEL, (sector(0, 60), VARNISH_BLACK), (sector(90, 120), (20.0, 0.5, 1.0))))
    assert readings.area("other").value == pytest.approx(0.25, abs=0.03)
    assert grade_steel(readings, SETTINGS.rules).level == 0


def spot(angle, diameter, radius=0.5):
    """A hot spot as oxide leaves it: straw round brown round blue."""
    return (
        (disc(angle, diameter, radius), STRAW),
        (disc(angle, 0.8 * diameter, radius), BROWN),
        (disc(angle, 0.6 * diameter, radius), BLUE),
    )


def test_hot_spots_are_counted_with_their_angles_and_area():
    angles = (10, 100, 190, 300)
    patches = [layer for angle in angles for layer in spot(angle, 30)]
    readings = read(painted(STEEL, *patches))
    assert readings.hot_spots.count.value == 4
    assert readings.hot_spots.angles_deg == pytest.approx(angles, abs=0.5)
    expected = sum((disc(angle, 30) & RING).sum() for angle in angles) / RING.sum()
    assert readings.hot_spots.area.value == pytest.approx(expected, rel=0.1)
    assert grade_steel(readings, SETTINGS.rules).level >= 3
    assert readings.spot_map.sum() == readings.hot_spots.area.value * RING.sum()


def test_a_spot_across_the_x_axis_has_its_angle_there():
    angles = read(painted(STEEL, *spot(0, 30))).hot_spots.angles_deg
    assert min(angles[0], 360 - angles[0]) < 0.5
    assert 0 <= angles[0] < 360


def test_too_small_and_too_large_patches_are_no_hot_spots():
    sixtieth, sixth = DIAMETER / 60, DIAMETER / 6
    for diameter, counted in ((0.6 * sixtieth, 0), (2.0 * sixtieth, 1), (0.7 * sixth, 1)):
        assert read(painted(STEEL, (disc(50, diameter), BLUE), blur=0.7)).hot_spots.count.value == counted
    wide = (np.abs(RADIUS - 0.5) < 0.4) & sector(0, 45)
    assert read(painted(STEEL, (wide, BLUE))).hot_spots.count.value == 0


def test_with_a_scale_a_spot_is_2_to_25_mm():
    lab = painted(STEEL, (disc(50, 26), BLUE))
    for mm_per_px, counted in ((0.05, 0), (0.1, 1), (0.8, 1), (1.1, 0)):
        assert read(lab, mm_per_px=mm_per_px).hot_spots.count.value == counted


def test_a_hot_band_is_no_hot_spot():
    assert read(painted(STEEL, (np.abs(RADIUS - 0.5) < 0.2, BLUE))).hot_spots.count.value == 0


def test_a_mark_that_runs_off_the_face_is_no_hot_spot():
    assert read(painted(STEEL, (disc(50, 40, radius=1.0), BLUE))).hot_spots.count.value == 0


def test_a_blue_mark_in_straw_is_a_hot_spot_too():
    straw = np.clip((60 - np.abs(ANGLE - 60)) / 60 + 0.5, 0, 1)[..., None]  # comes and goes over 60 degrees
    lab = (STEEL + straw * np.subtract(STRAW, STEEL)).astype(np.float32)
    lab[disc(60, 30)] = BLUE
    assert read(cv2.GaussianBlur(lab, (0, 0), 2)).hot_spots.count.value == 1


def test_dark_marks_on_a_face_that_is_straw_are_hot_spots_and_no_dirt():
    straw = np.clip((RADIUS - 0.2) / 0.4, 0, 1)[..., None]  # grows from the inner rim to the outer
    lab = (STEEL + straw * np.subtract((63.0, 1.5, 12.0), STEEL)).astype(np.float32)
    angles = (20, 80, 140, 200, 260, 320)
    for angle in angles:
        for across, colour in ((16, (40.0, 6.0, 9.0)), (8, (36.0, 3.0, -13.0))):
            lab[disc(angle, across, radius=0.7)] = colour
    readings = read(cv2.GaussianBlur(lab, (0, 0), 1.0))
    assert readings.hot_spots.angles_deg == pytest.approx(angles, abs=1)
    assert grade_steel(readings, SETTINGS.rules).level == 3


def dark_marks(*angles):
    """Small marks as dark as dirt, and of no tint."""
    return read(painted(STEEL, *((disc(angle, 10), (38.0, 3.0, 4.0)) for angle in angles)))


# Equal spacing supports frictionally excited instability (common practice, no source; the instability itself:
# J. R. Barber, Proc. R. Soc. A 312, 1969).
@pytest.mark.parametrize("angles", [range(15, 360, 45), (100, 140, 180, 220), [*range(5, 360, 40), 17]])
def test_dark_marks_at_equal_steps_are_hot_spots(angles):
    readings = dark_marks(*angles)
    assert readings.hot_spots.angles_deg == pytest.approx([a for a in angles if a != 17], abs=1)
    assert grade_steel(readings, SETTINGS.rules).level == 3


@pytest.mark.parametrize(
    "angles", [(15, 135, 255), (20, 31, 150, 200, 262, 340), (10, 55, 60, 200, 214, 290)]
)
def test_dark_marks_that_are_few_or_lie_anywhere_are_dirt(angles):
    readings = dark_marks(*angles)
    assert readings.area("other").value > 0
    assert readings.hot_spots.count.value == 0
    assert grade_steel(readings, SETTINGS.rules).level == 0


def test_dark_marks_and_tinted_ones_are_spaced_together():
    tinted = [layer for angle in (0, 180) for layer in spot(angle, 30)]
    dark = [(disc(angle, 10), (38.0, 3.0, 4.0)) for angle in (60, 120, 240, 300)]
    assert read(painted(STEEL, *tinted, *dark)).hot_spots.count.value == 6
    assert read(painted(STEEL, *tinted, *dark[:1])).hot_spots.count.value == 2


@pytest.mark.parametrize(("marks", "at_most"), [(4, 0.06), (5, 0.02), (6, 0.01), (9, 0.01), (15, 0.01)])
def test_few_marks_thrown_by_chance_look_evenly_spaced(marks, at_most):
    rng = np.random.default_rng(marks)
    thrown = [len(evenly_spaced(rng.uniform(0, 360, marks))) > 0 for _ in range(1000)]
    assert np.mean(thrown) <= at_most


def test_marks_a_little_off_their_places_are_evenly_spaced_still():
    rng = np.random.default_rng(1)
    marks = np.arange(0, 360, 40) + rng.uniform(-3, 3, 9)
    assert evenly_spaced([*marks[:4], 17.0, *marks[4:]]).tolist() == [0, 1, 2, 3, 5, 6, 7, 8, 9]
    assert evenly_spaced([]).tolist() == []


def test_a_pale_patch_inside_a_counted_one_is_part_of_it():
    assert read(painted(STEEL, *spot(60, 40))).hot_spots.count.value == 1


def test_mottle_on_a_familys_boundary_is_no_hot_spot():
    rng = np.random.default_rng(5)
    lab = painted((70.0, 0.5, 6.5), blur=0)
    lab[..., 2] += 4 * _smooth(rng)
    assert read(lab).hot_spots.count.value == 0


def _smooth(rng):
    noise = cv2.GaussianBlur(rng.standard_normal((400, 400)).astype(np.float32), (0, 0), 5)
    return np.clip(noise / noise.std(), -1, 1) / 2


def test_turning_the_plate_turns_the_spots_and_nothing_else():
    lab = painted(STEEL, *spot(20, 30), (sector(200, 260), STRAW))
    one, two = read(lab), read(np.rot90(lab, -1))
    assert [a.value for a in two.areas] == pytest.approx([a.value for a in one.areas], abs=1e-3)
    assert two.hot_spots.angles_deg == pytest.approx([one.hot_spots.angles_deg[0] + 90], abs=0.3)


def test_an_uncertain_light_spreads_a_tint_when_no_bare_metal_is_seen():
    lab = (70.0, 0.6, 9.4)  # a pale straw: just too yellow for a cast of the lamp
    unsure, sure = read(lab, light=6.0), read(lab, light=0.5)
    assert unsure.area("straw").spread > 0.3
    assert sure.area("straw").spread == 0
    assert not unsure.bare.found


def test_an_unknown_light_leaves_the_uncertainty_unknown_without_bare_metal():
    readings = read(STRAW, light=math.nan)
    assert math.isnan(readings.uncertainty)
    assert grade_steel(readings, SETTINGS.rules).level is None


def test_without_uncertainty_every_draw_is_the_measured_areas():
    readings = read(ladder(STEEL, STRAW, BROWN, PURPLE, BLUE, blur=4))
    assert readings.uncertainty == 0
    assert np.allclose(readings.area_draws, [area.value for area in readings.areas])


def test_the_maps_cannot_be_written_to():
    readings = read(STEEL)
    for array in (readings.family_map, readings.spot_map):
        with pytest.raises(ValueError, match="read-only"):
            array[0, 0] = 1


def test_the_same_face_gives_the_same_bytes():
    face = ring_face(ladder(STEEL, STRAW, BLUE), light=3.0)
    one, two = (read_steel(face, None, SETTINGS) for _ in range(2))
    assert one.area_draws.tobytes() == two.area_draws.tobytes()
    assert one.family_map.tobytes() == two.family_map.tobytes()


def test_the_rules_decide_what_a_hot_spots_size_is():
    rules = replace(SETTINGS.rules, spot_share=(0.2, 0.3))
    face = ring_face(painted(STEEL, (disc(50, 30), BLUE)))
    assert read_steel(face, None, replace(SETTINGS, rules=rules)).hot_spots.count.value == 0


WEAK, KNOWN = 6.0, 2.0  # Delta E: light read from bare steel; from a card
BLUISH = (75.0, -1.0, -8.0)  # bare steel under a lamp bluer than the light's estimate


def test_bare_metal_in_the_cast_of_a_bluish_lamp_is_no_blue():
    assert read(BLUISH, light=WEAK).area("bare").value == 1


def test_blue_oxide_is_blue_in_any_light():
    lab = ladder(STEEL, STRAW, BROWN, PURPLE, BLUE)
    for light in (KNOWN, WEAK):
        assert read(lab, light=light).area("blue").value == pytest.approx(
            read(lab).area("blue").value, abs=0.02
        )


def test_a_pale_blue_counts_where_a_card_tells_the_light():
    assert read(BLUISH, light=KNOWN).area("bare").value == 0


@pytest.mark.parametrize("teeth", [(60.0, 0.2, 1.5), (60.0, 0.5, 0.0)])
def test_metal_yellower_than_its_own_teeth_is_straw_where_only_steel_tells_the_light(teeth):
    # A breath of straw on three quarters of the face, more than of bare metal.
    lab = painted(STEEL, (sector(0, 270), (71.0, 0.6, 8.0)))
    face = replace(ring_face(lab, light=WEAK), metal_lab=np.array(teeth))
    assert read_steel(face, None, SETTINGS).area("straw").value == pytest.approx(0.75, abs=0.02)


def test_a_plate_all_purple_and_darker_than_its_teeth_is_not_bare_in_any_light():
    face = replace(ring_face(PURPLE, light=WEAK), metal_lab=np.array((56.0, 0.3, 2.1)))
    assert read_steel(face, None, SETTINGS).area("bare").value == 0
