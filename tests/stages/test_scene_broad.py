"""The broad catalogue is as varied as promised, keeps apart what it must; a hidden face is read as seen."""

from __future__ import annotations

import numpy as np
import pytest

from tests.scenes import broad
from tests.scenes.broad import broad_scenes, part_free_scenes, relit_scenes
from tests.scenes.catalogue import DEFECTS, Scene, accuracy_scenes
from tests.scenes.glaze_scenes import HEAT, glaze_scenes
from tests.scenes.linings import TOO_DARK_L, lining_named
from tests.scenes.look import Look
from tests.scenes.make import make_skin, random_plate_shape
from tests.scenes.pairs import drawn_pair_scenes, fresh_pair_scenes, pair_scenes
from tests.scenes.round_things import MORE_ROUND_THINGS
from tests.scenes.skin import FRICTION, KINDS, STEEL, Skin
from tests.stages.test_scene_geometry import volume

SCENES = broad_scenes()


def in_third(tuned: bool) -> list[Scene]:
    return [s for s in SCENES if s.tuned == tuned and not s.clean]


@pytest.mark.parametrize("tuned", [True, False])
def test_each_third_shows_every_kind_level_and_way_to_go_wrong(tuned):
    scenes = in_third(tuned)
    assert len(scenes) == (160 if tuned else 80)
    assert {s.defect for s in scenes} - {None} == set(DEFECTS)
    assert {p.kind for s in scenes for p in s.parts} == set(KINDS)
    assert 0.6 <= sum(s.neutral is not None for s in scenes) / len(scenes) <= 0.75
    levels = [
        p.level
        for s in scenes
        if s.gradeable
        for p in s.parts
        if p.lining is None or lining_named(p.lining).lab[0] >= TOO_DARK_L
    ]
    for level in range(5):
        assert levels.count(level) >= 0.10 * len(levels)


def test_untouched_scenes_share_no_lining_with_tuned_ones_and_no_seed_with_the_first_catalogue():
    worn = {
        tuned: {p.lining for s in in_third(tuned) for p in s.parts if p.lining} for tuned in (True, False)
    }
    assert not worn[True] & worn[False]
    assert all(lining_named(name).held_out for name in worn[False])
    assert not any(lining_named(name).held_out for name in worn[True])
    assert not {s.seed for s in SCENES} & {s.seed for s in accuracy_scenes()}
    assert len({s.id for s in SCENES}) == len(SCENES)


def test_forty_scenes_are_relit_and_three_hundred_have_no_part():
    assert [sum(s.tuned == tuned for s in relit_scenes()) for tuned in (True, False)] == [27, 13]
    assert all(s.gradeable and s.neutral for s in relit_scenes())
    assert len(part_free_scenes()) == 300
    assert not any(s.parts for s in part_free_scenes())


def test_further_scenes_are_to_be_tuned_to_and_share_nothing_with_untouched_ones():
    further, others = broad.further_scenes(), [s for s in (*SCENES, *broad.fresh_scenes()) if not s.tuned]
    assert sum(not s.clean for s in further) == 120
    assert all(s.tuned for s in (*further, *broad.further_part_free_scenes()))
    assert not {s.seed for s in further} & {s.seed for s in others}
    assert not {p.lining for s in further for p in s.parts} & {
        p.lining for s in others for p in s.parts if p.lining
    }
    assert not {s.seed for s in broad.further_part_free_scenes()} & {s.seed for s in part_free_scenes()}


@pytest.mark.parametrize("name", ["second_fresh", "third_fresh", "any_bench"])
def test_later_scenes_share_nothing_with_any_other(name):
    makers = {
        n: getattr(broad, f"{n}_scenes")
        for n in ("fresh", "second_fresh", "third_fresh", "further", "any_bench")
    }
    scenes = makers.pop(name)()
    others = (*SCENES, *(s for make in makers.values() for s in make()), *glaze_scenes(), *glaze_scenes(HEAT))
    assert sum(not s.clean for s in scenes) == 120
    assert {s.tuned for s in scenes} == {name == "any_bench"}
    assert not {s.seed for s in scenes} & {s.seed for s in others}
    assert not {s.id for s in scenes} & {s.id for s in others}
    assert not {p.lining for s in scenes for p in s.parts if p.lining} & {
        p.lining for s in others for p in s.parts if p.lining
    }


def test_drawn_pairs_are_to_be_fitted_to_and_no_catalogue_has_their_linings():
    drawn = drawn_pair_scenes()
    linings = {s.parts[0].lining for s in drawn}
    assert all(s.tuned for s in drawn)
    assert len(drawn) == 3 * len(linings)
    others = (*SCENES, *accuracy_scenes(), *pair_scenes(), *fresh_pair_scenes())
    assert not linings & {p.lining for s in others for p in s.parts}
    assert not {s.id for s in drawn} & {s.id for s in others}
    clean = {s.id: s.parts[0].lining for s in drawn if s.reference is None}
    assert all(clean[s.reference] == s.parts[0].lining for s in drawn if s.reference)


@pytest.mark.parametrize("name", sorted(MORE_ROUND_THINGS))
def test_a_round_thing_is_solid_and_stands_on_the_bench(name):
    thing = MORE_ROUND_THINGS[name](np.random.default_rng(3))
    assert all(volume(mesh) > 0 for mesh, _ in thing.pieces)
    assert min(mesh.vertices[:, 2].min() for mesh, _ in thing.pieces) > -0.2


def worn_plate(seed: int, groove_seed: int | None) -> Skin:
    shape = random_plate_shape(np.random.default_rng(4), FRICTION)
    look = Look(grooves="radial", groove_seed=groove_seed, oil=False, ink=False)
    lining = lining_named("drawn 3")
    return make_skin(
        np.random.default_rng(seed), FRICTION, shape, 2, lining=lining, look=look, resolution=480
    )


def grooves_of(skin: Skin) -> np.ndarray:
    return skin.height < -0.12  # grain is a tenth of this deep


def test_plates_of_one_pack_are_cut_by_one_tool():
    one, two, other = (grooves_of(worn_plate(seed, cut)) for seed, cut in ((1, 7), (2, 7), (2, 8)))
    assert (one & two).sum() > 0.8 * one.sum()
    assert (one & other).sum() < 0.2 * one.sum()


def heat_of(readings: dict) -> float:
    """Median Delta E of a lining, share of a steel that is brown or purple."""
    if readings["heat_tint"] is None:
        return readings["delta_e00_median"]
    return readings["heat_tint"]["area"]["brown"] + readings["heat_tint"]["area"]["purple"]


@pytest.mark.parametrize("kind", [FRICTION, STEEL])
def test_what_is_hidden_of_a_face_is_left_out_of_its_truth(kind):
    rng = np.random.default_rng(11)
    shape = random_plate_shape(rng, kind)
    skin = make_skin(rng, kind, shape, 2, look=Look(heat="one side", by_glaze=False), resolution=480)
    assert skin.read is not None
    rows, columns = np.mgrid[:480, :480] < 240
    whole = heat_of(skin.read(rows | ~rows))
    assert whole == heat_of(skin.truth)
    halves = [heat_of(skin.read(seen)) for seen in (rows, ~rows, columns, ~columns)]
    assert min(halves) < 0.8 * whole, "the cool side alone shows less heat"
    assert max(halves) > whole, "the hot side alone shows more"


def test_only_a_number_draws_a_lining():
    with pytest.raises(KeyError):
        lining_named("drone 3")
