"""Parts of drawn pictures whose truth is exact: the plane, rims, teeth, masks, and what is refused."""

import math
from pathlib import Path

import cv2
import numpy as np
import pytest

from wearview.parts import Corrections, Ellipse, Rims, choose, find_parts
from wearview.parts.beyond import nothing_beyond
from wearview.parts.edges import PlaneEdges, centre_votes
from wearview.parts.masks import plate_masks
from wearview.parts.plane import Plane, slants_of_ellipse
from wearview.parts.rims import TURN, robust_ellipse
from wearview.parts.teeth import cast_rays, find_teeth
from wearview.photo import PhotoBytes, read_photo_bytes
from wearview.pipeline import grade_photos
from wearview.settings import load_settings

DEMO = Path(__file__).parents[2] / "demo_images"
RIM, HOLE, TIP, TEETH = 300.0, 210.0, 190.0, 36  # pixels; an inner-toothed plate of even colour
BENCH, FACE, STEEL = (70, 90, 110), (60, 130, 190), (190, 190, 190)  # BGR


def drawn_plate(centre: tuple[float, float], size: tuple[int, int] = (1200, 900), slant: float = 0.0):
    """BGR picture of a friction plate on an even bench, drawn at four times the size and averaged."""
    over = 4
    width, height = size
    squeeze = math.cos(slant)
    x = (np.arange(width * over, dtype=np.float32) + 0.5) / over - 0.5 - centre[0]
    y = ((np.arange(height * over, dtype=np.float32) + 0.5) / over - 0.5 - centre[1]) / squeeze
    radius = np.hypot(x[None], y[:, None])
    tooth = np.cos(TEETH * np.arctan2(y[:, None], x[None])) > 0
    picture = np.empty((*radius.shape, 3), np.uint8)
    picture[:] = BENCH
    picture[(radius <= RIM) & (radius >= HOLE - 8)] = STEEL
    picture[(radius <= HOLE) & (radius >= TIP) & tooth] = STEEL
    picture[(radius <= RIM) & (radius >= HOLE)] = FACE
    return cv2.resize(picture, size, interpolation=cv2.INTER_AREA)


def photo_of(bgr8):
    noisy = bgr8 + np.random.default_rng(1).normal(0, 2, bgr8.shape)
    return read_photo_bytes(
        cv2.imencode(".png", np.clip(noisy, 0, 255).astype(np.uint8))[1].tobytes(), "drawn"
    )


def test_the_rims_of_a_drawn_plate_are_found_to_half_a_pixel():
    (part,) = find_parts(photo_of(drawn_plate((600.25, 450.5))))
    for rim, radius in ((part.outer, RIM), (part.inner, HOLE)):
        assert (rim.cx, rim.cy) == pytest.approx((600.25, 450.5), abs=0.5)
        assert (rim.major / 2, rim.minor / 2) == pytest.approx((radius, radius), abs=0.5)


def test_a_photo_turned_by_a_quarter_turns_the_outline_with_it():
    picture = drawn_plate((520, 400))
    (part,) = find_parts(photo_of(picture))
    (turned,) = find_parts(photo_of(cv2.rotate(picture, cv2.ROTATE_90_CLOCKWISE)))
    assert turned.outer.cx == pytest.approx(899 - part.outer.cy, abs=0.5)
    assert turned.outer.cy == pytest.approx(part.outer.cx, abs=0.5)
    assert turned.outer.major == pytest.approx(part.outer.major, abs=1)


def test_the_face_mask_has_the_area_of_the_annulus():
    (part,) = find_parts(photo_of(drawn_plate((600, 450))))
    assert part.face_mask.sum() == pytest.approx(math.pi * (RIM**2 - HOLE**2), rel=0.01)


def test_a_plate_that_the_frame_cuts_keeps_its_place_and_is_not_graded():
    picture = drawn_plate((600, 450))[:, : 600 + 200]
    graded = grade_photos([PhotoBytes("cut", cv2.imencode(".png", picture)[1].tobytes())], load_settings())
    (part,) = graded.photos[0].parts
    assert part.position == 1
    assert "cut off by the frame" in part.problems
    assert part.face is None
    assert part.grade is None


def test_an_even_bench_holds_no_part():
    bench = np.full((900, 1200, 3), BENCH, np.uint8)
    assert find_parts(photo_of(bench)) == ()


def test_plain_rings_without_teeth_are_no_plates():
    picture = np.full((900, 1200, 3), BENCH, np.uint8)
    cv2.circle(picture, (600, 450), 300, FACE, -1, cv2.LINE_AA)
    cv2.circle(picture, (600, 450), 210, BENCH, -1, cv2.LINE_AA)
    assert find_parts(photo_of(picture)) == ()


def test_a_likely_plate_is_one_where_a_person_says_so(monkeypatch):
    monkeypatch.setattr(choose, "SURE", 1.1)  # nothing is sure by itself,
    monkeypatch.setattr(choose, "TOOTHED", 1.1)  # however plain its teeth
    photo = photo_of(drawn_plate((600, 450)))
    assert find_parts(photo) == ()
    (part,) = find_parts(photo, Corrections(in_view=True))
    assert part.outer.cx == pytest.approx(600, abs=0.5)


def test_a_plain_ring_is_no_plate_whatever_is_said():
    picture = np.full((900, 1200, 3), BENCH, np.uint8)
    cv2.circle(picture, (600, 450), 300, FACE, -1, cv2.LINE_AA)
    cv2.circle(picture, (600, 450), 210, BENCH, -1, cv2.LINE_AA)
    assert find_parts(photo_of(picture), Corrections(in_view=True)) == ()


