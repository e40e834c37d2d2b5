"""Plates that others half hide are found beside one in plain view, and nothing else is."""

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest

from wearview.parts.candidate import Plate, plate_between, seen_between
from wearview.parts.choose import NEVER, select
from wearview.parts.edges import find_edges
from wearview.parts.find import _best_plane, find_plates, measured_rings, smoothed
from wearview.parts.hidden import with_hidden
from wearview.parts.learned import LABELS, LINING, FaceSeen, Sight
from wearview.parts.masks import polar_of
from wearview.parts.part import Ellipse, radius_ratio
from wearview.parts.rims import ANGLES, Rim
from wearview.parts.stack import _circle_round, settle

SIZE = (1200, 900)
RIM, HOLE, TIP, TEETH = 160.0, 110.0, 100.0, 30  # pixels
CELL = 6.25  # working-copy pixels
FAN = [(300.0 + 65 * k, 450.0 - 12 * k + 6 * (k % 2)) for k in range(5)]  # the last lies on top


ROW = [(200.0, 450.0), (590.0, 455.0), (980.0, 445.0)]


def drawn_fan(centres) -> tuple[np.ndarray, Sight]:
    """A picture of inner-toothed plates on each other, and what a network that knows faces sees of it."""
    x, y = np.meshgrid(np.arange(SIZE[0]), np.arange(SIZE[1]))
    grey, face = np.full(SIZE[::-1], 70.0), np.zeros(SIZE[::-1], np.float32)
    for k, (cx, cy) in enumerate(centres):
        radius, angle = np.hypot(x - cx, y - cy), np.arctan2(y - cy, x - cx)
        tooth = (radius < HOLE) & (radius > TIP) & (np.cos(TEETH * angle) > 0)
        ring = (radius <= RIM) & (radius >= HOLE)
        grey[tooth], grey[ring] = 190, 120 + 12 * k
        face[tooth], face[ring] = 0, 1
    noisy = grey + np.random.default_rng(5).normal(0, 2, grey.shape)
    rgb8 = cv2.merge([np.clip(noisy, 0, 255).astype(np.uint8)] * 3)
    chance = np.zeros((len(LABELS), 144, 192), np.float32)
    chance[LINING] = cv2.resize(face, (192, 144), interpolation=cv2.INTER_AREA)
    chance[0] = 1 - chance[LINING]
    return cv2.GaussianBlur(rgb8, (0, 0), 0.7), Sight(chance, np.zeros((2, 144, 192), np.float32), CELL)


def middles(plates) -> list[tuple[float, float]]:
    return sorted((p.outer.ellipse.cx, p.outer.ellipse.cy) for p in plates)


def test_every_plate_of_a_fan_is_found_and_none_twice():
    picture, sight = drawn_fan(FAN)
    found = find_plates(picture, None, sight)
    assert np.array(middles(found)) == pytest.approx(np.array(FAN), abs=1.5)
    assert [p.radius for p in found] == pytest.approx([RIM] * len(FAN), rel=0.02)


def test_a_face_that_no_rim_bounds_adds_no_plate():
    picture, sight = drawn_fan(FAN[-1:])
    sight.chance[LINING, 60:100, 10:70] = 1  # something that the network takes for lining
    assert np.array(middles(find_plates(picture, None, sight))) == pytest.approx(np.array(FAN[-1:]), abs=1.5)


def test_a_photo_in_which_nothing_is_round_is_taken_as_seen_from_above():
    noise = np.random.default_rng(2).integers(0, 255, (600, 800, 3), dtype=np.uint8)
    plane, _, rings = _best_plane(find_edges(cv2.GaussianBlur(noise, (0, 0), 3)), (800, 600), 700.0)
    assert rings == []
    assert math.hypot(*plane.slant) < 0.1


def test_no_plate_of_a_fan_takes_metal_of_others_beyond_its_edge_without_teeth():
    picture, sight = drawn_fan(FAN)
    visible = settle(find_plates(picture, None, sight), picture.shape[:2], sight)
    assert len(visible) == len(FAN)
    for each in visible:
        rows, columns = np.nonzero(each.masks.part)
        x, y = columns + each.masks.origin[0], rows + each.masks.origin[1]
        assert each.plate.outer.ellipse.radius_of(x, y).max() < 1.02


def test_outside_the_circle_round_a_plate_lies_nothing_of_it():
    _, plate, _ = others_than(ROW[1], drawn_fan(ROW))
    x, y = np.meshgrid(np.arange(-200.0, 1400, 3), np.arange(-400.0, 1300, 3))
    # As slanted as plates are and more, the inner rim off the outer one's middle, with teeth outside.
    for tilt, tip in ((1.0, 1.0), (0.8, 1.1), (0.5, 1.15)):
        outer, inner = Ellipse(600, 450, 320, 320 * tilt, 20), Ellipse(606, 446, 216, 226 * tilt, 35)
        rims = {"outer": replace(plate.outer, ellipse=outer), "inner": replace(plate.inner, ellipse=inner)}
        rays = replace(plate.rays, ratio=radius_ratio(outer, inner))
        slanted = replace(plate, rays=rays, outside=replace(plate.outside, tip=tip), **rims)
        across, down, far = _circle_round(slanted)
        body = polar_of(outer, inner, x, y)[0] < max(1.0, tip)
        assert body.sum() > 1000
        assert np.hypot(x - across, y - down)[body].max() <= far


