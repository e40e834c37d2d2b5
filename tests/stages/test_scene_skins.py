"""Invented surfaces: what is asked for is what their truth reads, and the truth reader is right by hand."""

from __future__ import annotations

import numpy as np
import pytest

from tests.scenes import truth, wear
from tests.scenes.colours import delta_e00, lab_to_linear_srgb, linear_srgb_to_lab
from tests.scenes.grid import Grid, band_grid, plate_grid
from tests.scenes.linings import BY_NAME, LININGS, TOO_DARK_L
from tests.scenes.make import (
    Look,
    make_clean_skin,
    make_skin,
    random_band_shape,
    random_plate_shape,
    reachable_levels,
)
from tests.scenes.skin import BAND, FRICTION, KINDS, REACTION, STEEL, BandShape, PlateShape, Skin

SMALL = 480  # map pixels: quick, and still four to the contract's averaging disc
LIGHT_LININGS = [lining for lining in LININGS if lining.lab[0] >= TOO_DARK_L]

# Film of Fe3O4 on Fe at normal incidence, D65: (film nm, family, hue angle of Lab). Optical constants of
# M. R. Querry 1985 (Fe3O4) and P. B. Johnson and R. W. Christy 1974 (Fe), single-film Airy formula.
FILM_HUES = [(20, "straw", 91), (30, "straw", 84), (40, "purple", 326), (50, "blue", 293), (60, "blue", 271)]


def shape_for(rng: np.random.Generator, kind: str) -> PlateShape | BandShape:
    return random_band_shape(rng) if kind == BAND else random_plate_shape(rng, kind)


def painted(kind: str, level: int, seed: int, look: Look | None = None, lining: str | None = None) -> Skin:
    rng = np.random.default_rng([seed, level, KINDS.index(kind)])
    chosen = BY_NAME[lining] if lining else None
    return make_skin(rng, kind, shape_for(rng, kind), level, lining=chosen, look=look, resolution=SMALL)


def plain_ring(resolution: int = 600) -> Grid:
    return plate_grid(
        PlateShape(60, 40, 60, 40, "outer", 12, 4, 0.4, "trapezoid", (), 2.0, 0.0, 0.1), resolution
    )


def plain_strap() -> Grid:
    return band_grid(BandShape(200, 42, 0, 10, 1, 2.5, 1.0, (10, 10)), 880)


@pytest.mark.parametrize("lining", LIGHT_LININGS, ids=lambda x: x.name)
def test_an_unused_lining_reads_level_0_and_its_own_colour(lining):
    rng = np.random.default_rng(5)
    skin = make_clean_skin(lining, random_plate_shape(rng, FRICTION), rng=rng, resolution=2 * SMALL)
    assert (skin.truth["level"], skin.truth["glazing"]) == (0, 0.0)
    assert skin.truth["area_over_5"] < 0.05
    assert abs(skin.truth["delta_l_median"]) < 1.2, "plates of one batch differ by about 1 L*"


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("level", range(5))
def test_the_level_asked_for_is_the_level_painted(kind, level):
    for seed in range(4):
        skin = painted(kind, level, seed)
        assert skin.truth["level"] == level
        assert skin.truth["margin_ok"]


@pytest.mark.parametrize("lining", LIGHT_LININGS, ids=lambda x: x.name)
def test_every_lining_shows_every_level_it_says_it_can(lining):
    levels = reachable_levels(FRICTION, lining)
    assert [painted(FRICTION, k, 11, lining=lining.name).truth["level"] for k in levels] == list(levels)


@pytest.mark.parametrize("kind", KINDS)
def test_maps_are_physical_and_agree_in_shape(kind):
    skin = painted(kind, 4, 3)
    for name in ("albedo", "roughness", "specular", "metal"):
        values = getattr(skin, name)
        assert values.dtype == np.float32
        assert np.isfinite(values).all()
        assert 0 <= values.min() <= values.max() <= 1
    assert np.abs(skin.height).max() < 2


def test_the_same_generator_paints_the_same_bytes():
    one, two = painted(FRICTION, 2, 9), painted(FRICTION, 2, 9)
    assert one.albedo.tobytes() == two.albedo.tobytes()
    assert one.truth == two.truth