@pytest.mark.parametrize("slant", [(0.0, 0.0), (0.5, 0.0), (-0.3, 0.6), (0.1, -0.7)])
def test_the_plane_and_the_photo_map_into_each_other(slant):
    plane = Plane(800, 600, 700.0, slant)
    xy = np.array([[400.0, 300.0], [100.0, 500.0], [790.0, 20.0]])
    assert plane.to_photo(plane.to_plane(xy)) == pytest.approx(xy, abs=1e-6)
    middle = np.array([[399.5, 299.5]])
    assert plane.to_plane(middle) == pytest.approx(middle)


@pytest.mark.parametrize("slant", [(0.0, 0.0), (0.5, 0.2), (-0.6, 0.4)])
def test_the_plane_keeps_the_size_of_the_photo_s_middle(slant):
    plane = Plane(800, 600, 700.0, slant)
    corners = plane.to_plane(np.array([[399.0, 299.0], [400.0, 299.0], [399.0, 300.0]]))
    along, down = corners[1] - corners[0], corners[2] - corners[0]
    assert abs(along[0] * down[1] - along[1] * down[0]) == pytest.approx(1, rel=0.01)


def test_circles_on_the_plane_are_projected_as_their_points_are():
    plane = Plane(800, 600, 700.0, (0.4, -0.2))
    radii = np.array([50.0, 120.0])
    xy = plane.circles_to_photo((350.0, 280.0), TURN, radii, 2.0)
    circle = np.stack([350 + np.outer(np.cos(TURN), radii), 280 + np.outer(np.sin(TURN), radii)], axis=-1)
    assert xy == pytest.approx((plane.to_photo(circle) + 0.5) * 2 - 0.5, abs=0.01)


def test_the_slant_of_a_circle_s_picture_is_the_plane_s():
    plane = Plane(800, 600, 700.0, (0.4, -0.2))
    circle = np.stack([420 + 90 * np.cos(TURN), 310 + 90 * np.sin(TURN)], axis=-1)
    ellipse = robust_ellipse(plane.to_photo(circle))
    slants = slants_of_ellipse(ellipse, 800, 600, 700.0)
    assert min(math.dist(slant, plane.slant) for slant in slants) < 0.005


def test_the_normals_of_a_circle_s_edges_meet_in_its_centre():
    x, y = (np.array(v, np.float32) for v in (200 + 80 * np.cos(TURN), 140 + 80 * np.sin(TURN)))
    laid = PlaneEdges(x, y, np.cos(TURN).astype(np.float32), np.sin(TURN).astype(np.float32))
    votes = centre_votes(laid, (0.0, 0.0, 400.0, 300.0), np.arange(30, 150, 4.0), 4.0)
    row, column = np.unravel_index(int(votes.argmax()), votes.shape)
    assert (column * 4 + 2, row * 4 + 2) == pytest.approx((200, 140), abs=4)


def test_the_area_of_a_plain_plate_s_mask_is_the_ring_s():
    outer, inner = Ellipse(300, 260, 400, 360, 30), Ellipse(300, 260, 280, 252, 30)
    masks = plate_masks((520, 600), outer, inner, nothing_beyond(), nothing_beyond())
    area = math.pi / 4 * (400 * 360 - 280 * 252)
    assert masks.face.sum() == pytest.approx(area, rel=0.005)
    assert (masks.part == masks.face).all()
    assert not masks.metal.any()


def test_a_rim_laid_along_the_tips_spills_its_teeth_into_the_face():
    rgb8 = cv2.cvtColor(drawn_plate((600, 450)), cv2.COLOR_BGR2RGB)
    outer = Ellipse(600, 450, 2 * RIM, 2 * RIM, 0)
    nothing = np.zeros(len(TURN), bool)
    on_edge, on_tips = (
        find_teeth(cast_rays(rgb8, outer, Ellipse(600, 450, 2 * r, 2 * r, 0)), False, nothing)
        for r in (HOLE, TIP)
    )
    assert on_edge.count == TEETH
    assert on_edge.spill < 0.05
    assert on_tips.spill > 0.9 or on_tips.count != TEETH


@pytest.mark.parametrize("hole", [40.0, 120.0, 180.0, 200.0])
def test_a_ring_with_a_small_hole_has_no_teeth_there(hole):
    noise = np.random.default_rng(3).integers(0, 255, (900, 1200, 3), np.uint8)
    rays = cast_rays(noise, Ellipse(600, 450, 600, 600, 0), Ellipse(600, 450, hole, hole, 0))
    teeth = find_teeth(rays, False, np.zeros(len(TURN), bool))
    assert teeth.count == 0


def ring_points(x: float, radius: float) -> tuple[tuple[float, float], ...]:
    return tuple((x + radius * math.cos(a), 450 + radius * math.sin(a)) for a in np.linspace(0, 5.2, 6))


@pytest.mark.parametrize(("away", "covered"), [(30, True), (350, False)])
def test_a_plate_of_which_others_hide_most_is_called_covered(away, covered):
    lower, upper = 560.0, 560.0 + away
    picture = drawn_plate((lower, 450))
    above = drawn_plate((upper, 450))
    on_it = np.hypot(np.arange(1200)[None] - upper, np.arange(900)[:, None] - 450)
    picture[(on_it <= RIM) & (on_it >= TIP)] = above[(on_it <= RIM) & (on_it >= TIP)]
    said = Corrections(rims=tuple(Rims(ring_points(x, RIM), ring_points(x, HOLE)) for x in (upper, lower)))
    parts = sorted(find_parts(photo_of(picture), said), key=lambda part: part.outer.cx)
    assert ["covered" in part.problems for part in parts] == [covered, False]
