"""Where each map pixel lies on a part: across and along its face, in the same terms for plate and band."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.scenes.skin import BandShape, PlateShape

MARGIN_MM = 1.0  # beyond the part, so that a texture lookup at its edge never leaves the map


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """Coordinates of a map's pixels, all (H, W) float32."""

    half_mm: tuple[float, float]
    mm_per_px: float
    x: NDArray[np.float32]  # mm, right
    y: NDArray[np.float32]  # mm, down
    across: NDArray[np.float32]  # 0 inner or upper edge of the face, 1 outer or lower edge
    along: NDArray[np.float32]  # 0..1, angle from +x clockwise on a plate, left to right on a band
    edge_mm: NDArray[np.float32]  # distance inside the face's nearest edge, negative outside
    width_mm: float  # of the face
    length_mm: float  # of the face along its middle
    scale_mm: float  # what the contract counts sizes in: outer diameter, or width of a band
    ring: bool  # along wraps round

    @property
    def shape(self) -> tuple[int, int]:
        return self.x.shape  # type: ignore[return-value]

    @property
    def face(self) -> NDArray[np.bool_]:
        """The lining or working face."""
        return self.edge_mm >= 0

    @property
    def cover(self) -> NDArray[np.float32]:
        """The face with a soft edge one pixel wide, 0..1."""
        return np.clip(self.edge_mm / np.float32(self.mm_per_px) + 0.5, 0, 1)

    @property
    def disc_mm(self) -> float:
        """Diameter over which the contract averages colour when the scale is unknown."""
        return self.scale_mm / (150 if self.ring else 40)


def plate_grid(shape: PlateShape, resolution: int) -> Grid:
    """Square grid of ``resolution`` pixels a side round a plate."""
    half = shape.reach + MARGIN_MM
    step = 2 * half / resolution
    axis = (-half + (np.arange(resolution, dtype=np.float32) + 0.5) * step).astype(np.float32)
    x, y = np.meshgrid(axis, axis)
    r = np.hypot(x, y)
    width = shape.outer_r - shape.inner_r
    return Grid(
        half_mm=(half, half),
        mm_per_px=step,
        x=x,
        y=y,
        across=(r - shape.inner_r) / np.float32(width),
        along=np.mod(np.arctan2(y, x) / np.float32(2 * np.pi), 1).astype(np.float32),
        edge_mm=np.minimum(r - np.float32(shape.inner_r), np.float32(shape.outer_r) - r),
        width_mm=width,
        length_mm=np.pi * (shape.inner_r + shape.outer_r),
        scale_mm=2 * shape.outer_r,
        ring=True,
    )


def band_grid(shape: BandShape, resolution: int) -> Grid:
    """Grid of ``resolution`` pixels along a band and as many across as make them square."""
    half_x = shape.length_mm / 2 + MARGIN_MM
    step = 2 * half_x / resolution
    rows = int(np.ceil((shape.width_mm + 2 * MARGIN_MM) / step))
    half_y = rows * step / 2
    columns = -half_x + (np.arange(resolution, dtype=np.float32) + 0.5) * step
    x, y = np.meshgrid(columns, -half_y + (np.arange(rows, dtype=np.float32) + 0.5) * step)
    face_x, face_y = shape.face_half_mm
    return Grid(
        half_mm=(half_x, half_y),
        mm_per_px=step,
        x=x.astype(np.float32),
        y=y.astype(np.float32),
        across=((y + face_y) / (2 * face_y)).astype(np.float32),
        along=((x + face_x) / (2 * face_x)).astype(np.float32),
        edge_mm=np.minimum(face_x - np.abs(x), face_y - np.abs(y)).astype(np.float32),
        width_mm=2 * face_y,
        length_mm=2 * face_x,
        scale_mm=shape.width_mm,
        ring=False,
    )
