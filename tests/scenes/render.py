"""Path tracing of a bench scene with Mitsuba 3, and the exact ray casts that give the masks.

Needs mitsuba (a development dependency) and LLVM's shared library 17 or newer: with Debian 12 `libllvm19`.
LLVM 15 is found and loads, but cannot compile for processors with AVX-512.
"""

from __future__ import annotations

import glob
import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.scenes.bench import Lamp, Light, Surface
from tests.scenes.clutter import Finish, Thing
from tests.scenes.geometry import Hits, Pinhole, Pose
from tests.scenes.mesh import Mesh, band_solid, plate_solid
from tests.scenes.skin import BandShape, PlateShape, Skin

Field = NDArray[np.float32]

VARIANT = "llvm_ad_rgb"
OLDEST_LLVM = 17
DEPTH = 5
FIREFLY = 2.5
TEXELS_PER_PIXEL = 1.6  # maps are reduced to this: finer only adds noise, coarser loses grain
CUT_EDGE = 0.62  # a lining's cut edge against its face: fibres end on, half in shade


class Painted(Protocol):
    """What a skin and a bench surface have in common."""

    @property
    def half_mm(self) -> tuple[float, float]: ...
    @property
    def albedo(self) -> Field: ...
    @property
    def roughness(self) -> Field: ...
    @property
    def specular(self) -> Field: ...
    @property
    def metal(self) -> Field: ...
    @property
    def height(self) -> Field: ...


@dataclass(frozen=True, slots=True, eq=False)
class PlacedPart:
    """A painted part where it lies."""

    shape: PlateShape | BandShape
    skin: Skin
    pose: Pose


@dataclass(frozen=True, slots=True, eq=False)
class PlacedThing:
    """A bench object where it lies."""

    thing: Thing
    pose: Pose


@dataclass(frozen=True, slots=True, eq=False)
class Stage:
    """All that the camera sees."""

    bench: Surface
    bench_shift: tuple[float, float]  # where the bench map's centre lies
    bench_turn_deg: float
    light: Light
    parts: Sequence[PlacedPart]
    things: Sequence[PlacedThing]
    camera: Pinhole


def newest_llvm() -> str | None:
    """Path of this machine's newest LLVM library that Mitsuba can compile with, None without one."""
    if "DRJIT_LIBLLVM_PATH" in os.environ:
        return os.environ["DRJIT_LIBLLVM_PATH"]
    found = glob.glob("/usr/lib/*/libLLVM*.so*") + glob.glob("/usr/lib/llvm-*/lib/libLLVM*.so*")
    versions = {int(m.group(1)): path for path in found if (m := re.search(r"LLVM[-.a-z]*(\d+)", path))}
    return versions[max(versions)] if versions and max(versions) >= OLDEST_LLVM else None


def load_mitsuba(variant: str = VARIANT) -> Any:
    """The mitsuba module with ``variant`` set.

    Raises RuntimeError where the variant needs LLVM and this machine has none that is new enough.
    """
    if variant.startswith("llvm"):
        llvm = newest_llvm()
        if llvm is None:
            raise RuntimeError("no LLVM library of version 17 or newer; on Debian 12 install libllvm19")
        os.environ["DRJIT_LIBLLVM_PATH"] = llvm
    import mitsuba

    if mitsuba.variant() != variant:
        mitsuba.set_variant(variant)
    return mitsuba


