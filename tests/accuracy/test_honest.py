"""The tables of trust and of deposits, from hand-written parts."""

import numpy as np
import pytest

from tests.accuracy.deposits import OTHER, STRAW, Told
from tests.accuracy.deposits import table as deposits_table
from tests.accuracy.honest import Part, table
from tests.scenes.deposits import DEPOSITS, KINDS, VARNISH, lay
from tests.scenes.grid import plate_grid
from tests.scenes.shapes import random_plate_shape
from tests.scenes.skin import STEEL
from wearview.terms import TINTS


def part(scene, method, error, stated, true, level, dark=False, chance=0.95):
    return Part(scene, True, method, True, dark, error, stated, true, level, chance)


def test_errors_coverage_and_refusals_stand_by_light():
    parts = [
        part("a", "paper", 1.0, 3.0, 0, 0),
        part("a", "paper", 4.0, 3.0, 2, None),
        part("b", "none", 9.0, 8.0, 0, 2),
        part("b", "metal", 1.0, 8.0, None, 3, dark=True),
    ]
    text = table("these", parts)
    [paper] = [line.split() for line in text.splitlines() if line.startswith("paper")]
    assert paper[1:] == ["2.50", "4.00", "2", "2.5", "0.50", "3.00", "0.50"]
    assert "too dark to show heat: 1, graded 1" in text
    assert "1 confident grades, two levels off 1" in text


def test_straw_taken_for_varnish_stands_in_its_cell():
    counts = np.zeros((len(KINDS), len(TINTS)), np.int64)
    counts[STRAW, STRAW], counts[STRAW, OTHER] = 60, 20
    counts[KINDS.index(VARNISH), OTHER] = 20
    told = Told("d000-1", True, counts, 1, 1, False)
    assert told.right == pytest.approx(0.8)
    assert told.deposit == VARNISH
    rows = deposits_table("these", [told]).splitlines()
    assert [row.split()[2:] for row in rows if row.startswith("  truly")] == [["60", "20"], ["0", "20"]]


@pytest.mark.parametrize("name", DEPOSITS)
def test_a_deposit_covers_part_of_the_face_and_takes_blue_off_it(name):
    rng = np.random.default_rng(4)
    grid = plate_grid(random_plate_shape(rng, STEEL), 400)
    deposit = lay(rng, grid, name)
    assert 0.08 < deposit.there[grid.face].mean() < 0.65
    assert KINDS[deposit.kind] == name
    bare = np.full((*grid.shape, 3), 0.45, np.float32)
    seen = deposit.on_albedo(bare)
    assert (seen[..., 2] <= bare[..., 2] + 1e-6).all()  # rust returns more red than steel, never more blue
    assert np.array_equal(seen[deposit.cover == 0], bare[deposit.cover == 0])
    smoother = deposit.on_roughness(np.full(grid.shape, 0.3, np.float32))[deposit.there].mean() < 0.3
    assert smoother == (name == VARNISH)
