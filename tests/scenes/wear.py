"""What heat and use do to a face: heat fields, glaze, oxide tint and hot spots.

Fields are first drawn with a shape, then scaled so that the share of the face over each of the
contract's limits is what was asked for; `truth` measures the painted result all the same.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.scenes.colours import lab_to_linear_srgb
from tests.scenes.grid import Grid
from tests.scenes.grooves import Grooves
from tests.scenes.texture import Field, smooth_noise

# Oxide thickness in our own steps: 0 bare, 1 straw, 2 brown, 3 purple, 4 blue, 5 pale, 6 grey; Lab of the
# specular colour. Order and hues follow published tempering series (Dooley, Applied Science for Metal
# Workers; Butt, The Tinman's Manual) and a computed magnetite film on iron; lightness and chroma are pulled
# towards bare steel, since a ground plate averages many thicknesses (by how much is from memory: verify).
TINT_STEPS = np.array(
    [
        (0.0, 73.0, 0.3, 2.0),
        (0.5, 69.5, 0.8, 10.0),
        (1.0, 62.5, 2.5, 18.0),
        (1.5, 54.5, 6.0, 20.5),
        (2.0, 46.5, 11.0, 16.0),
        (2.5, 41.0, 13.5, 5.5),
        (3.0, 37.5, 12.5, -7.5),
        (3.5, 37.0, 7.0, -17.0),
        (4.0, 41.0, 1.5, -20.5),
        (4.5, 48.5, -2.0, -15.5),
        (5.0, 51.0, -1.8, -8.5),
        (5.5, 47.0, -0.9, -4.0),
        (6.0, 42.0, -0.2, -2.5),
    ]
)
FAMILIES = ("bare", "straw", "brown", "purple", "blue", "grey")
FAMILY_FROM = np.array(
    [0.4, 1.75, 2.55, 3.4, 5.0]
)  # oxide step where straw, brown, purple, blue and grey begin


def family_of(oxide: Field) -> NDArray[np.int8]:
    """Index into FAMILIES per pixel."""
    return np.digitize(oxide, FAMILY_FROM).astype(np.int8)


def tint_colour(oxide: Field, richness: float, lightness_shift: float) -> NDArray[np.float32]:
    """Linear sRGB (H, W, 3) of oxidised steel; ``richness`` scales chroma above that of bare steel."""
    steps = np.linspace(0, 6, 256)
    lab = np.stack([np.interp(steps, TINT_STEPS[:, 0], TINT_STEPS[:, i]) for i in (1, 2, 3)], -1)
    lab[:, 1:] = lab[0, 1:] + (lab[:, 1:] - lab[0, 1:]) * richness
    lab[:, 0] += lightness_shift
    return look_up(lab_to_linear_srgb(lab), oxide / 6)


def look_up(table: NDArray[np.float64], position: Field) -> NDArray[np.float32]:
    """Rows of a colour table (n, 3) at positions 0..1, linear between rows."""
    place = np.clip(position, 0, 1) * np.float32(len(table) - 1)
    low = np.minimum(place.astype(np.int32), len(table) - 2)
    part = (place - low)[..., None]
    table32 = table.astype(np.float32)
    return table32[low] * (1 - part) + table32[low + 1] * part


def heat_shape(rng: np.random.Generator, grid: Grid, kind: str) -> Field:
    """Unscaled heat, about 0..1 on the face, of one kind.

    "even"; "inner", "outer", "middle" (broad stripes along the part); "sectors" (several hot sides at
    equal angles), "one side"; "end" (grows along a band).
    """
    middle, width = {
        "inner": (rng.uniform(0.0, 0.25), rng.uniform(0.28, 0.45)),
        "outer": (rng.uniform(0.75, 1.0), rng.uniform(0.28, 0.45)),
        "middle": (rng.uniform(0.4, 0.6), rng.uniform(0.25, 0.35)),
    }.get(kind, (0.5 + 0.2 * rng.standard_normal(), rng.uniform(0.7, 1.2)))
    field = np.exp(-0.5 * ((grid.across - middle) / width) ** 2).astype(np.float32)
    turn = rng.uniform(0, 2 * np.pi)
    angle = grid.along * np.float32(2 * np.pi) - np.float32(turn)
    if kind == "sectors":
        field *= 0.55 + 0.45 * np.cos(angle * int(rng.integers(2, 5)))
    elif kind == "one side":
        field *= np.exp(rng.uniform(0.8, 1.6) * (np.cos(angle) - 1))
    elif kind == "end":
        along = grid.along if rng.random() < 0.5 else 1 - grid.along
        field *= np.clip(along, 0, 1) ** rng.uniform(0.8, 2.0)
    elif grid.ring:
        field *= 1 - rng.uniform(0.05, 0.25) * (1 - np.cos(angle)) / 2
    if kind == "even":
        field = 0.75 + 0.25 * field
    lumps = smooth_noise(rng, grid.shape, grid.width_mm * rng.uniform(0.5, 0.9) / grid.mm_per_px, 2)
    return np.clip(field * (1 + rng.uniform(0.08, 0.16) * lumps), 0.02, None)


def cool_by_grooves(heat: Field, grooves: Grooves, share: float) -> Field:
    """Less heat beside a groove, where oil runs."""
    return heat * (1 - np.float32(share) * np.exp(-((grooves.distance_mm / np.float32(1.6)) ** 2)))


def scale_to_areas(
    heat: Field,
    where: NDArray[np.bool_],
    limit: float,
    share: float,
    next_limit: float | None,
    next_share: float,
) -> Field:
    """Heat raised to a power and scaled so that ``share`` of the face lies over ``limit``.

    The power flattens the pattern just enough that at most ``next_share`` lies over ``next_limit``.
    """
    seen = np.sort(heat[where][::7])
    at_share = np.quantile(seen, 1 - share)
    power = 1.0
    if next_limit is not None:
        at_next = np.quantile(seen, 1 - next_share)
        steepness = np.log(max(at_next / at_share, 1.0 + 1e-6))
        power = min(1.0, np.log(next_limit / limit) / steepness)
    return (np.float32(limit) * (heat / np.float32(at_share)) ** np.float32(power)).astype(np.float32)


def cap(heat: Field, limit: float) -> Field:
    """Heat bent over smoothly so that it nears ``limit`` and never passes it."""
    knee = np.float32(0.8 * limit)
    room = np.float32(limit) - knee
    return np.where(heat > knee, knee + room * np.tanh((heat - knee) / room), heat).astype(np.float32)


@dataclass(frozen=True, slots=True, eq=False)
class Glaze:
    """Glaze of one lining: how much of the clean grain is left and how far the surface has closed."""

    grain: Field  # (H, W) share of clean grain height and mottle left, 0..1
    gloss: Field  # (H, W) 0 as clean, 1 mirror-closed: moves roughness and specular


def glaze(
    rng: np.random.Generator,
    grid: Grid,
    where: NDArray[np.bool_],
    clean: tuple[float, float],
    index: float,
    patchiness: float,
) -> Glaze:
    """Glaze whose face-wide index is ``index`` (0..85), by the contract's formula.

    ``clean`` is the lining's clean (roughness, specular). ``patchiness`` 0..1: 0 is even, 1 leaves
    islands. One factor on the whole pattern is found by bisection.
    """
    if index <= 0:
        return no_glaze(grid)
    lumps = smooth_noise(rng, grid.shape, grid.width_mm * 0.35 / grid.mm_per_px, 3)
    lane = np.exp(-0.5 * ((grid.across - rng.uniform(0.3, 0.7)) / rng.uniform(0.35, 0.6)) ** 2)
    pattern = np.clip(lane * (1 + np.float32(0.6 * patchiness) * lumps), 0.05, None).astype(np.float32)
    sample = pattern[where][::11]
    low, high = 0.0, 12.0
    for _ in range(40):
        factor = (low + high) / 2
        grain, gloss = _closing(sample, factor)
        roughness, specular = shine(clean, gloss)
        reached = glaze_index(float(grain.mean()), float((specular / roughness).mean()), clean[1] / clean[0])
        low, high = (factor, high) if reached < index else (low, factor)
    return Glaze(*_closing(pattern, (low + high) / 2))


def _closing(pattern: Field, factor: float) -> tuple[Field, Field]:
    closed = 1 - np.exp(-np.float32(factor) * pattern)
    return (1 - np.float32(0.94) * closed).astype(np.float32), closed.astype(np.float32)


def shine(clean: tuple[float, float], gloss: Field) -> tuple[Field, Field]:
    """Roughness and specular weight of a lining with clean values ``clean`` and this gloss."""
    roughness, specular = clean
    return roughness + (0.27 - roughness) * gloss, specular + (0.85 - specular) * gloss


def glaze_index(grain: float, sheen: float, clean_sheen: float) -> float:
    """Contract: 100 x sqrt(lost grain x gained sheen), ``grain`` as a share of the clean grain."""
    lost = 1 - min(1.0, grain)
    gained = 1 - min(1.0, clean_sheen / sheen)
    return float(100 * np.sqrt(lost * gained))


@dataclass(frozen=True, slots=True)
class Spot:
    """One hot spot as placed."""

    across: float  # 0..1 centre
    along: float  # 0..1 centre
    diameter_mm: float  # of its straw edge
    peak: float  # oxide step at its middle


def place_spots(
    rng: np.random.Generator, grid: Grid, count: int, big: bool, one_sided: bool, peak: float
) -> tuple[Spot, ...]:
    """Spots at equal steps round the part, clear of each other and of the face's edges.

    Raises ValueError when so many do not fit.
    """
    smallest, largest = max(2.0, grid.scale_mm / 60), min(25.0, grid.scale_mm / 6)
    room = 0.84 * grid.width_mm
    upper = min(0.82 * largest, room, 0.7 * grid.length_mm / count)
    lower = max(1.35 * smallest, 0.92 * upper if big else 0.3 * upper)
    if lower > upper:
        raise ValueError(f"{count} hot spots do not fit a face {grid.length_mm:.0f} mm long")
    common = rng.uniform(lower, upper)
    span = rng.uniform(0.3, 0.5) if one_sided else 1.0
    if span * grid.length_mm < 1.35 * common * count:
        span = 1.0
    first = rng.uniform(0, 1)
    spots = []
    for i in range(count):
        diameter = float(np.clip(common * rng.normal(1, 0.02 if big else 0.13), lower, upper))
        slack = max(0.0, (grid.width_mm - diameter) / 2 / grid.width_mm - 0.07)
        across = 0.5 + slack * np.clip(rng.normal(0, 0.35), -1, 1)
        step = first + span * (i + rng.normal(0, 0.03)) / count
        spots.append(Spot(float(across), float(step % 1), diameter, float(peak * rng.normal(1, 0.09))))
    return tuple(spots)


def burn_spots(rng: np.random.Generator, grid: Grid, oxide: Field, spots: tuple[Spot, ...]) -> Field:
    """The oxide field with round marks: a core at its peak step, falling to straw at the rim."""
    out = oxide.copy()
    for spot in spots:
        radius_mm = spot.diameter_mm / 2
        angle, r = spot.along * 2 * np.pi, _middle_radius(grid) + (spot.across - 0.5) * grid.width_mm
        outward = np.array([np.cos(angle), np.sin(angle)], np.float32)
        column, row = ((r * outward[i] + grid.half_mm[i]) / grid.mm_per_px for i in (0, 1))
        reach = int(np.ceil(1.7 * radius_mm / grid.mm_per_px)) + 1
        rows = slice(max(0, int(row) - reach), int(row) + reach)
        columns = slice(max(0, int(column) - reach), int(column) + reach)
        dx = grid.x[rows, columns] - np.float32(r) * outward[0]
        dy = grid.y[rows, columns] - np.float32(r) * outward[1]
        stretch = np.float32(np.sqrt(rng.uniform(1.0, 1.3)))  # drawn out along the sliding direction
        across, along = dx * outward[0] + dy * outward[1], dy * outward[0] - dx * outward[1]
        ragged = 1 + 0.09 * smooth_noise(rng, dx.shape, max(2.0, 0.55 * reach), 3)
        rho = np.hypot(across * stretch, along / stretch) / np.float32(radius_mm) * ragged
        # falls to the straw limit at rho = 1
        fall = np.log(max(spot.peak, 1.0) / FAMILY_FROM[0])
        profile = max(spot.peak, 1.0) * np.exp(-fall * rho ** rng.uniform(1.8, 3.0))
        patch = out[rows, columns]
        out[rows, columns] = np.maximum(patch, profile.astype(np.float32))
    return out


def _middle_radius(grid: Grid) -> float:
    return grid.length_mm / (2 * np.pi)


def no_glaze(grid: Grid) -> Glaze:
    """A surface as clean as new."""
    return Glaze(np.ones(grid.shape, np.float32), np.zeros(grid.shape, np.float32))