def others_than(at, row) -> tuple[list[Plate], Plate, tuple]:
    """The plates of a row but one, that one, and what else `with_hidden` asks for."""
    picture, sight = row
    smooth = smoothed(picture)
    rings, laid, plane, scale = measured_rings(picture, smooth, None, sight)
    (one,) = [p for p in select(rings) if math.dist((p.outer.ellipse.cx, p.outer.ellipse.cy), at) < 5]
    return [p for p in select(rings) if p is not one], one, (laid, smooth, plane, scale, sight)


@pytest.mark.parametrize("at", ROW)
def test_a_plate_that_neither_rings_nor_the_network_show_is_found_by_the_size_of_the_others(at):
    others, _, said = others_than(at, drawn_fan(ROW))
    x = round(at[0] / CELL)
    said[-1].chance[LINING, :, max(0, x - 30) : x + 30] = 0
    assert np.array(middles(with_hidden(others, [], *said))) == pytest.approx(np.array(ROW), abs=1.5)


def test_where_no_plate_lies_none_is_found_by_size():
    others, plate, said = others_than(ROW[1], drawn_fan(ROW[:2]))
    assert with_hidden([*others, plate], [], *said) == [*others, plate]


@pytest.mark.parametrize(
    ("at", "wider", "taken"),
    [(ROW[2], 1.0, True), (ROW[2], 1.1, False), ((980.0, 250.0), 1.0, False)],
    ids=["next in the row", "of another size", "off the row"],
)
def test_a_ring_of_which_the_network_sees_nothing_is_a_plate_where_a_row_of_its_size_goes_on(
    at, wider, taken
):
    others, plate, said = others_than(ROW[1], drawn_fan(ROW[:2]))
    rims = {
        name: replace(
            rim := getattr(plate, name),
            ellipse=Ellipse(*at, rim.ellipse.major * wider, rim.ellipse.minor * wider, 0.0),
        )
        for name in ("outer", "inner")
    }
    none = replace(plate.inside, count=0, regularity=0.0, lock=0.0)
    blind = replace(
        plate, **rims, radius=plate.radius * wider, inside=none, outside=none, seen=FaceSeen(0.0, 0.0)
    )
    assert blind.chance < NEVER
    assert (blind in with_hidden([*others, plate], [blind], *said)) == taken


def with_hole(plate: Plate, radius: float, seen: float, said) -> Plate:
    """The plate with another inner rim, of which a share is seen."""
    outer = plate.outer.ellipse
    rim = Rim(
        Ellipse(outer.cx, outer.cy, 2 * radius, 2 * radius, 0.0), np.arange(ANGLES) < seen * ANGLES, radius
    )
    _, smooth, _, _, sight = said
    return plate_between(smooth, plate.outer, rim, seen_between(sight, plate.outer, rim))


def test_a_rim_laid_where_something_lies_in_a_plate_is_put_where_the_others_have_theirs():
    others, plate, said = others_than(ROW[1], drawn_fan(ROW))
    wrong = with_hole(plate, 70.0, 0.4, said)
    (right,) = [
        p for p in with_hidden([*others, wrong], [], *said) if p.outer is not plate.outer and p not in others
    ]
    assert right.ratio == pytest.approx(HOLE / RIM, abs=0.01)


def test_a_plate_of_another_width_keeps_its_rims():
    others, plate, said = others_than(ROW[1], drawn_fan(ROW))
    narrow = [with_hole(p, 130.0, 1.0, said) for p in others]  # as steels beside a lined plate are
    assert plate in with_hidden([*narrow, plate], [], *said)


@pytest.mark.parametrize("upper", [0, 1])
def test_where_the_rims_say_nothing_the_network_says_which_plate_lies_on_top(upper):
    picture, sight = drawn_fan(FAN[:2])
    plates = sorted(find_plates(picture, None, sight), key=lambda p: p.outer.ellipse.cx)
    unseen = [
        replace(
            p, **{name: replace(getattr(p, name), seen=np.zeros(ANGLES, bool)) for name in ("outer", "inner")}
        )
        for p in plates
    ]
    at = np.array(FAN[upper]) / CELL
    y, x = np.mgrid[:144, :192]
    sight.offset[:] = at[0] - x, at[1] - y
    visible = settle(unseen, picture.shape[:2], sight)
    assert visible[upper].hidden_share == 0
    assert visible[1 - upper].hidden_share > 0.1