def test_lining_areas_nest():
    for seed in range(6):
        reads = painted(FRICTION, 3, seed).truth
        assert reads["area_over_5"] >= reads["area_over_10"] >= reads["area_over_20"]
        assert reads["area_char"] <= reads["area_over_10"]
        assert reads["delta_e00_p90"] >= reads["delta_e00_median"]


def test_tint_areas_sum_to_one():
    for level in range(5):
        assert sum(painted(STEEL, level, 2).truth["heat_tint"]["area"].values()) == pytest.approx(1, abs=1e-9)


def test_grey_oxide_never_comes_without_blue():
    reads = [painted(STEEL, 4, seed).truth["heat_tint"]["area"] for seed in range(8)]
    assert all(area["blue"] > 0 for area in reads if area["grey"] > 0)
    assert any(area["grey"] > 0 for area in reads)


@pytest.mark.parametrize("count", [4, 7, 11])
def test_every_hot_spot_placed_is_counted_at_its_equal_angle(count):
    spots = painted(REACTION, 3, count, Look(spots=count, one_sided=False)).truth["heat_tint"]["hot_spots"]
    assert spots["count"] == count
    gaps = np.diff([*spots["angles_deg"], spots["angles_deg"][0] + 360])
    assert np.abs(gaps - 360 / count).max() < 0.4 * 360 / count


def test_hot_spots_on_one_side_stay_on_one_side():
    angles = painted(STEEL, 3, 1, Look(spots=4, one_sided=True)).truth["heat_tint"]["hot_spots"]["angles_deg"]
    widest = np.diff([*angles, angles[0] + 360]).max()
    assert len(angles) == 4
    assert widest > 150


@pytest.mark.parametrize("level", [1, 2, 3])
def test_glaze_can_raise_a_level_by_one(level):
    reads = painted(FRICTION, level, 4, Look(by_glaze=True)).truth
    colours = {row: reads[row] for row in truth.LINING_ROWS}
    assert reads["glazing"] >= 60
    assert (reads["glazed"], truth.colour_level(colours), reads["level"]) == (True, level - 1, level)


def test_a_lining_too_dark_has_no_level_but_keeps_its_glazing():
    reads = painted(FRICTION, 3, 4, lining="soot black").truth
    assert reads["level"] is None
    assert reads["area_char"] is None
    assert 0 <= reads["glazing"] <= 100


def test_a_wet_lining_is_compared_with_wet_lining():
    dry, wet = painted(FRICTION, 0, 6, lining="kraft"), painted(FRICTION, 0, 6, Look(wet=True), "kraft")
    assert wet.truth["clean_lab"][0] < dry.truth["clean_lab"][0] - 5
    assert wet.truth["level"] == dry.truth["level"] == 0
    assert np.median(wet.roughness) < np.median(dry.roughness)


def test_heat_on_a_band_stands_at_one_end():
    for seed in range(4):
        along = painted(BAND, 3, seed, Look(heat="end", by_glaze=False), "leaf green").truth[
            "angular_delta_l"
        ]
        first, last = (np.mean([v for v in part if v is not None]) for part in (along[:9], along[-9:]))
        assert abs(first - last) > 8


def test_an_impossible_wish_is_refused():
    rng = np.random.default_rng(0)
    plate = random_plate_shape(rng, FRICTION)
    with pytest.raises(ValueError, match="cannot show level 9"):
        make_skin(rng, FRICTION, plate, 9, lining=BY_NAME["kraft"])
    with pytest.raises(ValueError, match="cannot have a PlateShape"):
        make_skin(rng, BAND, plate, 0)
    with pytest.raises(ValueError, match="radii must rise"):
        PlateShape(40, 60, 60, 40, "outer", 12, 4, 0.4, "trapezoid", (), 2.0, 0.0, 0.1)


def test_a_third_of_the_linings_is_held_out():
    assert 1 / 3 <= np.mean([lining.held_out for lining in LININGS]) < 1 / 2


# The truth reader, on faces made by hand.