def render(stage: Stage, samples: int, seed: int, variant: str = VARIANT) -> Field:
    """Linear sRGB radiance (H, W, 3) float32; a white matte surface at the bench's centre is near 1."""
    mi = load_mitsuba(variant)
    scene, _ = _scene(mi, stage)
    integrator = mi.load_dict({"type": "path", "max_depth": DEPTH})
    sensor = _sensor(mi, stage.camera)
    image = np.zeros((stage.camera.height, stage.camera.width, 3))
    passes = max(1, round(samples * image[..., 0].size / 32e6))  # keeps the wavefront within memory
    for k in range(passes):
        image += np.array(
            mi.render(scene, sensor=sensor, integrator=integrator, spp=samples // passes, seed=seed + k)
        )
    return without_fireflies((image / passes).astype(np.float32))


def without_fireflies(image: Field) -> Field:
    """Replace lone pixels far brighter than those around them: paths that found a lamp by luck."""
    middle = cv2.medianBlur(image, 5)
    wild = image.max(axis=2) > FIREFLY * middle.max(axis=2) + 0.15
    return np.where(wild[..., None], middle, image)


def cast(stage: Stage, variant: str = VARIANT) -> Hits:
    """What each pixel's centre ray meets first."""
    mi = load_mitsuba(variant)
    import drjit as dr

    scene, owners = _scene(mi, stage, plain=True)
    c = stage.camera
    x, y = np.meshgrid(np.arange(c.width, dtype=float), np.arange(c.height, dtype=float))
    rays = np.stack(
        [(x - (c.width - 1) / 2) / c.focal_px, (y - (c.height - 1) / 2) / c.focal_px, np.ones_like(x)], -1
    )
    rays = (rays / np.linalg.norm(rays, axis=-1, keepdims=True)).reshape(-1, 3) @ c.rotation
    ray = mi.Ray3f(mi.Point3f(*map(float, c.centre)), mi.Vector3f(*(mi.Float(rays[:, k]) for k in range(3))))
    hit = scene.ray_intersect(ray)
    shape = np.array(dr.reinterpret_array(mi.UInt32, hit.shape)).reshape(c.height, c.width)
    point = np.stack([np.array(hit.p[k]) for k in range(3)], -1).reshape(c.height, c.width, 3)
    owner = np.full(shape.shape, -1, np.int16)
    on_top = np.zeros(shape.shape, bool)
    for mesh, index, top in owners:
        mine = shape == int(np.array(dr.reinterpret_array(mi.UInt32, mi.ShapePtr(mesh)))[0])
        owner[mine], on_top[mine] = index, top
    return Hits(owner, on_top, point.astype(np.float32))


def _scene(mi: Any, stage: Stage, plain: bool = False) -> tuple[Any, list[tuple[Any, int, bool]]]:
    """The Mitsuba scene, and for each mesh of a part: (mesh, part index, is the painted side)."""
    content: dict[str, Any] = {"type": "scene"}
    owners: list[tuple[Any, int, bool]] = []

    def add(mesh: Mesh, pose: Pose, bsdf: Any) -> Any:
        placed = mesh_shape(mi, mesh.moved(pose.rotation, pose.shift), bsdf)
        content[f"shape{len(content)}"] = placed
        return placed

    grey = Finish((0.5, 0.5, 0.5), 0.5)
    for index, part in enumerate(stage.parts):
        if isinstance(part.shape, PlateShape):
            solid = plate_solid(part.shape, part.skin.half_mm)
        else:
            solid = band_solid(part.shape, part.skin.half_mm)
        px_per_mm = px_per_mm_at(stage.camera, part.pose.shift)
        metal, lining = edge_finishes(part)
        painted = _plain(mi, grey) if plain else _painted(mi, part.skin, px_per_mm)
        owners.append((add(solid.top, part.pose, painted), index, True))
        owners.append((add(solid.metal_edges, part.pose, _plain(mi, metal)), index, False))
        if solid.lining_edges is not None:
            owners.append((add(solid.lining_edges, part.pose, _plain(mi, lining)), index, False))
    for placed in stage.things:
        for mesh, finish in placed.thing.pieces:
            add(mesh, placed.pose, _plain(mi, finish))
    board = bench_mesh(stage)
    bench = (
        _plain(mi, grey)
        if plain
        else _painted(mi, stage.bench, px_per_mm_at(stage.camera, board.vertices.mean(0)))
    )
    content["bench"] = mesh_shape(mi, board, bench)
    if not plain:
        content |= _lights(mi, stage)
    return mi.load_dict(content), owners


def px_per_mm_at(camera: Pinhole, point: NDArray[np.float64]) -> float:
    return camera.focal_px / float(np.linalg.norm(point - camera.centre))


def mesh_shape(mi: Any, mesh: Mesh, bsdf: Any = None) -> Any:
    properties = mi.Properties()
    if bsdf is not None:
        properties["bsdf"] = bsdf
    if mesh.normals is None:
        properties["face_normals"] = True
    made = mi.Mesh(
        "mesh",
        vertex_count=len(mesh.vertices),
        face_count=len(mesh.faces),
        has_vertex_normals=mesh.normals is not None,
        has_vertex_texcoords=True,
        props=properties,
    )
    values = mi.traverse(made)
    values["vertex_positions"] = mesh.vertices.astype(np.float32).ravel()
    values["faces"] = mesh.faces.astype(np.uint32).ravel()
    values["vertex_texcoords"] = mesh.uv.astype(np.float32).ravel()
    if mesh.normals is not None:
        values["vertex_normals"] = mesh.normals.astype(np.float32).ravel()
    values.update()
    return made


def bench_mesh(stage: Stage) -> Mesh:
    hx, hy = stage.bench.half_mm
    turn = np.deg2rad(stage.bench_turn_deg)
    corner = np.array([[-hx, hy], [hx, hy], [hx, -hy], [-hx, -hy]])
    turned = (
        corner @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]]) + stage.bench_shift
    )
    uv = np.array([[0, 0], [1, 0], [1, 1], [0, 1.0]])
    return Mesh(np.c_[turned, np.zeros(4)], np.array([[0, 3, 2], [0, 2, 1]]), uv)


