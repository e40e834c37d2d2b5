"""Solids as triangle meshes: toothed plates, the band strap, and what else lies on a bench.

Lengths are millimetres. A solid stands on the plane z = 0 of its own frame (x right, y up on the page, z
towards the viewer); a skin's y points down, so skin y is minus mesh y.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.scenes.skin import BandShape, PlateShape

Array = NDArray[np.float64]

BURR = 0.06  # mm, the corner that stamping leaves on a thin edge
FINEST_ARC_DEG = 0.5  # a chord this long on a 180 mm plate strays 0.001 mm from the circle


@dataclass(frozen=True, slots=True, eq=False)
class Mesh:
    """Triangles with optional smooth normals.

    ``vertices`` (N, 3) mm; ``faces`` (M, 3) indices, counter-clockwise seen from outside; ``uv`` (N, 2), u
    right and v down the skin, 0..1; ``normals`` (N, 3) unit vectors, or None for flat facets.
    """

    vertices: Array
    faces: NDArray[np.int64]
    uv: Array
    normals: Array | None = None

    def moved(self, rotation: Array, shift: Array) -> Mesh:
        """The mesh turned by ``rotation`` (3, 3) about its own origin, then moved by ``shift`` (3,)."""
        normals = None if self.normals is None else self.normals @ rotation.T
        return Mesh(self.vertices @ rotation.T + shift, self.faces, self.uv, normals)


def joined(*meshes: Mesh) -> Mesh:
    """One mesh of several; all or none of them carry normals."""
    offsets = np.cumsum([0] + [len(m.vertices) for m in meshes[:-1]])
    normals = [m.normals for m in meshes if m.normals is not None]
    if normals and len(normals) != len(meshes):
        raise ValueError("either all meshes or none carry normals")
    return Mesh(
        np.concatenate([m.vertices for m in meshes]),
        np.concatenate([m.faces + offset for m, offset in zip(meshes, offsets, strict=True)]),
        np.concatenate([m.uv for m in meshes]),
        np.concatenate(normals) if normals else None,
    )


def grid_mesh(points: Array, uv: Array | None = None, closed: bool = False, smooth: bool = False) -> Mesh:
    """A sheet of quads over ``points`` (R, C, 3), seen from outside with columns to the right and rows down.

    ``closed`` joins the last column to the first; ``smooth`` adds normals averaged over neighbouring quads.
    """
    rows, columns = points.shape[:2]
    index = np.arange(rows * columns).reshape(rows, columns)
    left = index if closed else index[:, :-1]
    right = np.roll(index, -1, axis=1) if closed else index[:, 1:]
    a, b, c, d = left[:-1].ravel(), right[:-1].ravel(), right[1:].ravel(), left[1:].ravel()
    faces = np.concatenate([np.stack([a, d, c], 1), np.stack([a, c, b], 1)])
    vertices = points.reshape(-1, 3)
    normals = None
    if smooth:
        corner = vertices[faces]
        area = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
        normals = np.zeros_like(vertices)
        for k in range(3):
            np.add.at(normals, faces[:, k], area)
        normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)
    return Mesh(vertices, faces, np.zeros((len(vertices), 2)) if uv is None else uv.reshape(-1, 2), normals)


def tooth_outline(shape: PlateShape) -> tuple[Array, Array]:
    """Angles (N,) in degrees, clockwise from +x, and tooth height (N,) as a fraction of the depth."""
    pitch = 360.0 / shape.n_teeth
    half = shape.tooth_duty * pitch / 2
    slope = {"trapezoid": 0.10, "involute": 0.22, "rounded": 0.36}[shape.tooth_shape] * min(
        half, pitch / 2 - half
    )
    flank = np.linspace(0.0, 1.0, 9)
    fall = {
        "trapezoid": 1 - flank,
        "involute": 1 - flank**1.7,
        "rounded": 1 - flank * flank * (3 - 2 * flank),
    }[shape.tooth_shape]

    def arc(start: float, stop: float) -> Array:
        return np.linspace(start, stop, max(3, int(np.ceil((stop - start) / FINEST_ARC_DEG)) + 1))[1:-1]

    tip, root = arc(slope - half, half - slope), arc(half + slope, pitch - half - slope)
    angle = np.concatenate([-half - slope + 2 * slope * flank, tip, half - slope + 2 * slope * flank, root])
    height = np.concatenate([fall[::-1], np.ones(len(tip)), fall, np.zeros(len(root))])
    kept = np.array([i not in shape.missing_teeth for i in range(shape.n_teeth)], float)
    return (
        (angle[None, :] + pitch * np.arange(shape.n_teeth)[:, None]).ravel(),
        (height[None, :] * kept[:, None]).ravel(),
    )


def _ring(radius: Array | float, angle_deg: Array, z: float) -> Array:
    angle = np.deg2rad(angle_deg)
    x, y = radius * np.cos(angle), -radius * np.sin(angle)
    return np.stack([x, y, np.full(len(angle_deg), z)], axis=1)


def _planar_uv(points: Array, half_mm: tuple[float, float]) -> Array:
    return np.stack(
        [(points[..., 0] + half_mm[0]) / (2 * half_mm[0]), (half_mm[1] - points[..., 1]) / (2 * half_mm[1])],
        axis=-1,
    )


@dataclass(frozen=True, slots=True, eq=False)
class Solid:
    """A part in three meshes: what the skin is painted on, the metal edges, and the lining's cut edges."""

    top: Mesh
    metal_edges: Mesh
    lining_edges: Mesh | None


