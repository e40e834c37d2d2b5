"""Overlays and masks of hand-made results: rings on a flat bench, no photo and no scene."""

import math
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from PIL import Image

from tests.faces import ring_face
from tests.stages.test_grade import PHOTO, RULES, SETTINGS, steel
from wearview.draw import overlay_photo, part_masks
from wearview.draw.hatch import hatch
from wearview.draw.heat import MAP_STOPS, STRENGTH, TINT_COLOURS, lay_map
from wearview.draw.labels import label_parts, words_of
from wearview.draw.legend import legend
from wearview.grade import Grade, grade_lining
from wearview.lining import read_lining
from wearview.palette import rgb_of
from wearview.parts import Ellipse, Part
from wearview.quality import Quality
from wearview.record import GradedPart, GradedPhoto
from wearview.terms import (
    FRICTION,
    GLAZED,
    LINING_LEVELS,
    PROBLEMS,
    STEEL,
    STEEL_LEVELS,
    TINTS,
)

SCALE = 2.0  # full-size pixels per pixel of the working copy
SIZE = (1200, 1600)
RNG = np.random.default_rng(11)
BENCH = RNG.integers(90, 150, (*SIZE, 3), np.uint8)
BENCH.flags.writeable = False


def ring(x: float, y: float, outer: float = 130, inner: float = 90) -> Part:
    """A plate that lies flat: face between the radii, a toothed rim 12 pixels wide round it."""
    reach = math.ceil(outer + 14)
    left, top = round(x) - reach, round(y) - reach
    rows, columns = np.mgrid[: 2 * reach + 1, : 2 * reach + 1]
    dx, dy = columns + left - x, rows + top - y
    r, angle = np.hypot(dx, dy), np.arctan2(dy, dx)
    face = (r >= inner) & (r <= outer)
    teeth = (r > outer) & (r < outer + 12) & (np.sin(40 * angle) > 0)
    full = [(v + 0.5) * SCALE - 0.5 for v in (x, y)]
    rims = [Ellipse(*full, 2 * r * SCALE, 2 * r * SCALE, 0.0) for r in (outer, inner)]
    return Part(FRICTION, 1.0, *rims, None, math.nan, (left, top), face | teeth, face, teeth, SCALE)


def strap(x0: float, x1: float, y: float, width: float = 90) -> Part:
    """A band that lies straight along the picture."""
    mask = np.ones((round(width), round(x1 - x0)), bool)
    ends = (np.array([[x0, y], [(x0 + x1) / 2, y], [x1, y]]) + 0.5) * SCALE - 0.5
    origin = (round(x0), round(y - width / 2))
    nothing = np.zeros_like(mask)
    return Part("band", 1.0, None, None, ends, width * SCALE, origin, mask, mask, nothing, SCALE)


def graded(part: Part, position: int = 1, lab: tuple[float, float, float] = (45.0, 8.0, 20.0)) -> GradedPart:
    """The part as a lining of one colour."""
    face = ring_face(lab)
    lining = read_lining(face, PHOTO, SETTINGS)
    grade = grade_lining(lining, PHOTO, RULES)
    return GradedPart(f"{0:012x}-{position}", position, None, part, face, lining, None, grade, ())


def tinted(part: Part, tint: str) -> GradedPart:
    """The part as a steel of one tint."""
    readings = steel(**{} if tint == "bare" else {tint: 1.0})
    face = ring_face()
    families = np.full(face.mask.shape, TINTS.index(tint), np.uint8)
    steel_part = replace(part, kind=STEEL)
    return GradedPart(
        "0-1", 1, None, steel_part, face, None, replace(readings, family_map=families), None, ()
    )


def named(part: Part, name: str, level: int | None = 3, position: int = 1) -> GradedPart:
    """The part with a grade of this name and no map."""
    grade = Grade(level, name, False, 3.0, None, (), ())
    return GradedPart(f"0-{position}", position, None, part, None, None, None, grade, ())


def refused(part: Part, *problems: str, position: int = 1) -> GradedPart:
    return GradedPart(f"0-{position}", position, None, part, None, None, None, None, problems)


