"""What each ray from the camera meets, what of the lamps and the room it sees from there, and its shade."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tests.scenes.bench import Lamp, Light
from tests.scenes.clutter import Finish
from tests.scenes.geometry import Pinhole, Pose
from tests.scenes.mesh import Mesh
from tests.scenes.render import Painted, load_mitsuba, mesh_shape

Field = NDArray[np.float32]
NEAR = 160.0  # mm within which things shut out the room's light
SKY_BLUR = (0.7, 2.5, 7.0)  # of the room's map, for sharp, soft and matte surfaces


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """One mesh of the scene, where it lies, how it looks and what its pixels are called."""

    mesh: Mesh
    pose: Pose
    paint: Painted | Finish
    label: int
    owner: int = -1  # index of the part


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """Per pixel (H, W): index of the surface (-1 none), place, normal, map coordinates, what shines on it."""

    surface: NDArray[np.int16]
    point: Field  # (H, W, 3) mm
    normal: Field  # (H, W, 3)
    uv: Field  # (H, W, 2)
    lit: Field  # (H, W, lamps) 0 or 1
    open: Field  # (H, W) 0..1 share of the room in sight


def trace(
    surfaces: Sequence[Surface], camera: Pinhole, lamps: Sequence[Lamp], rng: Generator, variant: str
) -> Seen:
    """Cast one ray a pixel, and from what it meets one ray to each lamp and one into the room."""
    mi = load_mitsuba(variant)
    import drjit as dr

    meshes = [mesh_shape(mi, s.mesh.moved(s.pose.rotation, s.pose.shift)) for s in surfaces]
    scene = mi.load_dict({"type": "scene"} | {f"shape{k}": mesh for k, mesh in enumerate(meshes)})
    x, y = np.meshgrid(np.arange(camera.width, dtype=float), np.arange(camera.height, dtype=float))
    middle = (camera.width - 1) / 2, (camera.height - 1) / 2
    rays = np.stack(
        [(x - middle[0]) / camera.focal_px, (y - middle[1]) / camera.focal_px, np.ones_like(x)], -1
    )
    rays = (rays / np.linalg.norm(rays, axis=-1, keepdims=True)).reshape(-1, 3) @ camera.rotation
    n = len(rays)
    ray = mi.Ray3f(mi.Point3f(*map(float, camera.centre)), _vector(mi, rays))
    hit = scene.ray_intersect(ray)
    numbers = dr.reinterpret_array(mi.UInt32, hit.shape)
    dr.eval(numbers, hit.p, hit.sh_frame.n, hit.uv)  # at once: each alone would cast the rays again
    index = np.array(numbers)
    point = np.stack([np.array(hit.p[k]) for k in range(3)], -1).astype(np.float32)
    normal = np.stack([np.array(hit.sh_frame.n[k]) for k in range(3)], -1).astype(np.float32)
    uv = np.stack([np.array(hit.uv[k]) for k in range(2)], -1).astype(np.float32)
    facing = np.sign(-(normal * rays).sum(axis=1, keepdims=True))
    normal = np.where(np.isfinite(normal), normal * facing, 0).astype(np.float32)
    surface = np.full(n, -1, np.int16)
    for k, mesh in enumerate(meshes):
        surface[index == int(np.array(dr.reinterpret_array(mi.UInt32, mi.ShapePtr(mesh)))[0])] = k
    start = point + 0.05 * normal
    lit = np.stack([_reaches(mi, scene, start, _on_lamp(lamp, n, rng)) for lamp in lamps], -1)
    away = normal + _on_sphere(n, rng)
    away /= np.maximum(np.linalg.norm(away, axis=1, keepdims=True), 1e-6)
    room = _reaches(mi, scene, start, start + NEAR * away)
    shape = (camera.height, camera.width)
    lit = lit.reshape(*shape, -1)
    room = cv2.blur(room.reshape(shape), (5, 5))  # one ray a pixel is noisy: neighbours share theirs
    for k in range(lit.shape[-1]):
        lit[..., k] = cv2.blur(lit[..., k], (3, 3))
    return Seen(
        surface.reshape(shape),
        point.reshape(*shape, 3),
        normal.reshape(*shape, 3),
        uv.reshape(*shape, 2),
        lit,
        room,
    )


def _vector(mi: Any, values: NDArray[Any]) -> Any:
    return mi.Vector3f(*(mi.Float(np.ascontiguousarray(values[:, k], np.float32)) for k in range(3)))


def _reaches(mi: Any, scene: Any, start: Field, target: Field) -> Field:
    """1 where nothing stands between a place and its target."""
    away = target - start
    distance = np.linalg.norm(away, axis=1)
    ray = mi.Ray3f(mi.Point3f(_vector(mi, start)), _vector(mi, away / distance[:, None]))
    ray.maxt = mi.Float(np.ascontiguousarray(distance, np.float32))
    return 1 - np.array(scene.ray_test(ray)).astype(np.float32)


def _on_lamp(lamp: Lamp, n: int, rng: Generator) -> Field:
    """A random place on the lamp for each ray."""
    axis = np.array(lamp.aim) - np.array(lamp.position)
    axis = axis / np.linalg.norm(axis)
    side = np.cross(axis, [0.0, 0.0, 1.0] if abs(axis[2]) < 0.9 else [1.0, 0.0, 0.0])
    side /= np.linalg.norm(side)
    up = np.cross(side, axis)
    u, v = rng.uniform(-1, 1, (2, n, 1))
    return (np.array(lamp.position) + u * lamp.half[0] * side + v * lamp.half[1] * up).astype(np.float32)


def _on_sphere(n: int, rng: Generator) -> Field:
    away = rng.standard_normal((n, 3), np.float32)
    return away / np.linalg.norm(away, axis=1, keepdims=True)


def shade(seen: Seen, surfaces: Sequence[Surface], camera: Pinhole, light: Light) -> Field:
    """Linear sRGB radiance (H, W, 3): matte body, GGX highlights of the lamps, a blurred room in reflection.

    The GGX lobe and its visibility term are Walter et al. 2007, equations 33 and 34 (numbers from memory).
    """
    albedo, rough, sheen, metal, normal = _materials(seen, surfaces)
    view = (camera.centre - seen.point).astype(np.float32)
    view /= np.linalg.norm(view, axis=-1, keepdims=True)
    to_view = np.clip(_dot(normal, view), 0.02, 1)
    first = albedo * metal[..., None] + (0.08 * sheen * (1 - metal))[..., None]
    body = albedo * (1 - metal)[..., None]
    out = np.zeros_like(albedo)
    for k, lamp in enumerate(light.lamps):
        away = np.array(lamp.position, np.float32) - seen.point
        distance = np.linalg.norm(away, axis=-1)
        away /= distance[..., None]
        middle = np.array(lamp.position) - np.array(lamp.aim)
        reach = float(np.linalg.norm(middle))
        upright = abs(float(middle[2])) / reach
        falling = np.clip(_dot(normal, away), 0, 1) * (reach / distance) ** 2 / upright * seen.lit[..., k]
        power = (lamp.irradiance * falling)[..., None] * np.array(lamp.colour, np.float32)
        alpha = np.clip(rough + 0.5 * np.sqrt(lamp.half[0] * lamp.half[1]) / reach, 0.04, 1)
        half = away + view
        half /= np.linalg.norm(half, axis=-1, keepdims=True)
        fresnel = first + (1 - first) * ((1 - np.clip(_dot(view, half), 0, 1)) ** 5)[..., None]
        lobe = alpha**2 / (np.pi * (np.clip(_dot(normal, half), 0, 1) ** 2 * (alpha**2 - 1) + 1) ** 2)
        shadowing = 1 / (to_view * 2 + alpha)  # about G / (4 n.l n.v) away from grazing
        gloss = np.minimum(lobe * shadowing * np.pi / 2, 40.0)
        out += power * (body + fresnel * gloss[..., None])
    levels = [
        cv2.GaussianBlur(np.tile(light.room, (1, 3, 1)), (0, 0), s)[
            :, light.room.shape[1] : -light.room.shape[1]
        ]
        for s in SKY_BLUR
    ]
    mirror = 2 * _dot(normal, view)[..., None] * normal - view
    sharp, soft = _room(levels[0], mirror), _room(levels[1], mirror)
    matte = _room(levels[2], mirror)
    t = np.clip(rough[..., None] * 2, 0, 1)
    reflected = np.where(t < 0.5, sharp + (soft - sharp) * 2 * t, soft + (matte - soft) * (2 * t - 1))
    open_room = seen.open[..., None]
    fresnel = first + np.maximum(1 - rough[..., None] - first, 0) * ((1 - to_view) ** 5)[..., None]
    out += body * _room(levels[2], normal) * open_room + fresnel * reflected * (0.35 + 0.65 * open_room)
    return np.maximum(out, 0).astype(np.float32)


def _dot(a: Field, b: Field) -> Field:
    return np.einsum("...i,...i->...", a, b)


def _room(room: Field, away: Field) -> Field:
    """Radiance of the room's map in directions (H, W, 3)."""
    rows, columns = room.shape[:2]
    turn = np.arctan2(away[..., 1], away[..., 0]) / (2 * np.pi)
    down = np.arccos(np.clip(away[..., 2], -1, 1)) / np.pi
    map_x = np.clip(np.mod(turn, 1) * columns, 0, columns - 1).astype(np.float32)
    map_y = np.clip(down * rows - 0.5, 0, rows - 1).astype(np.float32)
    return cv2.remap(np.ascontiguousarray(room), map_x, map_y, cv2.INTER_LINEAR)