def plate_solid(shape: PlateShape, half_mm: tuple[float, float]) -> Solid:
    """The plate lying on z = 0, its face's edges exactly at ``inner_r`` and ``outer_r`` on its upper surface.

    The rounding of the top edge lies outside those radii, because the face ends where the flat ends.
    """
    angle, tooth = tooth_outline(shape)
    reach = tooth * shape.tooth_depth
    inner = shape.core_inner_r - (reach if shape.teeth == "inner" else 0.0)
    outer = shape.core_outer_r + (reach if shape.teeth == "outer" else 0.0)
    low, high = shape.lining_thickness, shape.thickness_mm - shape.lining_thickness
    soft = max(shape.chamfer_mm, BURR) if shape.lining_thickness == 0 else BURR
    rim = soft if shape.lining_thickness == 0 else 0.0

    def ring(radius: Array | float, z: float) -> Array:
        return _ring(np.broadcast_to(radius, angle.shape), angle, z)

    def band(*rings: Array) -> Mesh:
        points = np.stack(rings)
        return grid_mesh(points, _planar_uv(points, half_mm), closed=True)

    core_top = band(ring(outer, high), ring(inner, high))
    wall = [
        band(ring(inner, high), ring(inner - rim, high - soft), ring(inner - rim, low)),
        band(ring(inner - rim, low), ring(outer + rim, low)),
        band(ring(outer + rim, low), ring(outer + rim, high - soft), ring(outer, high)),
    ]
    if shape.lining_thickness == 0:
        return Solid(core_top, joined(*wall), None)
    linings = []
    for bottom, top in ((0.0, low), (high, shape.thickness_mm)):
        linings += [
            band(ring(shape.inner_r, top), ring(shape.inner_r, bottom)),
            band(ring(shape.outer_r, bottom), ring(shape.outer_r, top)),
        ]
    lower = band(ring(shape.inner_r, 0.0), ring(shape.outer_r, 0.0))
    face = band(ring(shape.outer_r, shape.thickness_mm), ring(shape.inner_r, shape.thickness_mm))
    return Solid(joined(face, core_top), joined(*wall), joined(*linings, lower))


