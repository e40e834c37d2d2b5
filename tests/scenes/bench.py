"""What the parts lie on, and the light that falls on them. Colours are linear sRGB, lengths millimetres."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tests.scenes.colours import lab_to_linear_srgb
from tests.scenes.texture import smooth_noise

Field = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """Maps (H, W) over ``[-hx, hx] x [-hy, hy]`` mm with the same meaning as those of a `Skin`."""

    half_mm: tuple[float, float]
    albedo: Field  # (H, W, 3)
    roughness: Field
    specular: Field
    metal: Field
    height: Field


def lab_colour(lightness: Field, a: Field | float, b: Field | float) -> Field:
    rgb = lab_to_linear_srgb(np.stack(np.broadcast_arrays(lightness, a, b), -1))
    return np.clip(rgb, 0.004, 0.93).astype(np.float32)


class Board:
    """Pixel grid of a bench map and the noise drawn on it; lengths in mm."""

    def __init__(self, rng: Generator, half_mm: tuple[float, float], px_per_mm: float) -> None:
        self.rng, self.half_mm, self.px = rng, half_mm, px_per_mm
        self.shape = (max(8, round(2 * half_mm[1] * px_per_mm)), max(8, round(2 * half_mm[0] * px_per_mm)))
        self.x = (np.arange(self.shape[1], dtype=np.float32)[None, :] + 0.5) / px_per_mm - half_mm[0]
        self.y = (np.arange(self.shape[0], dtype=np.float32)[:, None] + 0.5) / px_per_mm - half_mm[1]

    def noise(self, cell_mm: float, octaves: int = 1) -> Field:
        return smooth_noise(self.rng, self.shape, max(cell_mm * self.px, 1.0), octaves)

    def streaks(self, long_mm: float, wide_mm: float) -> Field:
        """Unit noise drawn out along x."""
        squeeze = max(long_mm / wide_mm, 1.0)
        narrow = (self.shape[0], max(4, int(self.shape[1] / squeeze) + 2))
        tile = smooth_noise(self.rng, narrow, max(wide_mm * self.px, 1.0))
        return cv2.resize(tile, self.shape[::-1], interpolation=cv2.INTER_CUBIC)

    def scratches(self, count: int, long_mm: float) -> Field:
        """Depth 0..1 of thin straight marks."""
        canvas = np.zeros(self.shape, np.uint8)
        for _ in range(count):
            start = self.rng.uniform(0, 1, 2) * self.shape[::-1]
            angle, span = self.rng.uniform(0, np.pi), self.rng.lognormal(0, 0.6) * long_mm * self.px
            end = start + span * np.array([np.cos(angle), np.sin(angle)])
            ends = np.round(np.stack([start, end]) * 16).astype(int).tolist()
            cv2.line(canvas, *ends, int(self.rng.uniform(60, 255)), 1, cv2.LINE_AA, 4)
        return canvas.astype(np.float32) / 255

    def stains(self, share: float, cell_mm: float) -> Field:
        """Soft blots covering about ``share`` of the board, 0..1."""
        field = self.noise(cell_mm, 4) + 0.8 * self.noise(6 * cell_mm)  # they come in company
        soft = np.clip((field - np.quantile(field, 1 - share)) * 1.6, 0, 1)
        return soft * np.clip(0.75 + 0.25 * self.noise(cell_mm / 3, 3), 0.2, 1)

    def made(self, albedo: Field, roughness: Any, specular: Any, metal: float, height: Field) -> Surface:
        def full(value: Any) -> Field:
            return np.broadcast_to(np.asarray(value, np.float32), self.shape).copy()

        return Surface(
            self.half_mm, albedo, np.clip(full(roughness), 0.05, 1), full(specular), full(metal), full(height)
        )


def wood(rng: Generator, half_mm: tuple[float, float], px_per_mm: float) -> Surface:
    """Old planks laid along x, oiled by years of use."""
    b = Board(rng, half_mm, px_per_mm)
    width = rng.uniform(85, 150)
    row = (b.y - rng.uniform(0, width)) / width
    plank = np.floor(row).astype(int)
    inside = np.minimum(row - plank, 1 - (row - plank)) * width  # mm to the nearest joint
    tone = rng.normal(0, 3.5, 64)[plank % 64]
    warp = b.noise(120, 2) * 9 + b.streaks(500, 40) * 8
    knot_x, knot_y = rng.uniform(-half_mm[0], half_mm[0], 4), rng.uniform(-half_mm[1], half_mm[1], 4)
    for kx, ky in zip(knot_x, knot_y, strict=True):
        d2 = ((b.x - kx) / 2.4) ** 2 + (b.y - ky) ** 2
        warp = warp + 26 * np.exp(-d2 / 420) * np.sign(b.y - ky)
    rings = b.y + warp + 37 * (plank % 7)
    grain = np.sin(rings * 0.9) * 0.5 + np.sin(rings * 0.37 + 1) * 0.8
    pores = np.clip(b.streaks(14, 0.45) - 1.0, 0, 2)
    dirt = b.stains(0.25, 90)
    lightness = rng.uniform(44, 58) + tone + 2.2 * grain + 1.6 * b.streaks(70, 1.2) - 5 * pores - 11 * dirt
    gap = np.clip(1.4 - inside, 0, 1)
    lightness = lightness - 5 * b.scratches(90, 25) - 34 * gap + 1.4 * b.noise(1.0)
    chroma = rng.uniform(0.75, 1.1)
    albedo = lab_colour(np.clip(lightness, 5, 85), chroma * (7.5 + 0.6 * grain), chroma * (20 - 4 * dirt))
    height = -1.2 * gap - 0.06 * pores + 0.02 * grain + 0.01 * b.noise(0.8)
    return b.made(albedo, 0.62 - 0.18 * dirt, 0.35, 0.0, height)


def steel_bench(rng: Generator, half_mm: tuple[float, float], px_per_mm: float) -> Surface:
    """A brushed steel top with old scratches and a film of oil here and there."""
    b = Board(rng, half_mm, px_per_mm)
    brushed = b.streaks(60, 0.4) + 0.6 * b.streaks(160, 1.6)
    oil = b.stains(0.3, 70)
    rust = 0.6 * b.stains(0.03, 12)
    tone = 0.40 + 0.012 * brushed + 0.02 * b.noise(60, 3) - 0.08 * oil
    albedo = tone[..., None] * np.array([1.0, 0.985, 0.96], np.float32)
    albedo = albedo * (1 - rust[..., None]) + rust[..., None] * np.array([0.16, 0.09, 0.05], np.float32)
    rough = 0.44 + 0.03 * brushed - 0.12 * oil + 0.3 * rust + 0.05 * b.noise(30, 3)
    height = 0.0022 * brushed - 0.012 * b.scratches(260, 30) + 0.12 * b.noise(180)
    return b.made(np.clip(albedo, 0.02, 0.8), rough, 0.5, 1.0, height)


def cardboard(rng: Generator, half_mm: tuple[float, float], px_per_mm: float) -> Surface:
    """A flattened box, its flutes showing through, with oil rings."""
    b = Board(rng, half_mm, px_per_mm)
    flute = np.sin(b.y * 2 * np.pi / rng.uniform(5.5, 8.0) + 0.3 * b.noise(80))
    oil = b.stains(0.12, 60)
    fibre = b.noise(1.2, 2)
    crease = np.clip(1.5 - np.abs(b.y - rng.uniform(-half_mm[1], half_mm[1])), 0, 1) + 0 * b.x
    lightness = rng.uniform(58, 67) + 0.7 * flute + 1.3 * fibre + 1.5 * b.noise(40, 3) - 13 * oil - 4 * crease
    albedo = lab_colour(lightness - 3 * b.scratches(60, 20), 7.0 + 0 * fibre, 22.0 + 0.5 * fibre)
    height = 0.05 * flute + 0.008 * fibre - 0.5 * crease + 0.5 * b.noise(150)
    return b.made(albedo, 0.85 - 0.25 * oil, 0.25, 0.0, height)


def rubber_mat(rng: Generator, half_mm: tuple[float, float], px_per_mm: float) -> Surface:
    """A black ribbed mat, dusty."""
    b = Board(rng, half_mm, px_per_mm)
    pitch = rng.uniform(5.0, 8.0)
    rib = np.abs(np.mod(b.y / pitch, 1) - 0.5) * 2 + 0 * b.x
    ridge = np.clip((rib - 0.35) * 5, 0, 1)
    dust = np.clip(0.5 + 0.5 * b.noise(70, 4), 0, 1.5)
    lightness = 17 + 5 * dust + 2.5 * ridge + 0.9 * b.noise(0.9) - 3 * (1 - ridge) + 5 * b.scratches(50, 30)
    albedo = lab_colour(lightness, 0.2 + 0 * dust, 0.8 + 0.8 * dust)
    return b.made(albedo, 0.55 + 0.12 * dust, 0.4, 0.0, 0.5 * ridge + 0.012 * b.noise(0.8))


def paper_towel(rng: Generator, half_mm: tuple[float, float], px_per_mm: float) -> Surface:
    """Blue-grey shop towel: embossed, wrinkled, oil-spotted."""
    b = Board(rng, half_mm, px_per_mm)
    u, v = (b.x + b.y) / 4.6, (b.x - b.y) / 4.6
    emboss = np.cos(2 * np.pi * u) * np.cos(2 * np.pi * v)
    wrinkle = b.noise(130, 2)
    oil = b.stains(0.15, 45)
    fold = np.clip(1 - np.abs(np.mod(b.x / 240 + 0.37, 1) - 0.5) * 240, 0, 1) + 0 * b.y
    lightness = rng.uniform(60, 72) + 1.5 * emboss + 1.2 * b.noise(1.0, 2) - 17 * oil - 3 * fold
    albedo = lab_colour(lightness, -3.5 + 0 * oil, rng.uniform(-13, -7) + 3 * oil)
    height = 0.10 * emboss + 1.1 * wrinkle + 0.02 * b.noise(0.9)
    return b.made(albedo, 0.9 - 0.3 * oil, 0.15 + 0.3 * oil, 0.0, height)


def painted_board(rng: Generator, half_mm: tuple[float, float], px_per_mm: float) -> Surface:
    """Painted fibreboard, grey-green, scuffed through to the brown in places."""
    b = Board(rng, half_mm, px_per_mm)
    scuff = np.clip(b.scratches(220, 22) + 0.8 * b.stains(0.03, 14), 0, 1)
    lightness = rng.uniform(48, 60) + 1.3 * b.noise(60, 4) - 7 * b.stains(0.12, 50) + 0.7 * b.noise(1.0)
    hue_a, hue_b = ((-7.0, 4.0), (-2.0, -6.0), (1.0, 9.0))[rng.integers(3)]
    paint, bare = lab_colour(lightness, hue_a, hue_b), lab_colour(lightness - 8, 7.0, 15.0)
    albedo = paint * (1 - scuff[..., None]) + bare * scuff[..., None]
    roller = b.noise(1.6, 2)
    return b.made(albedo, 0.42 + 0.4 * scuff, 0.45, 0.0, 0.02 * roller - 0.05 * scuff)


def concrete(rng: Generator, half_mm: tuple[float, float], px_per_mm: float) -> Surface:
    """A trowelled floor with pits, fine cracks and old drips."""
    b = Board(rng, half_mm, px_per_mm)
    sand = b.noise(0.9, 2)
    pits = np.clip(b.noise(2.2) - 2.3, 0, 1) * 2
    oil = b.stains(0.1, 80)
    crack = np.clip(1 - np.abs(b.noise(220, 4)) * 60, 0, 1) * (b.noise(160) > 0.7)
    lightness = rng.uniform(52, 62) + 2.3 * sand + 2.2 * b.noise(50, 4) - 17 * pits - 18 * oil - 16 * crack
    albedo = lab_colour(np.clip(lightness, 6, 90), 0.5 + 0 * oil, 4.5 + 1.0 * b.noise(90, 2))
    return b.made(albedo, 0.85 - 0.3 * oil, 0.2, 0.0, 0.03 * sand - 0.4 * pits - 0.3 * crack)


BENCHES: dict[str, Callable[[Generator, tuple[float, float], float], Surface]] = {
    "wood": wood,
    "steel": steel_bench,
    "cardboard": cardboard,
    "rubber mat": rubber_mat,
    "paper towel": paper_towel,
    "painted board": painted_board,
    "concrete": concrete,
}
HELD_OUT_BENCHES = ("concrete", "painted board")


@dataclass(frozen=True, slots=True)
class Lamp:
    """A rectangular emitter facing its aim, all in mm."""

    position: tuple[float, float, float]
    aim: tuple[float, float, float]
    half: tuple[float, float]
    colour: tuple[float, float, float]  # linear sRGB
    irradiance: float  # share of the light falling on a level surface at the aim


@dataclass(frozen=True, slots=True, eq=False)
class Light:
    """Everything that shines: the lamps and the room around."""

    name: str
    lamps: tuple[Lamp, ...]
    room: Field  # (H, W, 3) radiance by latitude and longitude, row 0 straight up
    edge: float | None  # where a body's shadow ends on the bench, mm along x from the aim; None without


DAYLIGHT = (0.93, 1.0, 1.13)
BULB = (1.36, 0.98, 0.50)
TUBE = (0.97, 1.03, 0.93)
LED = (0.95, 1.0, 1.06)


def room_around(rng: Generator, tint: tuple[float, float, float], bright: float) -> Field:
    """Walls, shelves and a ceiling out of focus; the person with the phone stands dark at -y."""
    rows, columns = 32, 64
    up = np.linspace(90, -90, rows)[:, None]
    shade = np.where(
        up > 55, 1.0, np.where(up > 0, 0.55 + 0.2 * smooth_noise(rng, (rows, columns), 6.0), 0.25)
    )
    shade = np.clip(shade + 0.12 * smooth_noise(rng, (rows, columns), 10.0), 0.08, 2)
    around = np.arange(columns)[None, :] / columns * 360
    person = (np.abs(around - 270) < 28) & (up > -20) & (up < 62)  # -y, where the picture's lower edge is
    shade = np.where(person, 0.12, shade)
    shade = cv2.GaussianBlur(shade.astype(np.float32), (0, 0), 1.1)
    colour = np.array(tint, np.float32) * (1 + 0.06 * rng.normal(size=3).astype(np.float32))
    return (bright * shade[..., None] * colour).astype(np.float32)


def window(rng: Generator) -> Light:
    """Daylight from a large window to one side."""
    side = rng.uniform(0, 2 * np.pi)
    at = (2300 * np.cos(side), 2300 * np.sin(side), rng.uniform(1200, 2000))
    lamp = Lamp(at, (0, 0, 0), (750, 900), DAYLIGHT, 0.65)
    return Light("window", (lamp,), room_around(rng, (1.02, 1.0, 0.95), 0.45), None)


def bulb(rng: Generator) -> Light:
    """One warm bulb in a shade, overhead."""
    at = (rng.uniform(-400, 400), rng.uniform(-150, 500), rng.uniform(1200, 1600))
    return Light(
        "bulb", (Lamp(at, (0, 0, 0), (45, 45), BULB, 0.75),), room_around(rng, (1.15, 1.0, 0.75), 0.3), None
    )


def tubes(rng: Generator) -> Light:
    """Two fluorescent tubes under the ceiling."""
    turn = rng.uniform(-0.5, 0.5)
    lamps = []
    for shift in (-220.0, 260.0):
        at = (shift * np.sin(turn), 250 + shift * np.cos(turn), 1550.0)
        lamps.append(Lamp(at, (at[0], at[1], 0.0), (600, 22), TUBE, 0.4))
    return Light("tubes", tuple(lamps), room_around(rng, TUBE, 0.3), None)


def led_lamp(rng: Generator) -> Light:
    """A small lamp on an arm: hard shadows."""
    side = rng.uniform(0.1, np.pi - 0.1) + (np.pi if rng.random() < 0.2 else 0)
    at = (600 * np.cos(side), 600 * np.sin(side), rng.uniform(950, 1300))
    return Light(
        "led lamp", (Lamp(at, (0, 0, 0), (30, 30), LED, 0.62),), room_around(rng, (1.0, 1.0, 1.0), 0.45), None
    )


def flash(rng: Generator) -> Light:
    """The phone's own light beside its lens, in a dim room; the renderer moves it to the camera."""
    lamp = Lamp((0, 0, 0), (0, 0, 0), (4, 4), (1.0, 1.0, 1.02), 0.5)
    return Light("flash", (lamp,), room_around(rng, (1.06, 1.0, 0.9), 0.6), None)


LIGHTS: dict[str, Callable[[Generator], Light]] = {
    "window": window,
    "bulb": bulb,
    "tubes": tubes,
    "led lamp": led_lamp,
    "flash": flash,
}