def edge_finishes(part: PlacedPart) -> tuple[Finish, Finish]:
    """Finish of the core's or plate's edges, and of the lining's cut edges."""
    metal = part.skin.metal > 0.5
    steel = part.skin.albedo[metal].mean(axis=0) if metal.any() else np.array([0.5, 0.49, 0.47])
    lining = part.skin.albedo[~metal].mean(axis=0) * CUT_EDGE if (~metal).any() else steel
    return (
        Finish(tuple(float(v) for v in 0.8 * steel), 0.35, 1.0),  # type: ignore[arg-type]
        Finish(tuple(float(v) for v in lining), 0.9, 0.0, 0.1),  # type: ignore[arg-type]
    )


def _plain(mi: Any, finish: Finish) -> Any:
    return mi.load_dict(
        {
            "type": "principled",
            "base_color": {"type": "rgb", "value": list(finish.colour)},
            "roughness": float(np.sqrt(finish.roughness)),  # Mitsuba squares it to get GGX alpha
            "metallic": finish.metal,
            "specular": finish.specular,
        }
    )


@dataclass(frozen=True, slots=True, eq=False)
class Maps:
    """What a painted surface looks like at the camera's resolution, rows from the top.

    ``alpha`` is GGX's; ``normal`` has x right, y up on the skin, z out of it.
    """

    albedo: Field  # (H, W, 3)
    alpha: Field
    specular: Field
    metal: Field
    normal: Field  # (H, W, 3)


def maps_of(surface: Painted, px_per_mm: float) -> Maps:
    """Maps reduced to what the camera resolves; finer relief widens the highlight instead."""
    rows, columns = surface.height.shape
    step = 2 * surface.half_mm[0] / columns
    slope_down, slope_right = np.gradient(surface.height, step)
    scale = min(1.0, TEXELS_PER_PIXEL * px_per_mm * step)
    size = (max(4, round(columns * scale)), max(4, round(rows * scale)))

    def reduced(field: Field) -> Field:
        return cv2.resize(field, size, interpolation=cv2.INTER_AREA) if scale < 1 else field

    right, down = reduced(slope_right), reduced(slope_down)
    lost = reduced(slope_right**2 + slope_down**2) - right**2 - down**2
    alpha = np.sqrt(reduced(surface.roughness) ** 2 + np.clip(lost, 0, 0.3))
    normal = np.stack([-right, down, np.ones_like(right)], -1)
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    metal = np.clip(reduced(surface.metal), 0, 1)
    return Maps(
        np.clip(reduced(surface.albedo), 0, 1),
        np.clip(alpha, 0.03, 1),
        np.clip(reduced(surface.specular), 0, 1),
        metal,
        normal,
    )


def _painted(mi: Any, surface: Painted, px_per_mm: float) -> Any:
    """A BSDF from reduced maps."""
    made = maps_of(surface, px_per_mm)

    def bitmap(field: Field) -> dict[str, Any]:
        data = np.ascontiguousarray(field.reshape(*field.shape[:2], -1).astype(np.float32))
        return {"type": "bitmap", "bitmap": mi.Bitmap(data), "raw": True, "wrap_mode": "clamp"}

    maps = {
        "base_color": bitmap(made.albedo),
        "roughness": bitmap(np.sqrt(made.alpha)),
        "metallic": bitmap(made.metal),
    }
    sheen = np.maximum(made.specular, made.metal)  # at specular 0 Mitsuba drops metal's lobe too
    shown = sheen[made.metal < 0.5]
    if shown.size == 0 or float(np.ptp(shown)) < 0.1:
        body: dict[str, Any] = {
            "type": "principled",
            "specular": float(shown.mean() if shown.size else 0.5),
            **maps,
        }
    else:  # Mitsuba's specular takes no map: blend none with full
        body = {
            "type": "blendbsdf",
            "weight": bitmap(sheen),
            "dull": {"type": "principled", "specular": 0.0, **maps},
            "bright": {"type": "principled", "specular": 1.0, **maps},
        }
    return mi.load_dict({"type": "normalmap", "normalmap": bitmap(made.normal * 0.5 + 0.5), "bsdf": body})


