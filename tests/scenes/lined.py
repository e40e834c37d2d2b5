"""Paint friction plates and bands."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.scenes import linings, texture, truth, wear
from tests.scenes.colours import lab_to_linear_srgb
from tests.scenes.grid import Grid
from tests.scenes.grooves import BAND_PATTERNS, PLATE_PATTERNS, Grooves, cut_grooves
from tests.scenes.linings import Lining
from tests.scenes.look import Look
from tests.scenes.skin import Skin
from tests.scenes.texture import Field
from tests.scenes.wear import Glaze, look_up, shine, smooth_noise

ATTEMPTS = 8  # redraws of the heat while the painted face reads another level than asked, or near another
PATIENCE = 4  # times as many while none has read the level asked for
PLATE_HEAT, BAND_HEAT = ("even", "inner", "outer", "middle", "sectors", "one side"), ("end", "end", "even")


@dataclass(frozen=True, slots=True, eq=False)
class _Body:
    """A lining as made, before heat: what redrawing the heat leaves alone."""

    lining: Lining  # wet already where the part is
    grooves: Grooves
    tone: Field  # unit, dark and pale fibres
    warmth: Field  # unit, red against blue
    relief: Field  # unit, grain
    ink: Field
    ink_colour: tuple[float, float, float]
    dirt: Field
    oil: Field
    batch: float  # this plate's own factor on reflectance


def paint_lined(
    rng: np.random.Generator, kind: str, grid: Grid, lining_mm: float, level: int, lining: Lining, look: Look
) -> Skin:
    """A used lining at heat level ``level``; truth holds what the painted maps read."""
    body = _body(rng, grid, lining_mm, lining, look, new=False)
    best = None
    for attempt in range(PATIENCE * ATTEMPTS):
        if best is not None and attempt >= ATTEMPTS:
            return best
        colour, gloss = _plan(rng, level, body.lining, look)
        skin = _finish(rng, kind, grid, body, *_heat_and_glaze(rng, grid, body, colour, gloss, look), look)
        if skin.truth["level"] in (level, None):
            best = skin
            if skin.truth["margin_ok"]:
                return skin
    if best is None:
        raise RuntimeError(
            f"no draw of {lining.name} came out at level {level} in {PATIENCE * ATTEMPTS} attempts"
        )
    return best


def paint_clean(
    rng: np.random.Generator, kind: str, grid: Grid, lining_mm: float, lining: Lining, look: Look
) -> Skin:
    """An unused lining: no heat, no glaze, no dirt."""
    body = _body(rng, grid, lining_mm, lining, look, new=True)
    heat = np.zeros(grid.shape, np.float32)
    return _finish(rng, kind, grid, body, heat, 0.0, wear.no_glaze(grid), "none", look)


def _body(
    rng: np.random.Generator, grid: Grid, lining_mm: float, lining: Lining, look: Look, new: bool
) -> _Body:
    patterns = PLATE_PATTERNS if grid.ring else BAND_PATTERNS
    pattern = look.grooves or str(rng.choice(patterns))
    tool = rng if look.groove_seed is None else np.random.default_rng(look.groove_seed)
    grooves = cut_grooves(tool, grid, pattern, lining_mm)
    tone, relief = _grain(rng, grid, lining)
    has_ink = look.ink if look.ink is not None else rng.random() < 0.4
    has_oil = look.oil if look.oil is not None else (not new and rng.random() < 0.2)
    dark_ink = lining.lab[0] > 35 and rng.random() < 0.7
    zero = np.zeros(grid.shape, np.float32)
    return _Body(
        lining=linings.wet(lining) if look.wet else lining,
        grooves=grooves,
        tone=tone,
        warmth=smooth_noise(rng, grid.shape, 0.5 / grid.mm_per_px, 2),
        relief=relief,
        ink=texture.printed_ink(rng, grid) * (1 - grooves.depth) if has_ink else zero,
        ink_colour=(0.03, 0.03, 0.035) if dark_ink else (0.62, 0.61, 0.57),
        dirt=zero if new else texture.specks(rng, grid, int(rng.integers(0, 14)), (0.3, 0.9)),
        oil=_oil_patches(rng, grid, rng.uniform(0.03, 0.12)) if has_oil else zero,
        batch=float(np.exp(0.018 * np.clip(rng.standard_normal(), -2, 2))),
    )


def _grain(rng: np.random.Generator, grid: Grid, lining: Lining) -> tuple[Field, Field]:
    """Unit tone and unit relief of a clean lining."""
    px = 1 / grid.mm_per_px
    if lining.weave == "woven":
        height, tone = texture.weave(grid, rng.uniform(0.9, 1.3), rng.choice([0, 45]) + rng.uniform(-4, 4))
        fuzz = smooth_noise(rng, grid.shape, 1.3)
        return texture.unit(tone + 0.5 * fuzz), texture.unit(height * 3 + 0.4 * fuzz)
    coarse = lining.weave == "coarse paper"
    felt = texture.fibres(rng, grid.shape, lining.fibre_mm * px, 0.1 * px if coarse else 0.07 * px, 1.6)
    flock = smooth_noise(rng, grid.shape, (0.9 if coarse else 0.7) * px, 3)
    grit = smooth_noise(rng, grid.shape, 1.2)
    pores = -np.clip(smooth_noise(rng, grid.shape, max(1.6, 0.22 * px)) - 1.2, 0, None)
    tone = texture.unit(0.8 * felt + (0.65 if coarse else 0.5) * flock + 0.35 * grit + 1.6 * pores)
    return tone, texture.unit(0.7 * felt + 0.5 * flock + 0.35 * grit + 2.2 * pores)


def _oil_patches(rng: np.random.Generator, grid: Grid, share: float) -> Field:
    field = smooth_noise(rng, grid.shape, grid.width_mm * 0.7 / grid.mm_per_px, 3)
    edge = np.quantile(field[grid.face][::9], 1 - share)
    return np.clip((field - edge) / 0.25 + 0.5, 0, 1)


def _plan(rng: np.random.Generator, level: int, lining: Lining, look: Look) -> tuple[int, float]:
    """Colour level and glazing index that together give ``level``."""
    able = {0, *linings.colour_levels(lining)}
    can_glaze, can_colour = level - 1 in able and 1 <= level <= 3, level in able
    wish = look.by_glaze if look.by_glaze is not None else rng.random() < 0.3
    if can_glaze and (wish or not can_colour):
        return level - 1, float(rng.uniform(69, 84))
    if level >= 3:  # glaze no longer decides; char itself is matte
        return level, float(rng.choice([0, rng.uniform(5, 60 if level == 3 else 30)]))
    return level, float(rng.choice([0, rng.uniform(3, 50)]))


def _heat_and_glaze(
    rng: np.random.Generator, grid: Grid, body: _Body, colour_level: int, index: float, look: Look
) -> tuple[Field, float, Glaze, str]:
    """Position on the heat path per pixel, brownness of the path, glaze, and the kind of heat."""
    kind = look.heat or str(rng.choice(PLATE_HEAT if grid.ring else BAND_HEAT))
    shape = wear.cool_by_grooves(wear.heat_shape(rng, grid, kind), body.grooves, rng.uniform(0.05, 0.3))
    zones = _apply_zones(grid)
    shape = shape * (0.85 + 0.3 * zones)
    levels = linings.colour_levels(body.lining)
    first = levels[1][0] if 1 in levels else 0.2
    land = grid.face & ~body.grooves.cut
    if colour_level == 0:
        heat = wear.scale_to_areas(shape, land, first * rng.uniform(0.15, 0.65), 0.06, None, 0)
    else:
        begins, next_row = levels[colour_level]
        share = rng.uniform(0.34, 0.8)
        if next_row is None:
            heat = wear.scale_to_areas(shape, land, begins, share, None, 0)
        else:
            heat = wear.scale_to_areas(shape, land, 1.02 * begins, share, 0.97 * next_row, 0.14)
    heat = wear.cap(heat + 0.2 * first * zones, 1.0)
    uneven = 1 + 0.07 * smooth_noise(rng, grid.shape, 2.4 / grid.mm_per_px, 3) - 0.05 * body.tone
    heat = np.clip(heat * uneven, 0, 1).astype(np.float32)
    clean = (body.lining.roughness, body.lining.specular)
    gloss = wear.glaze(rng, grid, land, clean, index, rng.uniform(0, 1))
    brownness = float(rng.uniform(0.75, 1.15))
    return heat, brownness if look.brownness is None else look.brownness, gloss, kind


def _apply_zones(grid: Grid) -> Field:
    """Where a band's three apply zones touch the drum, 0..1; zero on a plate."""
    if grid.ring:
        return np.zeros(grid.shape, np.float32)
    nearest = np.abs(np.mod(grid.along * 3, 1) - 0.5)
    return 1 / (1 + np.exp((nearest - 0.34) / 0.035))