def photo(*parts: GradedPart, problems: tuple[str, ...] = (), bench: np.ndarray = BENCH) -> GradedPhoto:
    height, width = bench.shape[:2]
    return GradedPhoto(
        file="bench.jpg",
        stem="bench",
        sha256="0" * 64,
        width=round(width * SCALE),
        height=round(height * SCALE),
        taken_at=None,
        working=bench,
        scale=SCALE,
        quality=Quality(not problems, problems, 0.2, 0.0, 0.0, 1.0),
        problems=problems,
        light=None,
        light_uncertainty=math.nan,
        parts=parts,
    )


def on_bench(part: Part, mask: np.ndarray) -> np.ndarray:
    out = np.zeros(SIZE, bool)
    h, w = mask.shape
    x, y = part.origin
    out[y : y + h, x : x + w] = mask
    return out


def test_masks_have_the_photos_size_and_two_values():
    for masks in part_masks(photo(graded(ring(400, 500)), graded(ring(900, 500), 2))):
        for mask in masks:
            assert mask.shape == (2 * SIZE[0], 2 * SIZE[1])
            assert mask.dtype == np.uint8
            assert set(np.unique(mask)) == {0, 255}


def test_a_face_mask_has_the_area_of_its_annulus_and_lies_inside_its_part():
    [(part, face)] = part_masks(photo(graded(ring(400.3, 500.6, 150, 100))))
    # An annulus has area pi (R^2 - r^2); a pixel of the rims, 2 pi (R + r), may fall either way.
    assert (face > 0).sum() == pytest.approx(math.pi * (300**2 - 200**2), abs=0.5 * 2 * math.pi * 500)
    assert (part[face > 0] == 255).all()
    assert (part > 0).sum() > (face > 0).sum()


def test_a_mask_lies_where_its_part_is():
    [(_, face)] = part_masks(photo(graded(ring(400.3, 500.6))))
    rows, columns = np.nonzero(face)
    assert (columns.mean(), rows.mean()) == pytest.approx((401.1 + 400, 501.7 + 500), abs=0.5)


def test_masks_come_in_the_order_of_the_parts():
    masks = part_masks(photo(graded(ring(900, 500)), graded(ring(400, 500), 2)))
    middles = [np.nonzero(face)[1].mean() for _, face in masks]
    assert middles[0] > middles[1]


def test_a_part_at_the_frame_has_masks_of_the_photos_size():
    cut = ring(400, 500)
    half = cut.part_mask.shape[1] // 2
    masks = {name: getattr(cut, name)[:, half:].copy() for name in ("part_mask", "face_mask", "metal_mask")}
    edge = replace(cut, origin=(0, cut.origin[1]), **masks)
    [(part, _)] = part_masks(photo(refused(edge, "cut off by the frame")))
    assert part.shape == (2 * SIZE[0], 2 * SIZE[1])
    assert part[:, 0].any()


@pytest.mark.parametrize("width", [1600, 1200, 500])
def test_an_overlay_is_as_wide_as_the_working_copy(width):
    bench = np.full((1200, width, 3), 120, np.uint8)
    overlay = overlay_photo(photo(graded(ring(250, 500)), bench=bench))
    assert overlay.shape[1] == width <= 1600
    assert overlay.shape[0] > 1200
    assert overlay.dtype == np.uint8


def test_drawing_changes_nothing_of_what_it_draws_from():
    before = BENCH.copy()
    overlay_photo(photo(graded(ring(400, 500))))
    assert (before == BENCH).all()


def test_the_outline_leaves_rim_and_teeth_in_view():
    part = ring(700, 500)
    overlay = overlay_photo(photo(graded(part)))[: SIZE[0]]
    rim = on_bench(part, part.part_mask & ~part.face_mask)
    assert (overlay[rim] == BENCH[rim]).all()


def test_the_outline_stands_round_the_part_in_the_colour_of_its_level():
    part = ring(700, 500)
    burnt = named(part, "burnt", 3)
    overlay = overlay_photo(photo(burnt))[: SIZE[0]]
    # 12 pixels of teeth, then a thin edge of 1.5 and a line of 5.
    assert tuple(overlay[500 - 130 - 12 - 4, 700]) == rgb_of(3)


