"""Scenes of the first catalogue again, by a second renderer: ``python -m tests.scenes.second --out DIR``.

Blender's Cycles instead of Mitsuba: other light transport, other highlights, other sampling. ``--python``
names a Python that has bpy (``pip install bpy``, in an environment of its own: it needs an older NumPy).
Truth comes from the same rays as before, so the two tables can be laid side by side.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.scenes.bench import Lamp
from tests.scenes.catalogue import Scene, accuracy_scenes
from tests.scenes.clutter import Finish
from tests.scenes.facts import truth_of
from tests.scenes.geometry import Pose
from tests.scenes.mesh import Mesh, band_solid, plate_solid
from tests.scenes.render import (
    DEPTH,
    Painted,
    Stage,
    bench_mesh,
    beside_lens,
    cast,
    edge_finishes,
    maps_of,
    px_per_mm_at,
    without_fireflies,
)
from tests.scenes.shoot import build, face_union, json_of, photograph, write_whole
from tests.scenes.skin import PlateShape

SAMPLES, WIDTH = 12, 1000
SHOPS = range(0, 24, 2)  # every second: 36 scenes and twelve clean photos
SCRIPT = Path(__file__).with_name("second_bpy.py")


def second_scenes() -> tuple[Scene, ...]:
    """Every second shop of the first catalogue, 1000 pixels wide."""
    wanted = {f"{shop:02d}" for shop in SHOPS}
    chosen = [s for s in accuracy_scenes() if s.tags["shop"] in wanted]
    return tuple(replace(s, size=_smaller(s.size), shadow_edge=False) for s in chosen)


def _smaller(size: tuple[int, int]) -> tuple[int, int]:
    factor = min(1.0, WIDTH / max(size))
    return round(size[0] * factor), round(size[1] * factor)


def stage_arrays(stage: Stage, samples: int, seed: int, threads: int) -> dict[str, NDArray[Any]]:
    """All that Cycles needs, by names that `second_bpy` reads."""
    camera = stage.camera
    arrays: dict[str, Any] = {
        "size": (camera.height, camera.width),
        "focal_px": camera.focal_px,
        "rotation": camera.rotation,
        "centre": camera.centre,
        "room": stage.light.room,
        "samples": samples,
        "seed": seed,
        "depth": DEPTH,
        "threads": threads,
    }
    count = 0
    for count, (mesh, paint) in enumerate(_surfaces(stage), start=1):
        named = {"vertices": mesh.vertices, "faces": mesh.faces, "uv": mesh.uv, **paint}
        if mesh.normals is not None:
            named["normals"] = mesh.normals
        arrays |= {f"{count - 1}.{name}": value for name, value in named.items()}
    return {name: np.asarray(value) for name, value in arrays.items()} | {"meshes": np.asarray(count)}


def _surfaces(stage: Stage) -> Iterator[tuple[Mesh, dict[str, Any]]]:
    for part in stage.parts:
        if isinstance(part.shape, PlateShape):
            solid = plate_solid(part.shape, part.skin.half_mm)
        else:
            solid = band_solid(part.shape, part.skin.half_mm)
        metal, lining = edge_finishes(part)
        px_per_mm = px_per_mm_at(stage.camera, part.pose.shift)
        yield _moved(solid.top, part.pose), _painted(part.skin, px_per_mm)
        yield _moved(solid.metal_edges, part.pose), _plain(metal)
        if solid.lining_edges is not None:
            yield _moved(solid.lining_edges, part.pose), _plain(lining)
    for placed in stage.things:
        for mesh, finish in placed.thing.pieces:
            yield _moved(mesh, placed.pose), _plain(finish)
    board = bench_mesh(stage)
    yield board, _painted(stage.bench, px_per_mm_at(stage.camera, board.vertices.mean(0)))
    for lamp in stage.light.lamps:
        yield _lamp(beside_lens(lamp, stage.camera) if stage.light.name == "flash" else lamp)


def _moved(mesh: Mesh, pose: Pose) -> Mesh:
    return mesh.moved(pose.rotation, pose.shift)


def _plain(finish: Finish) -> dict[str, Any]:
    return {
        "colour": finish.colour,
        "rough": np.sqrt(finish.roughness),
        "metal": finish.metal,
        "specular": finish.specular,
    }


def _painted(surface: Painted, px_per_mm: float) -> dict[str, Any]:
    made = maps_of(surface, px_per_mm)
    single = {"rough": np.sqrt(made.alpha), "metal": made.metal, "specular": made.specular}
    return {"albedo": made.albedo, "normal": made.normal, **single}


def _lamp(lamp: Lamp) -> tuple[Mesh, dict[str, Any]]:
    """A glowing rectangle as bright as the lamp of `render`."""
    away = np.array(lamp.aim) - np.array(lamp.position)
    distance = float(np.linalg.norm(away))
    radiance = np.pi * lamp.irradiance * distance**2 / (4 * lamp.half[0] * lamp.half[1])
    radiance /= abs(away[2]) / distance
    side = np.cross([1.0, 0.0, 0.0] if abs(away[0]) < 0.9 * distance else [0.0, 1.0, 0.0], away)
    side /= np.linalg.norm(side)
    up = np.cross(away, side) / distance
    corners = [(-1, -1), (1, -1), (1, 1), (-1, 1)]
    points = np.array([lamp.position + u * lamp.half[1] * side + v * lamp.half[0] * up for u, v in corners])
    mesh = Mesh(points, np.array([[0, 1, 2], [0, 2, 3]]), np.zeros((4, 2)))
    return mesh, {"radiance": radiance * np.array(lamp.colour)}


def render_by_cycles(stage: Stage, python: str, samples: int, seed: int, threads: int) -> NDArray[np.float32]:
    """Linear sRGB radiance (H, W, 3), as `render.render` gives it."""
    with tempfile.TemporaryDirectory() as folder:
        source, target = Path(folder) / "stage.npz", Path(folder) / "seen.npy"
        np.savez(source, **stage_arrays(stage, samples, seed, threads))
        ran = subprocess.run([python, str(SCRIPT), str(source), str(target)], capture_output=True, text=True)
        if ran.returncode or not target.exists():
            raise RuntimeError(f"Cycles failed: {ran.stderr[-400:] or ran.stdout[-400:]}")
        return without_fireflies(np.load(target))


def shoot_again(scene: Scene, out: Path, python: str, samples: int, threads: int) -> None:
    """As `shoot.shoot`, by the second renderer."""
    built = build(scene)
    document, masks = truth_of(built, cast(built.stage))
    linear = render_by_cycles(built.stage, python, samples, scene.seed, threads)
    photo, phone = photograph(built, linear, face_union(masks))
    out.mkdir(parents=True, exist_ok=True)
    for name, mask in masks.items():
        coded = cv2.imencode(".png", mask.astype(np.uint8) * 255)[1]
        write_whole(out / f"{scene.id}-{name}.png", coded.tobytes())
    write_whole(out / f"{scene.id}.jpg", photo)
    write_whole(out / f"{scene.id}.json", json_of(document | {"phone": asdict(phone), "renderer": "Cycles"}))


def main() -> int:
    """Render those that are missing; progress goes to standard error."""
    parser = argparse.ArgumentParser(prog="python -m tests.scenes.second", description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--python", required=True, help="a Python that has bpy")
    parser.add_argument("--only", help="scene ids, separated by commas")
    parser.add_argument("--samples", type=int, default=SAMPLES)
    parser.add_argument("--threads", type=int, default=2)
    options = parser.parse_args()
    wanted = set(options.only.split(",")) if options.only else None
    scenes = [s for s in second_scenes() if wanted is None or s.id in wanted]
    scenes = [s for s in scenes if not (options.out / f"{s.id}.json").exists()]
    for k, scene in enumerate(scenes, start=1):
        start = time.perf_counter()
        shoot_again(scene, options.out, options.python, options.samples, options.threads)
        print(
            f"{scene.id} {k}/{len(scenes)} {time.perf_counter() - start:.1f} s", file=sys.stderr, flush=True
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())