def _finish(
    rng: np.random.Generator,
    kind: str,
    grid: Grid,
    body: _Body,
    heat: Field,
    brownness: float,
    glaze: Glaze,
    heat_kind: str,
    look: Look,
) -> Skin:
    """Compose the maps and read their truth."""
    lining, grooves = body.lining, body.grooves
    table = lab_to_linear_srgb(linings.heat_path(lining, brownness)) * body.batch
    amplitude = 3 * lining.mottle / (lining.lab[0] + 16)  # L* to relative luminance: dL/L+16 = dY/3Y
    mottle = np.exp(np.float32(amplitude) * body.tone * glaze.grain)
    hue = np.float32(0.25 * amplitude) * body.warmth * glaze.grain
    albedo = look_up(table, heat) * (mottle[..., None] * np.stack([1 + hue, np.ones_like(hue), 1 - hue], -1))

    roughness, specular = shine((lining.roughness, lining.specular), glaze.gloss)
    char = np.clip((heat - 0.72) / 0.15, 0, 1)
    crack = texture.cracks(rng, grid, rng.uniform(2.0, 4.0)) * char if char.any() else np.zeros_like(heat)
    edge = np.exp(-np.clip(grid.edge_mm, 0, None) / np.float32(0.35))
    albedo *= (1 - 0.45 * crack - 0.18 * edge * (heat > 0))[..., None]
    roughness = np.maximum(roughness, char * 0.8)
    specular = specular * (1 - 0.7 * char)

    scores = (
        texture.round_scratches(rng, grid, int(rng.integers(0, 9)), 1.2)
        if heat.any()
        else np.zeros_like(heat)
    )
    relief_mm = lining.relief_mm * body.relief * glaze.grain - 0.05 * crack - 0.012 * scores
    albedo *= (1 + 0.10 * scores)[..., None]
    sheen = specular / roughness

    roughness, specular, albedo = _film(body, heat, roughness, specular, albedo)
    dust = 1 - 0.22 * grooves.depth * (heat > 0)
    albedo *= dust[..., None]
    measured = grid.face & ~grooves.cut & (body.ink < 0.05) & (body.dirt < 0.05)
    painted = np.clip(albedo, 0, 1)

    def read(seen: NDArray[np.bool_]) -> dict[str, Any]:
        index = _index(seen & ~grooves.cut, lining, glaze, sheen)
        return truth.read_lining(grid, painted, measured & seen, lining.lab, index)

    metal_rgb, metal_rough, metal_relief = bare_core(rng, grid, heat_kind != "none")
    lined = grid.cover * (1 - grooves.depth if grooves.bares_core else 1)
    relief_mm = relief_mm - grooves.depth_mm * cv2.GaussianBlur(grooves.depth, (0, 0), 0.9)
    mix = lined[..., None]
    return Skin(
        kind=kind,
        half_mm=grid.half_mm,
        albedo=np.clip(albedo * mix + metal_rgb * (1 - mix), 0, 1).astype(np.float32),
        roughness=np.clip(roughness * lined + metal_rough * (1 - lined), 0.03, 1).astype(np.float32),
        specular=np.clip(specular * lined, 0, 1).astype(np.float32),
        metal=(1 - lined).astype(np.float32),
        height=(relief_mm * grid.cover + metal_relief * (1 - grid.cover)).astype(np.float32),
        truth=read(grid.face)
        | {
            "lining": lining.name,
            "ink": bool(body.ink.any()),
            "oil": float((body.oil[grid.face] > 0.5).mean()),
            "wet": look.wet,
            "grooves": grooves.pattern,
            "heat": heat_kind,
        },
        read=lambda seen: read(seen & grid.face),
    )


