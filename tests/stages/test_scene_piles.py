"""Piled plates lie as gravity would have them; what is hidden or on edge is not asked for."""

from __future__ import annotations

import numpy as np
import pytest

from tests.scenes.facts import EDGE_ON_DEG, _not_gradeable
from tests.scenes.geometry import Pose, look_at
from tests.scenes.layout import about
from tests.scenes.mesh import plate_solid
from tests.scenes.piled import piled_scenes
from tests.scenes.piles import DRUM, LAYOUTS, ON_EDGE, placed
from tests.scenes.render import Maps, maps_of
from tests.scenes.second import second_scenes, stage_arrays
from tests.scenes.shapes import random_plate_shape
from tests.scenes.shoot import build
from tests.scenes.skin import FRICTION, STEEL, PlateShape

SCENES = piled_scenes()


def shapes_of(seed: int, n: int) -> list[PlateShape]:
    rng = np.random.default_rng(seed)
    friction = random_plate_shape(rng, FRICTION)
    steel = random_plate_shape(rng, STEEL, like=friction)
    return [(steel, friction)[k % 2] for k in range(n)]


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_no_plate_of_a_pile_runs_into_the_bench_or_another_plate(layout, seed):
    shapes = shapes_of(seed, 4)
    poses, _ = placed(np.random.default_rng(seed), layout, shapes, np.array([1.0, 0.0]))
    for k, (shape, pose) in enumerate(zip(shapes, poses, strict=True)):
        solid = plate_solid(shape, (shape.reach, shape.reach))
        points = pose.apply(np.concatenate([solid.top.vertices, solid.metal_edges.vertices]))
        assert points[:, 2].min() > -0.05
        for other, below in zip(poses[:k], shapes[:k], strict=True):
            local = other.undo(points)
            far = np.hypot(local[:, 0], local[:, 1])
            inside = (far < below.core_outer_r - 0.5) & (far > below.core_inner_r + 0.5)
            sunk = inside & (local[:, 2] > 0.1) & (local[:, 2] < below.thickness_mm - 0.1)
            assert not sunk.any(), f"plate {k} runs into one below it"


def test_a_drum_holds_its_plates():
    shapes = shapes_of(5, 6)
    poses, things = placed(np.random.default_rng(5), DRUM, shapes, np.array([1.0, 0.0]))
    drum = things[0][0]
    wall = drum.pieces[0][0].vertices
    assert np.hypot(wall[:, 0], wall[:, 1]).min() > max(s.core_outer_r for s in shapes)
    assert wall[:, 2].max() > poses[-1].shift[2] + shapes[-1].thickness_mm


@pytest.mark.parametrize(
    ("tilt", "reason"), [(0, None), (EDGE_ON_DEG - 2, None), (EDGE_ON_DEG + 2, "edge view")]
)
def test_a_plate_is_on_edge_from_the_angle_on_that_is_said(tilt, reason):
    camera = look_at(np.zeros(3), 600.0, 0.0, 0.0, 0.0, (1200, 900), 1000.0)
    pose = Pose(about(np.array([1.0, 0, 0]), np.radians(tilt)), np.zeros(3))
    assert _not_gradeable(camera, pose, 0.0, 1.0) == reason
    assert _not_gradeable(camera, pose, 0.0, 0.4) == (reason or "covered")


def test_the_last_plate_of_an_on_edge_row_stands():
    poses, _ = placed(np.random.default_rng(1), ON_EDGE, shapes_of(1, 3), np.array([0.0, 1.0]))
    assert [abs(p.rotation[2, 2]) > 0.99 for p in poses] == [True, True, False]
    assert abs(poses[-1].rotation[2, 2]) < 0.12


def test_the_catalogue_holds_every_pile_in_both_sets_and_shares_no_lining_between_them():
    assert len(SCENES) == len({s.id for s in SCENES}) == 90
    for tuned, count in ((True, 60), (False, 30)):
        chosen = [s for s in SCENES if s.tuned == tuned]
        assert len(chosen) == count
        assert {s.layout for s in chosen} == set(LAYOUTS)
    linings = [{p.lining for s in SCENES if s.tuned == t for p in s.parts if p.lining} for t in (True, False)]
    assert not linings[0] & linings[1]


def test_the_second_renderer_is_given_thirty_scenes_of_both_sets_and_their_clean_photos():
    scenes = second_scenes()
    assert sum(not s.clean for s in scenes) >= 30
    assert {s.tuned for s in scenes} == {True, False}
    assert {s.reference for s in scenes if s.reference} <= {s.id for s in scenes}


def test_the_second_renderer_is_given_all_that_the_first_sees():
    scene = next(s for s in second_scenes() if s.clean)
    built = build(scene)
    arrays = stage_arrays(built.stage, 4, 1, 1)
    lamps = [name for name in arrays if name.endswith(".radiance")]
    pieces = sum(len(t.thing.pieces) for t in built.stage.things)
    assert int(arrays["meshes"]) == 3 + pieces + 1 + len(lamps)  # a friction plate is three meshes
    assert len(lamps) == len(built.stage.light.lamps)
    made = maps_of(built.stage.bench, 1.0)
    assert isinstance(made, Maps)
    assert np.linalg.norm(made.normal, axis=-1) == pytest.approx(1.0, abs=1e-5)