def band_point(shape: BandShape, along: Array, across: Array) -> Array:
    """Where a point of the strap lies, (..., 2) mm, y up; ``along`` is arc length, ``across`` points down."""
    bend = np.deg2rad(shape.bend_deg)
    if abs(bend) < 1e-6:
        return np.stack(np.broadcast_arrays(along, -np.asarray(across, float)), axis=-1)
    radius = (
        shape.length_mm / bend
    )  # centre of the arc lies at y = -radius: positive bends towards +y of the skin
    turn = along / radius
    r = radius - across
    return np.stack([r * np.sin(turn), r * np.cos(turn) - radius], axis=-1)


def band_solid(shape: BandShape, half_mm: tuple[float, float]) -> Solid:
    """The opened strap on z = 0 with its lining up and a folded bracket on each end."""
    steel = shape.thickness_mm - shape.lining_thickness
    ends, side = shape.length_mm / 2, shape.width_mm / 2
    face_end, face_side = shape.face_half_mm

    def slab(x: tuple[float, float], y: tuple[float, float], z: tuple[float, float]) -> tuple[Mesh, Mesh]:
        along = np.linspace(*x, 121)
        rim = [(y[0], z[0]), (y[0], z[1]), (y[1], z[1]), (y[1], z[0])]  # section, across and up

        def rows(*section: tuple[float, float]) -> Mesh:
            points = np.stack(
                [np.c_[band_point(shape, along, np.full(121, a)), np.full(121, h)] for a, h in section]
            )
            inside = np.clip(np.stack([np.full(121, a) for a, _ in section]), y[0] + 0.2, y[1] - 0.2)
            uv = np.stack(
                [
                    np.broadcast_to((along + half_mm[0]) / (2 * half_mm[0]), inside.shape),
                    (inside + half_mm[1]) / (2 * half_mm[1]),
                ],
                axis=-1,
            )
            return grid_mesh(points, uv)

        caps = []
        for at, order in ((x[0], (3, 2, 1, 0)), (x[1], (0, 1, 2, 3))):
            corner = np.array(
                [[*band_point(shape, np.float64(at), np.float64(rim[i][0])), rim[i][1]] for i in order]
            )
            caps.append(Mesh(corner, np.array([[0, 1, 2], [0, 2, 3]]), np.zeros((4, 2))))
        return rows(rim[1], rim[2]), joined(
            rows(rim[0], rim[1]), rows(rim[2], rim[3]), rows(rim[3], rim[0]), *caps
        )

    strap_top, strap_edges = slab((-ends, ends), (-side, side), (0.0, steel))
    lining_top, lining_edges = slab(
        (-face_end, face_end), (-face_side, face_side), (steel, shape.thickness_mm)
    )
    brackets = [_bracket(shape, sign, steel) for sign in (-1.0, 1.0)]
    return Solid(joined(lining_top, strap_top), joined(strap_edges, *brackets), lining_edges)


def _bracket(shape: BandShape, sign: float, steel: float) -> Mesh:
    """A block with a sloping back, welded across one end: the anchor or the servo's lever bears on it."""
    length, height = shape.bracket_mm
    outer, inner = shape.length_mm / 2 - 0.6, shape.length_mm / 2 - length
    half = shape.width_mm * 0.36
    section = np.array(
        [
            (inner, steel),
            (inner + 0.25 * length, steel + height * 0.9),
            (inner + 0.4 * length, steel + height),
            (outer - 0.15 * length, steel + height),
            (outer, steel + height * 0.75),
            (outer, steel),
        ]
    )
    rows = []
    for across in (-half, half):
        xy = band_point(shape, sign * section[:, 0], np.full(len(section), across))
        rows.append(np.c_[xy, section[:, 1]])
    points = np.stack(rows if sign > 0 else rows[::-1])
    walls = grid_mesh(points, closed=True)
    fan = np.array([[0, k, k + 1] for k in range(1, len(section) - 1)])
    uv = np.zeros((len(section), 2))
    return joined(walls, Mesh(points[0], fan[:, ::-1], uv), Mesh(points[1], fan, uv))
