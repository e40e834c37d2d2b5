"""Grain, fibres, weave, ground metal, scratches, cracks and printed ink, as plain arrays.

Every random function takes a numpy Generator; fields called "unit" have zero mean and a
standard deviation of one.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.scenes.grid import Grid

Field = NDArray[np.floating[Any]]


def unit(field: Field) -> Field:
    """The field shifted and scaled to zero mean and a standard deviation of one."""
    return ((field - field.mean()) / max(float(field.std()), 1e-9)).astype(np.float32)


def smooth_noise(rng: np.random.Generator, shape: tuple[int, int], cell_px: float, octaves: int = 1) -> Field:
    """Unit noise whose bumps are about ``cell_px`` across; each octave halves size and weight."""
    total = np.zeros(shape, np.float32)
    for octave in range(octaves):
        cell = max(cell_px / 2**octave, 1.0)
        rows, columns = (int(np.ceil(n / cell)) + 3 for n in shape)
        coarse = rng.standard_normal((rows, columns)).astype(np.float32)
        fine = cv2.resize(coarse, None, fx=cell, fy=cell, interpolation=cv2.INTER_CUBIC)
        top, left = (int(rng.integers(0, max(1, fine.shape[i] - shape[i]))) for i in (0, 1))
        total += fine[top : top + shape[0], left : left + shape[1]] / 2**octave
    return unit(total)


def ring_noise(rng: np.random.Generator, grid: Grid, across_mm: float, along_mm: float) -> Field:
    """Unit noise that follows the part's lay: bumps ``across_mm`` by ``along_mm``, no seam at angle 0."""
    rows = max(4, round(grid.width_mm * 1.6 / across_mm))
    columns = max(4, round(grid.length_mm / along_mm))
    strip = rng.standard_normal((rows, columns)).astype(np.float32)
    return unit(_unroll(strip, grid))


def _unroll(strip: Field, grid: Grid) -> Field:
    """Lay a strip (across -0.3..1.3, along 0..1) onto the part."""
    rows, columns = strip.shape
    if grid.ring:
        strip = np.concatenate([strip[:, -2:], strip, strip[:, :2]], axis=1)
    map_x = grid.along * columns + (1.5 if grid.ring else -0.5)
    map_y = (grid.across + 0.3) / 1.6 * rows - 0.5
    return cv2.remap(strip, map_x, map_y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)