@pytest.mark.parametrize("level", range(5))
def test_the_map_takes_the_colour_of_a_level_at_its_threshold(level):
    part = ring(700, 500)
    whole = graded(part)
    even = np.full(whole.face.mask.shape, MAP_STOPS[level], np.float32)
    whole = replace(whole, lining=replace(whole.lining, delta_e_map=even))
    canvas = np.full((*SIZE, 3), 128, np.uint8)
    lay_map(canvas, whole)
    share = STRENGTH * (0.15 if level == 0 else 1.0)
    expected = 128 * (1 - share) + share * np.array(rgb_of(level))
    assert canvas[500 - 110, 700] == pytest.approx(expected, abs=2)  # two grey levels: rounding twice


def test_no_two_levels_share_a_hatch_and_level_0_has_none():
    x, y = np.arange(160.0)[None], np.arange(160.0)[:, None]
    drawn = {level: hatch(level, x, y) for level in (*range(5), None)}
    assert drawn[0].shape == (160, 160)
    assert not drawn[0].any()
    for one, other in combinations(drawn.values(), 2):
        assert (one != other).mean() > 0.05


def test_a_tint_is_told_on_a_grey_print_by_the_hatch_of_its_level():
    part = ring(700, 500)
    face = on_bench(part, part.face_mask)
    inked = {}
    for tint in ("brown", "blue"):  # one grey without their hatches
        canvas = np.full((*SIZE, 3), 128, np.uint8)
        lay_map(canvas, tinted(part, tint))
        grey = np.asarray(Image.fromarray(canvas).convert("L"), float)
        plain = np.median(grey[face])
        inked[tint] = np.abs(grey - plain)[face] > 12
    assert all(0.1 < mask.mean() < 0.5 for mask in inked.values())
    assert (inked["brown"] != inked["blue"]).mean() > 0.1


def test_the_words_stand_beside_the_levels_own_box():
    part = named(ring(700, 500), "burnt", 3)
    overlay = overlay_photo(photo(part))[: SIZE[0]]
    below = overlay[660:760, 560:840].reshape(-1, 3)
    assert (below == rgb_of(3)).all(axis=1).sum() > 300  # of the box of 40 pixels, what its hatch leaves


def test_the_lining_shows_through_the_map():
    part = ring(700, 500)
    face = on_bench(part, part.face_mask)
    overlay = overlay_photo(photo(graded(part, lab=(20.0, 0.0, 0.0))))[: SIZE[0]]
    # What is left of the photo's own contrast is what the map does not cover.
    assert overlay[face].std() > 0.9 * (1 - STRENGTH) * BENCH[face].std()


def test_what_was_not_measured_shows_the_photo():
    part = ring(700, 500)
    left = ring_face().mask.copy()
    left[:, 200:] = False
    lost = graded(part)
    lost = replace(lost, face=replace(lost.face, mask=left))
    canvas = BENCH.copy()
    lay_map(canvas, lost)
    right = on_bench(part, part.face_mask)
    right[:, :705] = False  # the map fades over a few pixels
    assert (canvas[right] == BENCH[right]).all()
    assert (canvas[500, 590:600] != BENCH[500, 590:600]).any()


def test_a_band_is_mapped_along_its_length():
    part = strap(200, 1400, 600)
    long = graded(part)
    rows, columns = np.mgrid[:90, :1200]
    xy = np.stack([(columns + 200.5) * SCALE - 0.5, (rows + 555.5) * SCALE - 0.5], -1).astype(np.float32)
    values = np.where(columns < 600, 0, 32).astype(np.float32)
    seen = np.ones((90, 1200), bool)
    long = replace(
        long,
        face=replace(long.face, lab=np.zeros((90, 1200, 3), np.float32), xy=xy, mask=seen),
        lining=replace(long.lining, delta_e_map=values),
    )
    canvas = np.full((*SIZE, 3), 200, np.uint8)
    lay_map(canvas, long)
    assert canvas[600, 300].mean() > canvas[600, 1300].mean() + 60


ALL_NAMES = sorted(
    {*LINING_LEVELS, *STEEL_LEVELS, *(f"{name}, {GLAZED}" for name in LINING_LEVELS), "cleanest here"}
)