def _sensor(mi: Any, camera: Pinhole) -> Any:
    right, down, forward = camera.rotation
    pose = np.eye(4)
    pose[:3, :3] = np.stack([-right, -down, forward], axis=1)  # Mitsuba's camera: x left, y up, z forward
    pose[:3, 3] = camera.centre
    return mi.load_dict(
        {
            "type": "perspective",
            "fov": float(np.degrees(2 * np.arctan(camera.width / 2 / camera.focal_px))),
            "fov_axis": "x",
            "near_clip": 5.0,
            "far_clip": 20000.0,
            "to_world": mi.ScalarTransform4f(pose),
            "film": {
                "type": "hdrfilm",
                "width": camera.width,
                "height": camera.height,
                "rfilter": {"type": "box"},
                "pixel_format": "rgb",
            },
            "sampler": {"type": "independent"},
        }
    )


def _lights(mi: Any, stage: Stage) -> dict[str, Any]:
    content: dict[str, Any] = {}
    for k, lamp in enumerate(stage.light.lamps):
        content[f"lamp{k}"] = _lamp(
            mi, beside_lens(lamp, stage.camera) if stage.light.name == "flash" else lamp
        )
    up = mi.ScalarTransform4f().rotate([1, 0, 0], 90)  # Mitsuba's rooms have y up
    content["room"] = {"type": "envmap", "bitmap": mi.Bitmap(stage.light.room.copy()), "to_world": up}
    if stage.light.edge is not None:
        content["body"] = _body(mi, stage.light)
    return content


def beside_lens(lamp: Lamp, camera: Pinhole) -> Lamp:
    right, _, forward = camera.rotation
    at = camera.centre + 14 * right + 3 * forward
    aim = camera.centre + forward * (camera.centre[2] / -forward[2])
    return Lamp(tuple(at), tuple(aim), lamp.half, lamp.colour, lamp.irradiance)


def _lamp(mi: Any, lamp: Lamp) -> dict[str, Any]:
    away = np.array(lamp.aim) - np.array(lamp.position)
    distance = float(np.linalg.norm(away))
    cosine = abs(away[2]) / distance
    area = 4 * lamp.half[0] * lamp.half[1]
    radiance = np.pi * lamp.irradiance * distance**2 / (area * cosine)
    up = [1.0, 0.0, 0.0] if abs(away[0]) < 0.9 * distance else [0.0, 1.0, 0.0]
    place = mi.ScalarTransform4f().look_at(origin=list(lamp.position), target=list(lamp.aim), up=up)
    return {
        "type": "rectangle",
        "to_world": place @ mi.ScalarTransform4f().scale([lamp.half[1], lamp.half[0], 1]),
        "emitter": {
            "type": "area",
            "radiance": {"type": "rgb", "value": [radiance * v for v in lamp.colour]},
        },
    }


def _body(mi: Any, light: Light) -> dict[str, Any]:
    """Something dark in the first lamp's light: its straight side throws a shadow edge across the bench."""
    lamp = light.lamps[0]
    edge = np.array([light.edge, 0.0, 0.0])
    toward = np.array(lamp.position) - edge
    across = np.cross(toward, [0, 0, 1.0])
    across /= np.linalg.norm(across)
    centre = edge + 0.38 * toward + 320 * across
    place = mi.ScalarTransform4f().look_at(
        origin=[float(v) for v in centre], target=[float(v) for v in centre + toward], up=[0, 0, 1]
    )
    return {
        "type": "rectangle",
        "to_world": place @ mi.ScalarTransform4f().scale([320, 400, 1]),
        "bsdf": {"type": "twosided", "b": {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.06}}},
    }
