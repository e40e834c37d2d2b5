"""Paint steel and reaction plates."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.scenes import deposits, texture, truth, wear
from tests.scenes.grid import Grid
from tests.scenes.lined import bare_core
from tests.scenes.look import Look
from tests.scenes.skin import Skin
from tests.scenes.texture import Field
from tests.scenes.wear import FAMILY_FROM, Spot, smooth_noise

ATTEMPTS = 12  # redraws of the oxide while it reads another level than asked; cheap, nothing is painted yet
HEAT_KINDS = ("even", "inner", "outer", "middle", "sectors", "one side")
STRONG_SHEEN = 4.0  # relief of a finish that was asked for, against the usual
STRAW, BROWN, PURPLE, BLUE, GREY = (float(step) for step in FAMILY_FROM)


def paint_steel(rng: np.random.Generator, kind: str, grid: Grid, level: int, look: Look) -> Skin:
    """A used steel at heat level ``level``; truth holds what its oxide and marks read."""
    other, smear = _transferred_lining(rng, grid)
    deposit = deposits.lay(rng, grid, look.deposit) if look.deposit else None
    if deposit is not None:
        other = other | deposit.there
    best: tuple[Field, dict[str, Any], str] | None = None
    for _ in range(ATTEMPTS):
        oxide, spots, heat_kind = _oxide(rng, grid, level, look)
        readings = truth.read_steel(grid, wear.family_of(oxide), other)
        astray = len(spots) > 1 and readings["heat_tint"]["hot_spots"]["count"] != len(spots)
        if readings["level"] == level and not astray:
            best = oxide, readings, heat_kind
            if readings["margin_ok"]:
                break
    if best is None:
        raise RuntimeError(f"no draw of a {kind} came out at level {level} in {ATTEMPTS} attempts")
    oxide, readings, heat_kind = best
    family = wear.family_of(oxide)

    def read(seen: NDArray[np.bool_]) -> dict[str, Any]:
        return truth.read_steel(grid, family, other, seen)

    skin = _finish(rng, kind, grid, oxide, smear, readings, read, heat_kind, look)
    if deposit is None:
        return replace(
            skin, kinds=np.where(other, deposits.KINDS.index(deposits.TRANSFER), family).astype(np.uint8)
        )
    kinds = np.where(smear > 0.5, deposits.KINDS.index(deposits.TRANSFER), family)
    return _under(skin, deposit, grid, np.where(deposit.there, deposit.kind, kinds))


def _under(skin: Skin, deposit: deposits.Deposit, grid: Grid, kinds: NDArray[np.integer]) -> Skin:
    """A steel with a deposit on its face."""
    on = replace(deposit, cover=deposit.cover * grid.cover, relief=deposit.relief * grid.cover)
    return replace(
        skin,
        albedo=on.on_albedo(skin.albedo),
        roughness=on.on_roughness(skin.roughness),
        metal=skin.metal * (1 - on.hides * on.cover),
        height=on.on_relief(skin.height),
        kinds=kinds.astype(np.uint8),
    )


def _oxide(
    rng: np.random.Generator, grid: Grid, level: int, look: Look
) -> tuple[Field, tuple[Spot, ...], str]:
    """Oxide step per pixel, the hot spots placed in it and the kind of heat."""
    kind = look.heat or str(rng.choice(HEAT_KINDS))
    shape, face = wear.heat_shape(rng, grid, kind), grid.face
    by_spots = (
        look.spots is not None or (level == 3 and rng.random() < 0.45) or (level == 4 and rng.random() < 0.3)
    )
    if by_spots and level >= 3 and (look.spots is None or look.spots >= 3):
        ground = wear.scale_to_areas(shape, face, STRAW * rng.uniform(0.3, 2.2), 0.05, None, 0)
        oxide = wear.cap(ground, 1.3)
        count = look.spots or int(rng.integers(4, 11))
        if level == 4:
            spots = _spots_covering(rng, grid, rng.uniform(0.32, 0.40))
        else:
            spots = wear.place_spots(rng, grid, count, False, _one_sided(rng, look), rng.uniform(3.3, 4.7))
        return wear.burn_spots(rng, grid, oxide, spots), spots, kind
    if level == 0:
        oxide = wear.scale_to_areas(shape, face, STRAW * rng.uniform(0.3, 0.9), 0.03, None, 0)
    else:
        begins = (STRAW, BROWN, BLUE, GREY)[level - 1]
        ends = (BROWN, BLUE, GREY, None)[level - 1]
        share = rng.uniform(0.19, 0.65 if level < 3 else 0.5)
        oxide = wear.scale_to_areas(shape, face, begins, share, 0.96 * ends if ends else None, 0.02)
        oxide = wear.cap(oxide, 0.985 * ends if ends else 6.2)
    wanted = look.spots if look.spots is not None else int(level < 2 and rng.random() < 0.25)
    if not wanted:
        return oxide, (), kind
    spots = wear.place_spots(rng, grid, wanted, False, False, rng.uniform(2.2, 4.4))
    return wear.burn_spots(rng, grid, oxide, spots), spots, kind


def _one_sided(rng: np.random.Generator, look: Look) -> bool:
    return look.one_sided if look.one_sided is not None else bool(rng.random() < 0.25)


def _spots_covering(rng: np.random.Generator, grid: Grid, share: float) -> tuple[Spot, ...]:
    """As many large spots as cover ``share`` of the face, or as fit."""
    diameter = min(0.84 * grid.width_mm, 23.0, grid.scale_mm / 6.6)
    face_mm2 = grid.width_mm * grid.length_mm
    count = int(np.ceil(share * face_mm2 / (np.pi / 4 * diameter**2)))
    count = min(count, int(grid.length_mm / (1.12 * diameter)))
    return wear.place_spots(rng, grid, count, True, False, float(rng.uniform(3.6, 4.6)))


def _transferred_lining(rng: np.random.Generator, grid: Grid) -> tuple[np.ndarray, Field]:
    """Smears of lining material and rust specks: mask and cover 0..1. Most plates have none."""
    cover = np.zeros(grid.shape, np.float32)
    if rng.random() < 0.3:
        streaks = texture.ring_noise(rng, grid, 0.35, 9.0)
        streaks += smooth_noise(rng, grid.shape, 12 / grid.mm_per_px) + 0.5 * smooth_noise(
            rng, grid.shape, 2.5
        )
        edge = np.quantile(streaks[grid.face][::9], 1 - rng.uniform(0.004, 0.03))
        cover = np.clip((streaks - edge) / 1.2 + 0.5, 0, 1).astype(np.float32)
    if rng.random() < 0.3:
        cover = np.maximum(cover, texture.specks(rng, grid, int(rng.integers(3, 25)), (0.3, 1.2)))
    return cover > 0.5, cover


def _finish(
    rng: np.random.Generator,
    kind: str,
    grid: Grid,
    oxide: Field,
    smear: Field,
    readings: dict[str, Any],
    read: Callable[[NDArray[np.bool_]], dict[str, Any]],
    heat_kind: str,
    look: Look,
) -> Skin:
    lay = str(rng.choice(["turned", "turned", "cross hatch", "tumbled"]))
    ground = texture.ground_metal(rng, grid, look.finish or lay)
    scores = texture.round_scratches(rng, grid, int(rng.integers(10, 60)))
    strays = texture.stray_scratches(rng, grid, int(rng.integers(5, 40)))
    blotch = smooth_noise(rng, grid.shape, 6 / grid.mm_per_px, 4)
    # heat colour shimmers a little with the grinding marks: ridges oxidise first
    shown = np.clip(oxide * (1 + 0.025 * blotch) + 0.03 * ground * np.clip(oxide, 0, 1), 0, 6.3)
    albedo = wear.tint_colour(shown, rng.uniform(0.6, 1.0), rng.uniform(-5, 3))
    rim = np.exp(
        -((np.clip(grid.edge_mm, 0, None) / rng.uniform(0.6, 1.6)) ** 2)
    )  # never touched by the lining
    albedo *= (1 + 0.045 * ground + 0.02 * blotch + 0.12 * scores + 0.10 * strays - 0.10 * rim)[..., None]
    rough = rng.uniform(0.2, 0.36) * (0.6 if look.finish else 1.0)
    roughness = rough + 0.015 * ground + 0.08 * rim + 0.14 * np.clip((oxide - 3) / 3, 0, 1)
    if look.wet:
        albedo, roughness = albedo * 0.93, roughness * 0.7
    albedo += (np.array([0.075, 0.045, 0.028], np.float32) - albedo) * (0.85 * smear)[..., None]
    core_rgb, core_rough, core_relief = bare_core(rng, grid, True)
    on = grid.cover
    oily = look.oil if look.oil is not None else rng.random() < 0.2
    film = _oil_drops(rng, grid) if oily else np.zeros(grid.shape, np.float32)
    albedo *= (1 - 0.12 * film)[..., None]
    relief = (STRONG_SHEEN if look.finish else 1.0) * 0.0022 * ground - 0.006 * scores - 0.004 * strays
    return Skin(
        kind=kind,
        half_mm=grid.half_mm,
        albedo=np.clip(albedo * on[..., None] + core_rgb * (1 - on[..., None]), 0, 1).astype(np.float32),
        roughness=np.clip((roughness * on + core_rough * (1 - on)) * (1 - 0.5 * film), 0.05, 1).astype(
            np.float32
        ),
        specular=np.full(grid.shape, 0.3, np.float32),
        metal=(1 - 0.85 * smear).astype(np.float32),
        height=(relief * on + core_relief * (1 - on)).astype(np.float32),
        truth=readings
        | {
            "lining": None,
            "ink": False,
            "oil": float((film[grid.face] > 0.5).mean()),
            "wet": look.wet,
            "grooves": "none",
            "heat": heat_kind,
        },
        read=read,
    )


def _oil_drops(rng: np.random.Generator, grid: Grid) -> Field:
    field = smooth_noise(rng, grid.shape, grid.width_mm * 0.6 / grid.mm_per_px, 3)
    edge = np.quantile(field[grid.face][::9], 1 - rng.uniform(0.03, 0.12))
    return np.clip((field - edge) / 0.25 + 0.5, 0, 1)
