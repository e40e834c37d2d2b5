"""Round and flat solids that bench objects are built from; lengths are millimetres."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from skimage.measure import marching_cubes

from tests.scenes.mesh import Array, Mesh, grid_mesh, joined

Outline = list[tuple[float, float]]


def lathe(profile: Outline, n: int = 160) -> Mesh:
    """A solid of revolution; ``profile`` is a closed walk of (radius, height), outside to the right going up.

    Each profile segment keeps its own normals, so that edges stay sharp while the turn is smooth.
    """
    angle = np.arange(n) * 2 * np.pi / n
    strips = []
    for (r0, z0), (r1, z1) in zip(profile, profile[1:] + profile[:1], strict=True):
        if max(r0, r1) < 1e-9 or (r0, z0) == (r1, z1):
            continue
        rings = [
            np.stack([r * np.cos(angle), r * np.sin(angle), np.full(n, z)], 1)
            for r, z in ((r1, z1), (r0, z0))
        ]
        length = np.hypot(r1 - r0, z1 - z0)
        out, up = (z1 - z0) / length, -(r1 - r0) / length
        normal = np.stack([out * np.cos(angle), out * np.sin(angle), np.full(n, up)], 1)
        strip = grid_mesh(np.stack(rings), closed=True)
        strips.append(Mesh(strip.vertices, strip.faces, strip.uv, np.concatenate([normal, normal])))
    return joined(*strips)


def washer_profile(inner: float, outer: float, height: float, bevel: float, z: float = 0.0) -> Outline:
    """Section of a flat ring with bevelled edges."""
    b = min(bevel, height / 2.5, (outer - inner) / 3)
    return [
        (inner + b, z),
        (outer - b, z),
        (outer, z + b),
        (outer, z + height - b),
        (outer - b, z + height),
        (inner + b, z + height),
        (inner, z + height - b),
        (inner, z + b),
    ]


def ball(radius: float, x: float, y: float, z: float) -> Mesh:
    """A smooth sphere."""
    t = np.linspace(0, np.pi, 17)
    rows = np.stack([np.stack([np.sin(t), np.zeros(17), np.cos(t)], 1)] * 24, axis=1)
    a = np.arange(24) * 2 * np.pi / 24
    unit = np.stack([rows[..., 0] * np.cos(a), rows[..., 0] * np.sin(a), rows[..., 2]], axis=-1)
    mesh = grid_mesh(unit * radius + np.array([x, y, z]), closed=True)
    return Mesh(mesh.vertices, mesh.faces, mesh.uv, unit.reshape(-1, 3))


def tube(path: Array, radius: Array | float, n: int = 20) -> Mesh:
    """A round bar of given radius (scalar or per point) along ``path`` (P, 3), with closed ends."""
    along = np.gradient(path, axis=0)
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    side = np.cross(along, [0.0, 0.0, 1.0])
    flat = np.linalg.norm(side, axis=1) < 1e-6
    side[flat] = np.cross(along[flat], [1.0, 0.0, 0.0])
    side /= np.linalg.norm(side, axis=1, keepdims=True)
    up = np.cross(side, along)
    a = np.arange(n) * 2 * np.pi / n
    ring = side[:, None] * np.cos(a)[None, :, None] + up[:, None] * np.sin(a)[None, :, None]
    wide = np.broadcast_to(np.asarray(radius, float), (len(path),))[:, None, None]
    points = np.concatenate(
        [path[:1, None] + 0 * ring[:1], path[:, None] + wide * ring, path[-1:, None] + 0 * ring[:1]]
    )
    return grid_mesh(points, closed=True, smooth=True)


def extruded(
    inside: Callable[[Array, Array], Array], size: tuple[float, float], height: float, step: float
) -> Mesh:
    """A flat object with rounded edges.

    ``inside`` is a signed distance in mm, negative inside; ``size`` is the half extent it needs.
    """
    x = np.arange(-size[0] - 2 * step, size[0] + 2.5 * step, step)
    y = np.arange(-size[1] - 2 * step, size[1] + 2.5 * step, step)
    z = np.arange(-step, height + 1.5 * step, step / 2)
    flat = inside(x[:, None], y[None, :])[:, :, None]
    tall = (np.abs(z - height / 2) - height / 2)[None, None, :]
    soft = min(height / 3, 1.2)
    both = np.maximum(np.stack(np.broadcast_arrays(flat + soft, tall + soft)), 0)
    field = np.hypot(both[0], both[1]) + np.minimum(np.maximum(flat + soft, tall + soft), 0) - soft
    points, faces, normals, _ = marching_cubes(
        field, 0.0, spacing=(step, step, step / 2), gradient_direction="ascent"
    )
    points = points + np.array([x[0], y[0], z[0]])
    return Mesh(points, faces[:, ::-1].astype(np.int64), np.zeros((len(points), 2)), -normals.astype(float))


def bar(x: Array, y: Array, a: tuple[float, float], b: tuple[float, float], radius: float) -> Array:
    """Signed distance to a bar with round ends from ``a`` to ``b``."""
    d = np.array(b) - np.array(a)
    t = np.clip(((x - a[0]) * d[0] + (y - a[1]) * d[1]) / (d @ d), 0, 1)
    return np.hypot(x - a[0] - t * d[0], y - a[1] - t * d[1]) - radius
