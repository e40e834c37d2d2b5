"""Random benches to train on: colour, grain, streaks, lattices, prints and stains, put together by chance."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.random import Generator

from tests.scenes.bench import Board, Field, Surface, lab_colour


def random_board(rng: Generator, half_mm: tuple[float, float], px_per_mm: float) -> Surface:
    """A bench of no particular kind."""
    b = Board(rng, half_mm, px_per_mm)
    zero = np.zeros(b.shape, np.float32)
    tone = zero + rng.uniform(8, 86)
    a, b_star = zero + rng.normal(0, 9), zero + rng.normal(3, 12)
    height = zero.copy()
    tone = (
        tone
        + rng.exponential(1.2) * b.noise(rng.uniform(0.6, 2))
        + rng.exponential(2.5) * b.noise(rng.uniform(20, 160), 4)
    )
    if rng.random() < 0.35:
        grain = b.streaks(rng.uniform(8, 200), rng.uniform(0.4, 5))
        tone, height = tone + rng.exponential(2.5) * grain, height + 0.01 * grain
    if rng.random() < 0.35:
        line = _lattice(b, rng)
        tone, height = tone + rng.normal(0, 9) * line, height + rng.normal(0, 0.15) * line
        a, b_star = a + rng.normal(0, 4) * line, b_star + rng.normal(0, 6) * line
    if rng.random() < 0.3:
        tone = tone + rng.normal(0, 14) * _print(b, rng)
    if rng.random() < 0.25:
        rings = _cup_rings(b, rng)
        tone, b_star = tone - rng.uniform(3, 16) * rings, b_star + rng.uniform(0, 5) * rings
    wet = b.stains(rng.uniform(0.02, 0.35), rng.uniform(15, 120)) if rng.random() < 0.6 else zero
    tone = tone * (1 - rng.uniform(0, 0.45) * wet)
    if rng.random() < 0.5:
        tone = tone + rng.normal(0, 7) * b.scratches(int(rng.integers(20, 300)), rng.uniform(10, 60))
    albedo = lab_colour(np.clip(tone, 3, 94), a, b_star)
    metal = float(rng.random() < 0.18)
    rough = rng.uniform(0.25, 0.6) if metal else rng.uniform(0.3, 0.95)
    return b.made(albedo, rough * (1 - 0.5 * wet), rng.uniform(0.05, 0.5), metal, height + 0.3 * b.noise(130))


def _lattice(b: Board, rng: Generator) -> Field:
    """0..1: lines one or two ways, checks or dots at a random pitch and turn."""
    turn, pitch = rng.uniform(0, np.pi), rng.uniform(2.5, 60)
    u = b.x * np.cos(turn) + b.y * np.sin(turn)
    v = b.y * np.cos(turn) - b.x * np.sin(turn)
    wide = rng.uniform(0.08, 0.5)
    one, two = (np.abs(np.mod(w / np.float32(pitch), 1) - 0.5) * 2 < wide for w in (u, v))
    kind = rng.integers(4)
    pattern = (one, one | two, one ^ two, one & two)[int(kind)]
    return cv2.GaussianBlur(pattern.astype(np.float32), (0, 0), max(0.4, 0.3 * b.px))


def _print(b: Board, rng: Generator) -> Field:
    """0..1: lines of print, frames and filled boxes, as on newspaper, labels or cartons."""
    canvas = np.zeros(b.shape, np.uint8)
    for _ in range(int(rng.integers(2, 12))):
        x, y = (int(rng.uniform(-0.1, 1) * n) for n in b.shape[::-1])
        tall = rng.uniform(3, 30) * b.px
        if rng.random() < 0.7:
            letters = "".join(rng.choice(list("ABCDEFGHKLMNOPRSTUVXZ 0123456789"), int(rng.integers(3, 24))))
            for row in range(int(rng.integers(1, 9))):
                at = (x, int(y + row * 1.6 * tall))
                cv2.putText(canvas, letters, at, 0, tall / 22, 255, max(1, int(tall / 9)), cv2.LINE_AA)
        else:
            end = (int(x + rng.uniform(2, 9) * tall), int(y + rng.uniform(1, 5) * tall))
            cv2.rectangle(canvas, (x, y), end, 255, int(rng.choice([-1, 1, 3])))
    return canvas.astype(np.float32) / 255


def _cup_rings(b: Board, rng: Generator) -> Field:
    """0..1: round stains left by cups, cans and oily parts."""
    canvas = np.zeros(b.shape, np.uint8)
    for _ in range(int(rng.integers(1, 5))):
        at = tuple(int(rng.uniform(0, 1) * n) for n in b.shape[::-1])
        radius = rng.uniform(15, 90) * b.px
        cv2.circle(canvas, at, int(radius), 255, max(1, int(rng.uniform(0.5, 8) * b.px)), cv2.LINE_AA)
    broken = np.clip(0.6 + 0.6 * b.noise(18, 3), 0, 1)
    return cv2.GaussianBlur(canvas.astype(np.float32) / 255, (0, 0), 0.8) * broken