@pytest.mark.parametrize("width", [1600, 700])
@pytest.mark.parametrize("name", ALL_NAMES)
def test_every_grade_in_words_fits_a_row_of_plates_and_hides_none(name, width):
    step = width / 5
    row = [
        named(ring(step * (k + 0.5), 600, step * 0.36, step * 0.24), name, position=k + 8) for k in range(5)
    ]
    bench = np.ascontiguousarray(BENCH[:, :width])
    overlay = overlay_photo(photo(*row, bench=bench))[: SIZE[0]]
    for edge in (np.s_[0], np.s_[-1], np.s_[:, 0], np.s_[:, -1]):
        assert (overlay[edge] == bench[edge]).all()
    for part in row:
        on = on_bench(part.part, part.part.part_mask)[:, :width]
        hidden = (overlay[on] != bench[on]).any(axis=-1).mean()
        assert hidden < 0.02  # a number may touch the inner edge of a narrow hole


@pytest.mark.parametrize("name", sorted(p.name for p in PROBLEMS.values() if p.refuses))
def test_a_refused_part_says_why_beside_it(name):
    part = refused(ring(700, 500), "glare", name)
    said = words_of(part).removeprefix("cannot tell: ")
    assert said in (name, PROBLEMS[name].short)
    assert len(said) < 22  # so that the words of a row of such plates take two lines each
    overlay = overlay_photo(photo(part))
    assert (overlay[: SIZE[0], 0] == BENCH[:, 0]).all()
    assert overlay.shape[0] == SIZE[0]  # nothing mapped, nothing to explain


def test_labels_of_overlapping_plates_stay_apart():
    parts = [named(ring(300 + 190 * k, 500), "heat-marked", position=k + 1) for k in range(5)]
    hidden = np.zeros(SIZE, np.float32)
    label_parts(Image.fromarray(BENCH.copy()), parts, hidden, 1.0)
    alone = np.zeros(SIZE, np.float32)
    label_parts(Image.fromarray(BENCH.copy()), parts[:1], alone, 1.0)
    # Five pairs of a disc and a box, none over another: five times the area of one pair, wrapped ones apart.
    assert (hidden > 0).sum() > 4.5 * (alone > 0).sum()


@pytest.mark.parametrize("width", [1600, 1200, 700, 400])
@pytest.mark.parametrize("problem", sorted(PROBLEMS))
def test_a_photo_without_a_part_carries_a_banner_with_the_reason(problem, width):
    bench = np.ascontiguousarray(BENCH[:, :width])
    overlay = overlay_photo(photo(problems=(problem,), bench=bench))
    assert overlay.shape == bench.shape
    assert (overlay[:300] != bench[:300]).any()
    assert (overlay[:, -2:] == bench[:, -2:]).all()
    assert (overlay[-1] == bench[-1]).all()


@pytest.mark.parametrize("width", [1600, 1200, 700, 400])
def test_no_word_of_the_legend_is_cut_off(width):
    parts = [graded(ring(400, 500)), *(tinted(ring(400, 500), tint) for tint in TINTS)]
    strip = legend(parts, width, width / 1600)
    assert strip.shape[1] == width
    assert (strip[:, -4:] == 255).all()
    assert (strip[:2] == 255).all()
    assert (strip[-2:] == 255).all()
    dark = (strip < 100).all(axis=-1)
    assert dark.any()


def test_the_legend_names_only_tints_that_are_there():
    strip = legend([tinted(ring(400, 500), "blue")], 1600, 1.0)
    colours = {tuple(pixel) for pixel in strip.reshape(-1, 3)}
    wanted = {name: tuple(bytes.fromhex(colour[1:])) for name, colour in TINT_COLOURS.items()}
    assert wanted["blue"] in colours
    assert colours.isdisjoint(colour for name, colour in wanted.items() if name != "blue")


def test_the_legend_takes_another_line_rather_than_run_out_of_the_picture():
    parts = [tinted(ring(400, 500), tint) for tint in TINTS]
    one, more = legend(parts, 1600, 1.0), legend(parts, 800, 1.0)
    assert more.shape[0] > one.shape[0]


def test_a_lining_alone_has_a_legend_of_one_line():
    lining, both = [graded(ring(400, 500))], [graded(ring(400, 500)), tinted(ring(400, 500), "straw")]
    assert 1.5 * legend(lining, 1600, 1.0).shape[0] < legend(both, 1600, 1.0).shape[0]