def fibres(
    rng: np.random.Generator, shape: tuple[int, int], length_px: float, width_px: float, cover: float
) -> Field:
    """Unit tone of a felt of pale and dark curved fibres lying across each other.

    ``cover`` is the number of fibre layers. Drawn on a tile of at most 640 pixels, repeated: finer than
    anybody can follow round a plate.
    """
    side = min(640, max(shape))
    pad = int(length_px) + 2
    count = int(cover * side * side / (length_px * max(width_px, 1.0)))
    tile = np.full((side + 2 * pad, side + 2 * pad), 128, np.uint8)
    thickness = max(1, round(width_px))
    for group in np.array_split(np.arange(count), 24):
        n = len(group)
        start = rng.uniform(0, side + 2 * pad, (n, 1, 2))
        angle = rng.uniform(0, 2 * np.pi, (n, 1))
        bend = rng.normal(0, 0.5, (n, 1))
        heading = angle + bend * np.array([[0.0, 0.5, 1.0]])
        reach = length_px * rng.lognormal(0, 0.45, (n, 1)) / 3
        steps = np.stack([np.cos(heading), np.sin(heading)], -1) * reach[..., None]
        points = np.concatenate([start, start + np.cumsum(steps, axis=1)], axis=1)
        tone = int(np.clip(rng.normal(128, 42), 10, 245))
        cv2.polylines(
            tile, list(np.round(points * 16).astype(np.int32)), False, tone, thickness, cv2.LINE_AA, 4
        )
    cut = tile[pad:-pad, pad:-pad].astype(np.float32)
    repeats = [-(-n // side) for n in shape]
    return unit(np.tile(cut, repeats)[: shape[0], : shape[1]])


def weave(grid: Grid, yarn_mm: float, turn_deg: float) -> tuple[Field, Field]:
    """Two-by-two twill of flat yarns: (height 0..1, unit tone).

    Tone differs with the yarn's direction, as light does on a real weave.
    """
    turn = np.radians(turn_deg)
    u = (grid.x * np.cos(turn) + grid.y * np.sin(turn)) / np.float32(yarn_mm)
    v = (-grid.x * np.sin(turn) + grid.y * np.cos(turn)) / np.float32(yarn_mm)
    warp_on_top = np.mod(np.floor(u) - np.floor(v), 4) < 2
    bulge_u, bulge_v = (np.sqrt(np.clip(1 - (2 * np.mod(w, 1) - 1) ** 2, 0, 1)) for w in (u, v))
    height = np.where(warp_on_top, bulge_u, bulge_v).astype(np.float32)
    return height, unit(height + 0.6 * warp_on_top.astype(np.float32))


def ground_metal(rng: np.random.Generator, grid: Grid, lay: str) -> Field:
    """Unit relief of a ground or brushed face.

    ``lay`` is "turned" (lines round the part), "cross hatch" (two sets of long arcs), "brushed" (one set of
    all but straight ones) or "tumbled" (no direction).
    """
    if lay == "turned":
        fine = ring_noise(rng, grid, 1.6 * grid.mm_per_px, 18.0)
        coarse = ring_noise(rng, grid, 6 * grid.mm_per_px, 40.0)
        return unit(fine + 0.5 * coarse)
    if lay == "cross hatch":
        lines = _arc_lines(rng, grid) + _arc_lines(rng, grid)
        return unit(lines + 0.35 * smooth_noise(rng, grid.shape, 2.0))
    if lay == "brushed":
        return unit(_arc_lines(rng, grid, 12.0) + 0.2 * smooth_noise(rng, grid.shape, 2.0))
    return unit(smooth_noise(rng, grid.shape, 1.5) + 0.6 * smooth_noise(rng, grid.shape, 6.0, 2))


def _arc_lines(rng: np.random.Generator, grid: Grid, farther: float = 1.0) -> Field:
    """Lines of a large wheel: circles about a far centre, broken up along their length."""
    far = farther * grid.scale_mm * rng.uniform(0.7, 1.6)
    turn = rng.uniform(0, 2 * np.pi)
    centre_x, centre_y = np.float32(far * np.cos(turn)), np.float32(far * np.sin(turn))
    distance: Field = np.hypot(grid.x - centre_x, grid.y - centre_y) / np.float32(grid.mm_per_px)
    profile = rng.standard_normal(int(distance.max()) + 2).astype(np.float32)
    profile = profile + 0.7 * np.convolve(profile, np.ones(7, np.float32) / 2.6, "same")
    lines = cv2.remap(
        profile[None, :].astype(np.float32), distance, np.zeros_like(distance), cv2.INTER_LINEAR
    )
    return lines * (1 + 0.5 * smooth_noise(rng, grid.shape, 40.0))


def round_scratches(rng: np.random.Generator, grid: Grid, count: int, width_px: float = 1.0) -> Field:
    """Depth 0..1 of single scores that run round the part (along a band) for part of its length."""
    rows, columns = round(grid.width_mm * 1.6 / grid.mm_per_px), round(grid.length_mm / grid.mm_per_px)
    strip = np.zeros((rows, columns), np.uint8)
    for _ in range(count):
        row = rng.uniform(0.19, 0.81) * rows
        start, span = rng.uniform(0, columns), columns * rng.lognormal(-2.6, 0.8)
        drift = rng.normal(0, 1.5)
        depth = int(rng.uniform(60, 255))
        for shift in (0, -columns):  # the same score again a turn earlier, so that it passes angle 0
            left = start + shift
            _stroke(strip, (left, row), (left + span, row + drift), depth, max(1, round(width_px)))
    return np.clip(_unroll(strip.astype(np.float32) / 255, grid), 0, 1)


def stray_scratches(rng: np.random.Generator, grid: Grid, count: int) -> Field:
    """Depth 0..1 of short handling scratches in any direction."""
    canvas = np.zeros(grid.shape, np.uint8)
    size = np.array(grid.shape[::-1])
    for _ in range(count):
        start = rng.uniform(0, 1, 2) * size
        angle, span = rng.uniform(0, 2 * np.pi), rng.lognormal(1.2, 0.7) / grid.mm_per_px
        end = start + span * np.array([np.cos(angle), np.sin(angle)])
        _stroke(canvas, tuple(start), tuple(end), int(rng.uniform(50, 200)), 1)
    return canvas.astype(np.float32) / 255


def _stroke(
    canvas: NDArray[np.uint8], start: tuple[float, ...], end: tuple[float, ...], tone: int, width: int
) -> None:
    """Draw one smooth line in place between sub-pixel points (x, y)."""
    one, two = ([round(16 * float(v)) for v in point] for point in (start, end))
    cv2.line(canvas, one, two, tone, width, cv2.LINE_AA, 4)


def specks(rng: np.random.Generator, grid: Grid, count: int, size_mm: tuple[float, float]) -> Field:
    """Cover 0..1 of dirt specks of irregular outline on the face."""
    canvas = np.zeros(grid.shape, np.uint8)
    rows, columns = np.nonzero(grid.face[::4, ::4])
    for i in rng.integers(0, len(rows), count):
        radius = rng.uniform(*size_mm) / 2 / grid.mm_per_px
        angles = np.arange(7) * (2 * np.pi / 7)
        reach = radius * rng.uniform(0.5, 1.2, 7)
        outline = np.stack(
            [columns[i] * 4 + reach * np.cos(angles), rows[i] * 4 + reach * np.sin(angles)], -1
        )
        cv2.fillPoly(canvas, [np.round(outline * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
    return canvas.astype(np.float32) / 255


def cracks(rng: np.random.Generator, grid: Grid, cell_mm: float) -> Field:
    """Depth 0..1 of a net of fine cracks, cells about ``cell_mm`` across and drawn out along the part."""
    cell = cell_mm / grid.mm_per_px
    points = np.full(grid.shape, 255, np.uint8)
    n = int(points.size / cell**2)
    points[rng.integers(0, grid.shape[0], n), rng.integers(0, grid.shape[1], n)] = 0
    _, cells = cv2.distanceTransformWithLabels(points, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL)
    edge = np.zeros(grid.shape, np.float32)
    edge[:, 1:] += cells[:, 1:] != cells[:, :-1]
    edge[1:, :] += cells[1:, :] != cells[:-1, :]
    broken = np.clip(0.5 + 0.8 * smooth_noise(rng, grid.shape, 2.5 * cell), 0, 1)
    return np.clip(cv2.GaussianBlur(edge, (0, 0), 0.8) * 1.6, 0, 1) * broken


def printed_ink(rng: np.random.Generator, grid: Grid) -> Field:
    """Cover 0..1 of an invented part number printed along the face one to four times, partly worn off."""
    height_mm = float(np.clip(grid.width_mm * rng.uniform(0.2, 0.34), 2.2, 5.0))
    px_per_mm = 1 / grid.mm_per_px
    rows, columns = round(grid.width_mm * 1.6 * px_per_mm), round(grid.length_mm * px_per_mm)
    strip = np.zeros((rows, columns), np.uint8)
    letters = "".join(rng.choice(list("ABCDEFHJKLNPRTUVX"), 2))
    text = f"{letters}{rng.integers(10, 99)}-{rng.integers(100, 999)}{rng.choice(['', ' L', ' 4', ' 0'])}"
    scale = height_mm * px_per_mm / 21
    font, thickness = cv2.FONT_HERSHEY_SIMPLEX, max(1, round(0.28 * px_per_mm))
    (span, tall), _ = cv2.getTextSize(text, font, scale, thickness)
    repeats = int(rng.integers(1, max(2, min(5, columns // (2 * span)))))
    row = round(rows * rng.uniform(0.44, 0.56) + tall / 2)
    first = rng.uniform(0, columns / repeats)
    for i in range(repeats):
        left = round((first + i * columns / repeats) % max(1, columns - span))
        cv2.putText(strip, text, (left, row), font, scale, 255, thickness, cv2.LINE_AA)
    worn = np.clip(rng.uniform(0.75, 1.5) + 0.45 * smooth_noise(rng, grid.shape, 1.2 * px_per_mm, 3), 0, 1)
    if grid.ring:  # strip rows run outwards, so the text's head must come last to point outwards
        strip = strip[::-1]
    printed = np.clip(_unroll(strip.astype(np.float32) / 255, grid), 0, 1)
    return (printed * worn * grid.face).astype(np.float32)
