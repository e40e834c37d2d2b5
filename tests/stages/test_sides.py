"""Which edge carries a plate's teeth, where rows of them show on both or on neither."""

import cv2
import numpy as np
import pytest

from wearview.parts import Ellipse
from wearview.parts.candidate import Plate, plate_between
from wearview.parts.learned import LABELS, LINING, TEETH, FaceSeen, Sight
from wearview.parts.rims import ANGLES, Rim
from wearview.parts.sides import on_one_edge

RADIUS, HOLE, DEPTH = 130.0, 90.0, 10.0  # pixels
SIZE = (400, 400)
SURE = {"lining": 2.0, "steel": -2.0, "no idea": 0.0}


def plate_with_rows(outside: int, inside: int, material: str = "no idea", contrast: float = 90.0) -> Plate:
    """A plate with so many teeth beyond either rim, as where another plate or a drum shows beside it."""
    y, x = np.mgrid[: SIZE[0], : SIZE[1]] - 200.0
    radius, angle = np.hypot(x, y), np.arctan2(y, x)
    grey = np.full(SIZE, 60.0)
    grey[(radius <= RADIUS) & (radius >= HOLE)] += contrast
    for count, row in (
        (outside, (radius > RADIUS) & (radius < RADIUS + DEPTH)),
        (inside, (radius < HOLE) & (radius > HOLE - DEPTH)),
    ):
        if count:
            grey[row & (np.cos(count * angle) > 0)] += contrast
    noisy = grey + np.random.default_rng(3).normal(0, 2, SIZE)
    smooth = cv2.GaussianBlur(cv2.merge([np.clip(noisy, 0, 255).astype(np.uint8)] * 3), (0, 0), 1.0)
    everywhere = np.ones(ANGLES, bool)
    outer, inner = (Rim(Ellipse(200.0, 200.0, 2 * r, 2 * r, 0.0), everywhere, r) for r in (RADIUS, HOLE))
    return plate_between(smooth, outer, inner, FaceSeen(1.0, 0.0, SURE[material]))


def teeth_of(plate: Plate) -> tuple[int, int]:
    return plate.outside.count, plate.inside.count


def test_without_a_word_of_the_network_the_more_evident_row_is_the_plates():
    (outer,) = on_one_edge([plate_with_rows(36, 0)], None)
    (inner,) = on_one_edge([plate_with_rows(0, 30)], None)
    assert (teeth_of(outer), teeth_of(inner)) == ((36, 0), (0, 30))


# Hub splines are cut in friction plates, drum lugs on steels (common practice, no source).
@pytest.mark.parametrize(("material", "teeth"), [("lining", (0, 30)), ("steel", (36, 0))])
def test_where_both_edges_show_teeth_the_material_says_whose_they_are(material, teeth):
    (plate,) = on_one_edge([plate_with_rows(36, 30, material)], None)
    assert teeth_of(plate) == teeth


@pytest.mark.parametrize(("material", "rows"), [("lining", (36, 0)), ("steel", (0, 30))])
def test_a_pack_the_other_way_round_keeps_its_teeth_where_they_show(material, rows):
    (plate,) = on_one_edge([plate_with_rows(*rows, material)], None)
    assert teeth_of(plate) == rows


def test_a_plate_that_shows_no_teeth_has_them_as_the_others_of_its_pack():
    (_, bare) = on_one_edge([plate_with_rows(0, 30, "steel"), plate_with_rows(0, 0, "steel")], None)
    assert teeth_of(bare) == (0, 30)


def test_a_plate_of_another_material_does_not_say_where_teeth_are():
    (_, bare) = on_one_edge([plate_with_rows(0, 30, "lining"), plate_with_rows(0, 0, "steel")], None)
    assert bare.inside.count == 0


def test_teeth_that_the_network_sees_decide_between_two_rows():
    cells = (100, 100)
    y, x = np.mgrid[: cells[0], : cells[1]]
    far = np.hypot(x - 49.6, y - 49.6) * 4
    chance = np.zeros((len(LABELS), *cells), np.float32)
    chance[TEETH] = 0.9 * ((far < HOLE) & (far > HOLE - DEPTH - 4))
    chance[LINING] = (far < RADIUS) & (far > HOLE)
    sight = Sight(chance, np.zeros((2, *cells), np.float32), 4.0)
    (plate,) = on_one_edge([plate_with_rows(36, 30)], sight)
    assert teeth_of(plate) == (0, 30)