def test_a_face_covers_the_area_of_its_ring():
    grid = plain_ring(1200)
    assert grid.face.sum() * grid.mm_per_px**2 == pytest.approx(np.pi * (60**2 - 40**2), rel=1e-3)


def test_a_face_burnt_on_its_right_half_reads_one_half():
    grid, clean = plain_strap(), (60.0, 8.0, 24.0)
    rgb = lab_to_linear_srgb([clean, (35.0, 8.0, 15.0), (28.0, 5.0, 8.0)]).astype(np.float32)
    albedo = rgb[np.where(grid.x > 0, 1, 0)]
    reads = truth.read_lining(grid, albedo, grid.face, clean, 0.0)
    assert [reads[f"area_over_{k}"] for k in (5, 10, 20)] == pytest.approx([0.5] * 3, abs=0.01)
    assert (reads["area_char"], reads["level"]) == (0.0, 3), "35 is more than half of 60"
    assert reads["angular_delta_l"][4] == pytest.approx(0, abs=0.02)
    assert reads["angular_delta_l"][30] == pytest.approx(-25, abs=0.02)
    assert reads["gradient"]["angular"] == pytest.approx(25, abs=0.05)
    assert not truth.read_lining(grid, rgb[np.where(grid.x > 48, 1, 0)], grid.face, clean, 0.0)["margin_ok"]
    charred = truth.read_lining(grid, rgb[np.where(grid.x > 0, 2, 0)], grid.face, clean, 0.0)
    assert (charred["area_char"], charred["level"]) == (pytest.approx(0.5, abs=0.01), 4)


def test_fine_mottle_is_averaged_away_and_broad_stain_is_not():
    grid, clean = plain_ring(), (60.0, 8.0, 24.0)
    rgb = lab_to_linear_srgb([(53.0, 8.0, 24.0), (67.0, 8.0, 24.0)]).astype(np.float32)
    checker = (np.indices(grid.shape).sum(axis=0) % 2).astype(int)
    fine = truth.read_lining(grid, rgb[checker], grid.face, clean, 0.0)
    broad = truth.read_lining(grid, rgb[(grid.x > 0).astype(int)], grid.face, clean, 0.0)
    assert fine["delta_e00_p90"] < 1 < 5 < broad["delta_e00_median"]


def test_what_is_not_measured_does_not_count():
    grid, clean = plain_ring(), (60.0, 8.0, 24.0)
    rgb = lab_to_linear_srgb([clean, (2.0, 0.0, 0.0)]).astype(np.float32)
    inked = (np.mod(np.degrees(np.arctan2(grid.y, grid.x)), 20) < 8) & grid.face
    reads = truth.read_lining(grid, rgb[inked.astype(int)], grid.face & ~inked, clean, 0.0)
    assert reads["delta_e00_p90"] < 0.01


def discs(grid: Grid, *marks: tuple[float, float, float, int]) -> np.ndarray:
    """Family map with discs (x mm, y mm, diameter mm, family) over bare metal."""
    family = np.zeros(grid.shape, np.int8)
    for x, y, diameter, index in marks:
        family[np.hypot(grid.x - x, grid.y - y) <= diameter / 2] = index
    return family


@pytest.mark.parametrize(
    ("marks", "count"),
    [
        ([(50, 0, 6, 1)], 1),
        ([(50, 0, 1, 4)], 0),  # under 2 mm
        ([(57, 0, 8, 4)], 0),  # no barer metal at the rim
        ([(50, 0, 12, 1), (50, 0, 5, 4)], 1),  # a blue core in its straw rim
        ([(0, 50, 6, 3), (0, -50, 6, 3), (-50, 0, 6, 2)], 3),
        ([(0, 0, 200, 1), (0, 50, 6, 4)], 1),  # blue on an all-straw face: straw is barer
        ([(0, 0, 200, 4)], 0),
    ],
)
def test_hot_spots_by_hand(marks, count):
    grid = plain_ring()
    assert truth.hot_spots(grid, discs(grid, *marks))["count"] == count


