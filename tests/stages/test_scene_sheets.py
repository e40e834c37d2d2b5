"""The mat on a rendered bench is what the program prints and lies where it should; the plates laid on it."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from tests.scenes.bench import cardboard
from tests.scenes.four_lights import MAT, SHEET, four_light_scenes
from tests.scenes.linings import TOO_DARK_L, lining_named
from tests.scenes.printed import random_inks
from tests.scenes.sheets import chart_colours, laid_on
from wearview.colour import linear_to_srgb
from wearview.mat import find_mat
from wearview.mat.chart import published_linear


def test_the_mat_lies_on_the_bench_where_and_as_it_is_turned():
    rng, half, px = np.random.default_rng(3), 230.0, 3.0
    shift, turn_deg, at_deg = np.array([20.0, -12.0]), 14.0, 75.0
    bench = laid_on(cardboard(rng, (half, half), px), tuple(shift), turn_deg, random_inks(rng), at_deg)
    mat = find_mat(np.round(255 * linear_to_srgb(bench.albedo)).astype(np.uint8))
    assert mat is not None
    assert mat.problem is None
    turn, at = np.radians([turn_deg, at_deg])
    for right, down in ((0.0, 0.0), (90.0, 0.0), (0.0, 120.0)):
        on_bench = right * np.array([np.cos(at), np.sin(at)]) + down * np.array([np.sin(at), -np.cos(at)])
        x, y = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]]) @ (on_bench - shift)
        in_map = np.array([(x + half) * px - 0.5, (half - y) * px - 0.5])  # rows run down, y up
        np.testing.assert_allclose(mat.plane.to_px(np.array([right, down])), in_map, atol=0.5)


def test_the_charts_colours_are_those_of_the_other_library():
    # Two routes from the published colours to linear sRGB; cyan is clipped here, and not there.
    np.testing.assert_allclose(chart_colours(), published_linear("after-2014").clip(0.002, 1), atol=2e-3)


@pytest.mark.parametrize("by", [MAT, SHEET])
def test_the_plates_of_fourteen_shops_show_every_level_and_keep_tuned_linings_apart(by):
    scenes = [s for s in four_light_scenes(by) if not s.clean]
    parts = [(s.tuned, part) for s in scenes for part in s.parts]
    assert len(parts) == 42
    levels = Counter(part.level for _, part in parts)
    assert all(levels[level] >= 0.10 * len(parts) for level in range(5))
    linings = {(tuned, lining_named(part.lining).held_out) for tuned, part in parts}
    assert linings == {(True, False), (False, True)}
    assert all(lining_named(part.lining).lab[0] > TOO_DARK_L for _, part in parts)