def _materials(seen: Seen, surfaces: Sequence[Surface]) -> tuple[Field, Field, Field, Field, Field]:
    """Colour, roughness, sheen, metal and bent normal of each pixel."""
    shape = seen.surface.shape
    albedo, rough = np.zeros((*shape, 3), np.float32), np.full(shape, 0.5, np.float32)
    sheen, metal, normal = np.zeros(shape, np.float32), np.zeros(shape, np.float32), seen.normal.copy()
    for k, s in enumerate(surfaces):
        mine = seen.surface == k
        if not mine.any():
            continue
        if isinstance(s.paint, Finish):
            albedo[mine], rough[mine] = s.paint.colour, s.paint.roughness
            sheen[mine], metal[mine] = s.paint.specular, s.paint.metal
            continue
        x, y, wide, tall = cv2.boundingRect(mine.astype(np.uint8))
        box = np.s_[y : y + tall, x : x + wide]
        inside = mine[box]
        rows, columns = s.paint.height.shape
        map_x = seen.uv[box][..., 0] * np.float32(columns) - np.float32(0.5)
        map_y = seen.uv[box][..., 1] * np.float32(rows) - np.float32(0.5)
        step = 2 * s.paint.half_mm[0] / columns
        slope_down, slope_right = np.gradient(s.paint.height, step)
        stack = np.dstack(
            [s.paint.albedo, s.paint.roughness, s.paint.specular, s.paint.metal, slope_right, slope_down]
        ).astype(np.float32)
        halves = [
            cv2.remap(part, map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)[inside]
            for part in (stack[..., :4], stack[..., 4:])
        ]
        albedo[mine], rough[mine] = halves[0][:, :3], halves[0][:, 3]
        sheen[mine], metal[mine] = halves[1][:, 0], halves[1][:, 1]
        right, up = s.pose.rotation[:, 0], s.pose.rotation[:, 1]
        bent = normal[mine] - halves[1][:, 2:3] * right + halves[1][:, 3:4] * up
        normal[mine] = bent / np.linalg.norm(bent, axis=1, keepdims=True)
    return albedo, np.clip(rough, 0.04, 1), sheen, metal, normal
