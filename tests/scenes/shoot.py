"""From a `Scene` to a photo and its truth on disk: build, render, develop, write."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tests.scenes import camera as phone_camera
from tests.scenes import geometry, layout, piles
from tests.scenes.boards import ALL_BENCHES
from tests.scenes.camera import PHONES, Exif, Phone, develop, spoiled, write_jpeg
from tests.scenes.catalogue import PartSpec, Scene
from tests.scenes.clutter import NEUTRALS, Thing, rag
from tests.scenes.facts import Built, truth_of
from tests.scenes.grooves import BAND_PATTERNS, PLATE_PATTERNS
from tests.scenes.lamps import ALL_LIGHTS
from tests.scenes.linings import lining_named
from tests.scenes.make import make_clean_skin, make_skin, random_band_shape, random_plate_shape
from tests.scenes.render import VARIANT, PlacedPart, PlacedThing, Stage, cast, render
from tests.scenes.round_things import ALL_THINGS
from tests.scenes.skin import BAND, FRICTION, BandShape, PlateShape, Skin

Array = NDArray[np.float64]
Field = NDArray[np.float32]

SAMPLES = 32
AWAY = {
    "left": (1.0, 0.0),
    "right": (-1.0, 0.0),
    "top": (0.0, -1.0),
    "bottom": (0.0, 1.0),
}  # from the apply end, y up
FOCAL_MM, EQUIVALENT_35MM = 5.4, (26, 35, 52)
WASHED_OUT = 0.08  # share of the faces at the top of the scale from which on a shot is taken again


def _rng(scene: Scene, purpose: int) -> Generator:
    return np.random.default_rng([scene.seed, purpose])


def build(scene: Scene) -> Built:
    """Shapes, skins, poses, clutter, camera and light of a scene."""
    shapes = _shapes(scene)
    rng = _rng(scene, 1)
    away = np.array(AWAY[scene.apply_end])
    plates = [shape for shape in shapes if isinstance(shape, PlateShape)]
    held: list[tuple[Thing, geometry.Pose]] = []  # what holds the plates: a drum
    if scene.layout in piles.LAYOUTS:
        poses, held = piles.placed(rng, scene.layout, plates, away)
    elif scene.layout == "leaning":
        poses = layout.leaning_row(rng, plates, away, rng.uniform(0.16, 0.32), scene.first_on_top)
    elif len(plates) < len(shapes):
        poses = [geometry.Pose(layout.yaw(rng.normal(0, 7)), np.zeros(3))]
    else:
        poses = layout.row(rng, plates, away, rng.uniform(5, 16), 0.12 if len(shapes) > 2 else 0.05)
    if shapes and not held:
        poses = layout.centred(poses, shapes)
    neutral = _neutral(scene, rng, poses, shapes)
    view, equivalent = _view(scene, rng, poses, shapes, neutral)
    scale = _texture_px(view)
    skins = [
        _skin(scene, k, spec, shape, scale)
        for k, (spec, shape) in enumerate(zip(scene.parts, shapes, strict=True))
    ]
    parts = [PlacedPart(*each) for each in zip(shapes, skins, poses, strict=True)]
    things = [PlacedThing(*each) for each in ([neutral] if neutral else []) + held]
    things += _clutter(scene, rng, view, poses, shapes, neutral, held)
    bench, shift, turn = _bench(scene, view)
    light = ALL_LIGHTS[scene.light](_rng(scene, 3))
    if scene.shadow_edge:
        lamp = replace(light.lamps[0], half=(260, 380), irradiance=0.45)  # narrow, so that the edge is one
        light = replace(light, lamps=(lamp,), room=light.room * 1.5, edge=float(rng.uniform(-25, 25)))
    stage = Stage(bench, shift, turn, light, parts, things, view)
    return Built(scene, stage, tuple((t.thing.name, t.pose.shift) for t in things), equivalent)


def _shapes(scene: Scene) -> list[PlateShape | BandShape]:
    """Outlines: plates of one kind in a scene are of one pack and alike."""
    rng = np.random.default_rng([scene.shape_seed, 0])
    if any(p.kind == BAND for p in scene.parts):
        return [random_band_shape(rng) for _ in scene.parts]
    base = random_plate_shape(rng, FRICTION, outer_r=scene.outer_r)
    by_kind = {FRICTION: base}
    for kind in sorted({p.kind for p in scene.parts} - {FRICTION}):
        by_kind[kind] = random_plate_shape(
            np.random.default_rng([scene.shape_seed, len(kind)]), kind, like=base
        )
    return [by_kind[p.kind] for p in scene.parts]


def _texture_px(view: geometry.Pinhole) -> float:
    return view.focal_px / float(np.linalg.norm(view.centre))


def _skin(scene: Scene, k: int, spec: PartSpec, shape: PlateShape | BandShape, px_per_mm: float) -> Skin:
    across = 2 * layout.reach(shape)
    resolution = int(np.clip(across * px_per_mm * 1.8, 900 if isinstance(shape, PlateShape) else 1400, 1900))
    rng = _rng(scene, 100 + k)
    look = spec.look
    if look.grooves is None and spec.lining:  # plates of one pack are cut alike
        patterns = BAND_PATTERNS if isinstance(shape, BandShape) else PLATE_PATTERNS
        tool = np.random.default_rng([scene.shape_seed, 1])
        look = replace(look, grooves=str(tool.choice(patterns)))
        if scene.alike:
            look = replace(look, groove_seed=int(tool.integers(2**31)))
    lining = lining_named(spec.lining) if spec.lining else None
    if scene.clean and lining is not None:
        return make_clean_skin(lining, shape, rng=rng, look=look, resolution=resolution)
    return make_skin(rng, spec.kind, shape, spec.level, lining=lining, look=look, resolution=resolution)


def _neutral(
    scene: Scene, rng: Generator, poses: list[geometry.Pose], shapes: list[PlateShape | BandShape]
) -> tuple[Thing, geometry.Pose] | None:
    if scene.neutral is None or scene.defect == "no part found":
        return None
    thing = NEUTRALS[scene.neutral](rng)
    sides = ("top", "bottom") if scene.size[0] > scene.size[1] else ("left", "right")
    if len(poses) == 1 and isinstance(shapes[0], PlateShape):
        sides = ("left", "right")
    return thing, layout.beside(rng, poses, shapes, thing, sides[int(rng.integers(2))])


def _view(
    scene: Scene,
    rng: Generator,
    poses: list[geometry.Pose],
    shapes: list[PlateShape | BandShape],
    neutral: tuple[Thing, geometry.Pose] | None,
) -> tuple[geometry.Pinhole, int]:
    equivalent = int(rng.choice(EQUIVALENT_35MM))
    focal_px = equivalent / 34.6 * max(scene.size)  # a 4:3 picture of the 35 mm diagonal is 34.6 mm wide
    points = [layout.outline_points(p, s) for p, s in zip(poses, shapes, strict=True)]
    if not points:
        points = [np.array([[-150, -100, 0], [150, 100, 0.0]])]
    if neutral and scene.defect not in ("cut off by the frame", "too small"):
        points.append(neutral[1].apply(neutral[0].pieces[0][0].vertices[::300]) * 0.98)
    off = (0.0, 0.0)
    if scene.defect == "cut off by the frame":
        off = (0.42, 0.24)
    turn = rng.normal(0, 12)
    return layout.framed(
        np.concatenate(points), scene.size, focal_px, scene.slant_deg, turn, rng.normal(0, 4), scene.fill, off
    ), equivalent


def _clutter(
    scene: Scene,
    rng: Generator,
    view: geometry.Pinhole,
    poses: list[geometry.Pose],
    shapes: list[PlateShape | BandShape],
    neutral: tuple[Thing, geometry.Pose] | None,
    held: list[tuple[Thing, geometry.Pose]],
) -> list[PlacedThing]:
    taken = [(p.shift[:2], layout.reach_box(p, s)) for p, s in zip(poses, shapes, strict=True)]
    taken += [(pose.shift[:2], np.full(2, thing.reach)) for thing, pose in held]
    flat = all(p.shift[2] == 0 for p in poses)
    holes = [
        (p.shift[:2], s.core_inner_r - (s.tooth_depth if s.teeth == "inner" else 0))
        for p, s in zip(poses, shapes, strict=True)
        if isinstance(s, PlateShape) and flat and len(poses) < 4
    ]
    if neutral:
        vertices = neutral[0].pieces[0][0].vertices
        taken.append((neutral[1].shift[:2], np.abs(vertices[:, :2]).max(axis=0)))
    things = [ALL_THINGS[name](rng) for name in scene.clutter]
    places = layout.scattered(rng, things, view, taken, holes if len(holes) == len(shapes) else [])
    placed = [PlacedThing(t, p) for t, p in zip(things, places, strict=True) if p is not None]
    if scene.defect == "covered":
        over = poses[0].shift + np.array([rng.uniform(-8, 8), rng.uniform(-8, 8), shapes[0].thickness_mm])
        placed.append(
            PlacedThing(rag(rng, layout.reach(shapes[0]) * 1.0), geometry.Pose(layout.yaw(20), over))
        )
    return placed


def _bench(scene: Scene, view: geometry.Pinhole) -> tuple[Any, tuple[float, float], float]:
    """Bench map wide enough for the view, its place and turn."""
    rng = _rng(scene, 2)
    corners = np.array([[0, 0], [view.width, 0], [view.width, view.height], [0, view.height]])
    seen = np.array([layout.on_bench(view, xy)[:2] for xy in corners])
    middle = (seen.max(axis=0) + seen.min(axis=0)) / 2
    half = np.linalg.norm(seen - middle, axis=1).max() * 1.04 + 20
    near = view.focal_px / float(np.linalg.norm(np.array([*seen[3], 0]) - view.centre))
    px_per_mm = min(near * 1.1, 2300 / (2 * half))
    return (
        ALL_BENCHES[scene.bench](rng, (half, half), px_per_mm),
        (float(middle[0]), float(middle[1])),
        rng.normal(0, 6),
    )


def photograph(built: Built, linear: Field, faces: NDArray[np.bool_] | None = None) -> tuple[bytes, Phone]:
    """The JPEG that a phone makes of the scene's linear render.

    A technician who sees the ``faces`` washed out by glare takes the shot again, darker.
    """
    scene = built.scene
    phone = PHONES[scene.phone](_rng(scene, 4))
    if scene.defect:
        phone = spoiled(phone, scene.defect, _rng(scene, 5))
    if scene.orientation is not None:
        phone = replace(phone, orientation=scene.orientation)
    if scene.wide_gamut is not None:
        phone = replace(phone, wide_gamut=scene.wide_gamut)
    if faces is not None and scene.defect is None:
        phone = _retaken(scene, linear, phone, 6, faces)
    return _jpeg(scene, linear, phone, 6, built.equivalent_35mm), phone


def _retaken(scene: Scene, linear: Field, phone: Phone, purpose: int, faces: NDArray[np.bool_]) -> Phone:
    for _ in range(8):
        seen = _developed(scene, linear, phone, purpose)[faces]
        if float((seen >= 250).any(axis=1).mean()) < WASHED_OUT:
            break
        phone = replace(phone, exposure=phone.exposure * 0.85)
    return phone


def _developed(scene: Scene, linear: Field, phone: Phone, purpose: int) -> NDArray[np.uint8]:
    lamp = ALL_LIGHTS[scene.light](_rng(scene, 3)).lamps[0]
    return develop(linear, phone, lamp.colour, _rng(scene, purpose))


def _jpeg(scene: Scene, linear: Field, phone: Phone, purpose: int, equivalent_35mm: int) -> bytes:
    rgb = _developed(scene, linear, phone, purpose)
    exif = Exif(scene.taken_at, None, FOCAL_MM, equivalent_35mm)
    return write_jpeg(rgb, phone, exif)


def relit(scene: Scene, linear: Field, equivalent_35mm: int, faces: NDArray[np.bool_]) -> list[bytes]:
    """Four photos of one render under four lights: tint, exposure and unevenness differ."""
    photos = []
    for k in range(4):
        rng = _rng(scene, 20 + k)
        phone = replace(PHONES[scene.phone](rng), orientation=1, wide_gamut=False)
        field = np.ones(linear.shape[:2], np.float32)
        if k:
            phone = phone_camera.other_light(phone, rng)
            field = phone_camera.uneven_light(rng, *linear.shape[:2])
        lit = linear * field[..., None]
        phone = _retaken(scene, lit, phone, 30 + k, faces)
        photos.append(_jpeg(scene, lit, phone, 30 + k, equivalent_35mm))
    return photos


def json_of(document: Mapping[str, Any]) -> bytes:
    """Indented JSON; numpy's scalars become Python's, and NaN raises."""
    return json.dumps(document, indent=1, allow_nan=False, default=lambda scalar: scalar.item()).encode()


def face_union(masks: Mapping[str, NDArray[np.bool_]]) -> NDArray[np.bool_] | None:
    """All faces of a photo together; None without one."""
    faces = [mask for name, mask in masks.items() if name.endswith("face")]
    return np.logical_or.reduce(faces) if faces else None


def write_whole(path: Path, data: bytes) -> None:
    """Write a file so that nobody sees half of it."""
    part = path.with_name(path.name + ".part")
    part.write_bytes(data)
    os.replace(part, path)


def shoot(
    scene: Scene,
    out: Path,
    *,
    samples: int = SAMPLES,
    variant: str = VARIANT,
    keep_linear: bool = True,
    relight: bool = False,
) -> dict[str, Any]:
    """Render a scene into ``out``: masks, photo, and last its truth, whose presence means all is there."""
    built = build(scene)
    document, masks = truth_of(built, cast(built.stage, variant))
    linear = render(built.stage, samples, scene.seed, variant)
    photo, phone = photograph(built, linear, face_union(masks))
    out.mkdir(parents=True, exist_ok=True)
    for name, mask in masks.items():
        write_whole(
            out / f"{scene.id}-{name}.png", cv2.imencode(".png", mask.astype(np.uint8) * 255)[1].tobytes()
        )
    write_whole(out / f"{scene.id}.jpg", photo)
    if keep_linear:
        path = out / "linear" / f"{scene.id}.npz"
        path.parent.mkdir(exist_ok=True)
        with open(path.with_suffix(".part"), "wb") as file:
            np.savez_compressed(file, linear=np.minimum(linear, 6e4).astype(np.float16))
        os.replace(path.with_suffix(".part"), path)
    if relight:
        write_relit(scene, linear, out, document)
    document["phone"] = asdict(phone)
    write_whole(out / f"{scene.id}.json", json_of(document))
    return document


def write_relit(scene: Scene, linear: Field, out: Path, document: Mapping[str, Any]) -> None:
    """Write the four lights of a scene as ``relight/<id>-light<k>.jpg`` with a truth file each."""
    names = [part["face_mask"] for part in document["parts"]]
    faces = np.logical_or.reduce([cv2.imread(str(out / name), cv2.IMREAD_GRAYSCALE) > 0 for name in names])
    folder = out / "relight"
    folder.mkdir(parents=True, exist_ok=True)
    for k, photo in enumerate(relit(scene, linear, document["equivalent_35mm"], faces), start=1):
        name = f"{scene.id}-light{k}"
        write_whole(folder / f"{name}.jpg", photo)
        entry = {**document, "photo": f"{name}.jpg", "group": scene.id}
        write_whole(folder / f"{name}.json", json_of(entry))


def rephotograph(scene: Scene, out: Path) -> None:
    """The four lights of a scene whose linear render and truth are in ``out``."""
    document = json.loads((out / f"{scene.id}.json").read_text("utf-8"))
    with np.load(out / "linear" / f"{scene.id}.npz") as file:
        linear = file["linear"].astype(np.float32)
    write_relit(scene, linear, out, document)