def test_a_hot_spots_angle_runs_clockwise_from_the_right_and_its_area_is_a_share_of_the_face():
    grid = plain_ring(1200)
    spots = truth.hot_spots(grid, discs(grid, (0, 50, 10, 4)))
    assert spots["angles_deg"] == pytest.approx([90], abs=0.3)
    assert spots["area"] == pytest.approx(25 / (60**2 - 40**2), rel=0.02)


@pytest.mark.parametrize(
    ("changed", "spots", "spot_area", "level"),
    [
        ({}, 0, 0.0, 0),
        ({"straw": 0.10}, 0, 0.0, 1),
        ({"brown": 0.05, "purple": 0.05}, 0, 0.0, 2),
        ({"blue": 0.10}, 0, 0.0, 3),
        ({}, 3, 0.02, 3),
        ({"grey": 0.10}, 0, 0.0, 4),
        ({}, 9, 0.25, 4),
    ],
)
def test_the_contracts_steel_rows(changed, spots, spot_area, level):
    area = dict.fromkeys(wear.FAMILIES, 0.0) | changed
    assert truth.steel_level(area, spots, spot_area) == level
    assert not any(changed.values()) or not truth.steel_margin(area, spots, spot_area)


@pytest.mark.parametrize(
    ("over_5", "over_10", "over_20", "char", "glazing", "level"),
    [
        (0.24, 0.0, 0.0, 0.0, 0, 0),
        (0.25, 0.0, 0.0, 0.0, 0, 1),
        (0.9, 0.25, 0.1, 0.0, 0, 2),
        (0.9, 0.9, 0.25, 0.1, 0, 3),
        (0.9, 0.9, 0.9, 0.25, 0, 4),
        (0.0, 0.0, 0.0, 0.0, 60, 1),
        (0.9, 0.9, 0.1, 0.0, 60, 3),
        (0.9, 0.9, 0.9, 0.0, 100, 3),
    ],
)
def test_the_contracts_lining_rows(over_5, over_10, over_20, char, glazing, level):
    areas = dict(zip(truth.LINING_ROWS, (over_5, over_10, over_20, char), strict=True))
    assert truth.lining_level(areas, glazing) == level


def test_the_glazing_index_keeps_the_contracts_anchors():
    assert wear.glaze_index(1.0, 0.2, 0.2) == 0
    assert wear.glaze_index(0.0, 1e9, 0.2) == pytest.approx(100, abs=1e-3)
    assert wear.glaze_index(1.0, 5.0, 0.2) == 0, "sheen with the grain clear is no glaze"
    assert wear.glaze_index(0.5, 0.4, 0.2) == pytest.approx(50)


def test_the_averaging_disc_has_the_area_of_its_circle():
    for diameter in (3.0, 4.7, 9.3):
        kernel = truth.disc(diameter)
        assert kernel.sum() == pytest.approx(1, abs=1e-5)
        assert 1 / kernel.max() == pytest.approx(np.pi * diameter**2 / 4, rel=0.03)


@pytest.mark.parametrize(("nm", "family", "hue"), FILM_HUES)
def test_tints_stand_at_the_hues_of_a_computed_oxide_film(nm, family, hue):
    """Order and hue only: the film is ideal, a ground plate's tints are paler."""
    steps = np.linspace(0, 6, 601)
    names = np.array(wear.FAMILIES)[wear.family_of(steps)]
    lab = linear_srgb_to_lab(wear.tint_colour(steps[None], 1.0, 0.0)[0])
    hues = np.degrees(np.arctan2(lab[:, 2], lab[:, 1])) % 360
    turn = (hues[names == family] - hue + 180) % 360 - 180
    assert np.abs(turn).min() < 8, f"no {family} as at {nm} nm"


def test_colour_difference_matches_the_published_pairs():
    """Sharma, Wu and Dalal, Color Research and Application 30(1), 2005, Table 1, pairs 1, 11 and 19."""
    one = [(50, 2.6772, -79.7751), (50, 2.49, -0.001), (50, 2.5, 0)]
    two = [(50, 0, -82.7485), (50, -2.49, 0.0011), (56, -27, -3)]
    assert delta_e00(one, two) == pytest.approx([2.0425, 7.2195, 31.9030], abs=1e-4)