def _index(land: NDArray[np.bool_], lining: Lining, glaze: Glaze, sheen: Field) -> float:
    """Glazing index of the painted lining on ``land``, oil film left out."""
    return wear.glaze_index(float(glaze.grain[land].mean()), float(sheen[land].mean()), lining.sheen)


def _film(
    body: _Body, heat: Field, roughness: Field, specular: Field, albedo: NDArray[np.float32]
) -> tuple[Field, Field, NDArray[np.float32]]:
    """Lay oil, ink and dirt over the lining."""
    oil, dirt = body.oil, body.dirt
    ink = body.ink * (1 - 0.7 * heat)  # what chars the lining burns its print too
    albedo = albedo * (1 - 0.16 * oil)[..., None]
    albedo = albedo + (np.array(body.ink_colour, np.float32) - albedo) * (0.85 * ink)[..., None]
    albedo = albedo + (np.array([0.03, 0.026, 0.022], np.float32) - albedo) * dirt[..., None]
    return roughness + (0.14 - roughness) * oil, specular + (0.9 - specular) * oil, albedo


def bare_core(rng: np.random.Generator, grid: Grid, used: bool) -> tuple[NDArray[np.float32], Field, Field]:
    """Specular colour, roughness and relief (mm) of stamped steel: teeth, rims, strap."""
    stain = 0.12 * smooth_noise(rng, grid.shape, 9 / grid.mm_per_px, 3) + (
        rng.uniform(0.05, 0.35) if used else 0.05
    )
    skin = texture.ground_metal(rng, grid, "tumbled")
    colour = wear.tint_colour(np.clip(stain, 0, 1.2), 0.8, rng.uniform(-22, -9))
    colour = colour * (1 + 0.06 * skin)[..., None]
    roughness = np.clip(0.38 + 0.04 * skin, 0.1, 0.7)
    return colour.astype(np.float32), roughness.astype(np.float32), (0.003 * skin).astype(np.float32)
