"""What lies on a steel beside its oxide: varnish, rust, transferred lining.

Oxide grows on the metal itself, without jumps; a deposit lies on it, with edges. Varnish is a thin, hard,
lustrous organic film, amber to brown (ASTM committee D02, glossary): it lets light through to the metal and
back, so its colour is an absorption (Beer and Lambert), and it fills grinding marks. Rust and transferred
lining are matt and hide the metal. Numbers are from memory: verify.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.scenes import texture
from tests.scenes.colours import lab_to_linear_srgb
from tests.scenes.grid import Grid
from tests.scenes.wear import FAMILIES

Field = NDArray[np.float32]

VARNISH, RUST, TRANSFER = DEPOSITS = ("varnish", "rust", "transferred lining")
KINDS = (*FAMILIES, *DEPOSITS)


@dataclass(frozen=True, slots=True, eq=False)
class Deposit:
    """A deposit on a face; maps are (H, W).

    Attributes
    ----------
    kind
        Its place in `KINDS`.
    cover
        0..1, how much of it lies there.
    through
        (H, W, 3) the light that it lets through to the metal and back.
    own
        (3,) or (H, W, 3) its own linear sRGB, where it hides the metal.
    hides
        0..1 how much of the metal it hides.
    matt
        1 dull, -1 smoother than the metal.
    relief
        mm.
    """

    kind: int
    cover: Field
    through: Field
    own: Field
    hides: float
    matt: float
    relief: Field

    @property
    def there(self) -> NDArray[np.bool_]:
        return self.cover > 0.5

    def on_albedo(self, albedo: Field) -> Field:
        """Colour of the metal with the deposit on it."""
        seen = albedo * (1 + (self.through - 1) * self.cover[..., None])
        return np.asarray(seen + (self.own - seen) * (self.hides * self.cover)[..., None], np.float32)

    def on_roughness(self, roughness: Field) -> Field:
        """Roughness with the deposit on it."""
        if self.matt > 0:
            return np.asarray(roughness + (0.75 - roughness) * self.matt * self.cover, np.float32)
        return np.asarray(roughness * (1 + 0.6 * self.matt * self.cover), np.float32)

    def on_relief(self, height: Field) -> Field:
        """Relief with the deposit on it: a film fills the grinding marks."""
        return np.asarray(height * (1 - 0.7 * self.cover) + self.relief, np.float32)


def lay(rng: np.random.Generator, grid: Grid, name: str) -> Deposit:
    """A deposit of one of the last three of `KINDS`."""
    return {VARNISH: _varnish, RUST: _rust, TRANSFER: _transfer}[name](rng, grid)


def _varnish(rng: np.random.Generator, grid: Grid) -> Deposit:
    share = rng.uniform(0.15, 0.6)
    cell = grid.width_mm * rng.uniform(0.35, 1.1) / grid.mm_per_px
    field = texture.smooth_noise(rng, grid.shape, cell, 3)
    if rng.random() < 0.35:  # hangs on one rim, where the fluid stood
        field += 2.2 * (grid.across if rng.random() < 0.6 else 1 - grid.across)
    edge = np.quantile(field[grid.face][::9], 1 - share)
    slope = np.hypot(*np.gradient(field)) / grid.mm_per_px + 1e-3
    inside_mm = np.clip((field - edge) / np.maximum(slope, np.median(slope[grid.face])), -3, 30)
    cover = np.clip(inside_mm / rng.uniform(0.3, 0.9) + 0.5, 0, 1)
    # As it dries, fluid draws to the edge of a drop and leaves more there.
    rim = rng.uniform(0.1, 0.7) * np.exp(-((inside_mm - 0.6) ** 2) / 0.8)
    body = 1 + 0.3 * texture.smooth_noise(rng, grid.shape, 2 * cell, 2)
    thick = rng.uniform(0.3, 1.1) * np.clip(body, 0.3, 2) * (1 + rim) * cover
    amber, brown = np.array([0.28, 0.62, 1.5]), np.array([0.55, 0.85, 1.35])
    mix = rng.uniform(0, 1)
    through = np.exp(-thick[..., None] * ((1 - mix) * amber + mix * brown))
    return _deposit(VARNISH, cover, through, np.zeros(3), hides=0.0, matt=-1.0, relief=0.002 * cover)


def _rust(rng: np.random.Generator, grid: Grid) -> Deposit:
    grains = texture.smooth_noise(rng, grid.shape, rng.uniform(0.5, 1.5) / grid.mm_per_px, 3)
    where = texture.smooth_noise(rng, grid.shape, grid.width_mm * rng.uniform(0.3, 0.9) / grid.mm_per_px, 2)
    field = grains + 1.6 * where
    edge = np.quantile(field[grid.face][::9], 1 - rng.uniform(0.12, 0.45))
    cover = np.clip((field - edge) / 0.35 + 0.5, 0, 1)
    lab = np.array([rng.uniform(32, 48), rng.uniform(14, 23), rng.uniform(20, 33)])
    mottle = texture.smooth_noise(rng, grid.shape, 0.6 / grid.mm_per_px, 2)
    shades = lab + mottle[..., None] * np.array([4.0, 1.5, 2.0])
    own = lab_to_linear_srgb(shades)
    return _deposit(RUST, cover, np.ones(3), own, hides=0.95, matt=1.0, relief=0.012 * cover * grains)


def _transfer(rng: np.random.Generator, grid: Grid) -> Deposit:
    streaks = texture.ring_noise(rng, grid, rng.uniform(0.4, 1.2), rng.uniform(25, 70))
    where = texture.smooth_noise(rng, grid.shape, grid.width_mm * rng.uniform(0.5, 1.2) / grid.mm_per_px, 2)
    field = streaks + 0.9 * where + 0.3 * texture.smooth_noise(rng, grid.shape, 2.5)
    edge = np.quantile(field[grid.face][::9], 1 - rng.uniform(0.12, 0.4))
    cover = np.clip((field - edge) / 0.8 + 0.5, 0, 1)
    lab = np.array([rng.uniform(22, 34), rng.uniform(2, 7), rng.uniform(4, 11)])
    own = lab_to_linear_srgb(lab)
    return _deposit(TRANSFER, cover, np.ones(3), own, hides=0.9, matt=1.0, relief=0.004 * cover)


def _deposit(
    name: str,
    cover: NDArray[np.floating],
    through: NDArray[np.floating],
    own: NDArray[np.floating],
    hides: float,
    matt: float,
    relief: NDArray[np.floating],
) -> Deposit:
    maps = (np.asarray(field, np.float32) for field in (cover, through, own))
    return Deposit(KINDS.index(name), *maps, hides, matt, np.asarray(relief, np.float32))
