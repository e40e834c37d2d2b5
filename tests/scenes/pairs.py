"""Pairs of photos of one plate, the phone left where it was and the lamp moved: glazed, oil-wet and plain.

A pair lies in ``pairs/<id>-a.jpg`` and ``<id>-b.jpg`` with its truth in ``<id>.json``; the clean dry plate of
the same lining is another such scene, of one photo.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from dataclasses import asdict, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.scenes.bench import Light
from tests.scenes.camera import PHONES
from tests.scenes.catalogue import PartSpec, Scene
from tests.scenes.facts import truth_of
from tests.scenes.linings import LININGS, TOO_DARK_L, Lining, drawn_lining
from tests.scenes.look import Look
from tests.scenes.render import cast, render
from tests.scenes.shoot import (
    _jpeg,
    _retaken,
    _rng,
    build,
    face_union,
    json_of,
    write_whole,
)
from tests.scenes.skin import FRICTION

FOLDER = "pairs"
STATES = ("glazed", "wet", "dry")
PAIR_LIGHTS = ("led lamp", "window", "bulb")
SIZE, LARGER = (1000, 750), (1400, 1050)
DRAWN = range(300, 353)  # numbers of drawn linings that no catalogue has
TURN_DEG = (80.0, 180.0)  # by which the lamp is carried round the plate
SETTLED_PX, SETTLED_DEG = 3.0, 0.15  # of a phone that rests on something and is touched once more


def pair_scenes(rounds: int = 4) -> tuple[Scene, ...]:
    """Every lining that shows heat, ``rounds`` times glazed, oil-wet and clean; and its clean dry plate."""
    return _pairs("qp", rounds, 0)


def fresh_pair_scenes(rounds: int = 2) -> tuple[Scene, ...]:
    """Other plates in other places, none of them for tuning: what is right on `pair_scenes` may be luck."""
    return tuple(replace(scene, tuned=False) for scene in _pairs("vw", rounds, 100))


def drawn_pair_scenes() -> tuple[Scene, ...]:
    """Drawn linings that are not held out and show heat, each glazed and oil-wet, with its clean dry plate:
    to be fitted to alone. Every other one is photographed larger."""
    drawn = (drawn_lining(number) for number in DRAWN)
    scenes: list[Scene] = []
    for k, lining in enumerate(x for x in drawn if not x.held_out and x.lab[0] >= TOO_DARK_L):
        clean = _scene(f"y{k:02d}", k, lining, "dry", 200)
        pairs = [
            replace(_scene(f"z{k:02d}{state[0]}", 3 * k + n, lining, state, 240), reference=clean.id)
            for n, state in enumerate(STATES[:2])
        ]
        scenes += (replace(scene, size=(SIZE, LARGER)[k % 2]) for scene in (clean, *pairs))
    return tuple(scenes)


def _pairs(letters: str, rounds: int, seed: int) -> tuple[Scene, ...]:
    linings = [x for x in LININGS if x.lab[0] >= TOO_DARK_L]
    of_clean, of_pair = letters
    clean = [_scene(f"{of_clean}{k:02d}", k, x, "dry", seed) for k, x in enumerate(linings)]
    pairs = [
        replace(_scene(f"{of_pair}{n:03d}", n, lining, state, seed + 40), reference=f"{of_clean}{k:02d}")
        for n, (_, k, lining, state) in enumerate(
            (turn, k, lining, state)
            for turn in range(rounds)
            for k, lining in enumerate(linings)
            for state in STATES[: 2 + (turn == 0)]
        )
    ]
    return (*clean, *pairs)


def _scene(name: str, number: int, lining: Lining, state: str, seed: int) -> Scene:
    rng = np.random.default_rng([20261128, seed, number])
    glazed = state == "glazed"
    look = Look(ink=False, oil=False, wet=state == "wet", by_glaze=glazed or None)
    return Scene(
        id=name,
        seed=int(9000 + 50 * seed + number),
        tuned=not lining.held_out,
        bench="cardboard" if number % 2 else "wood",
        light=PAIR_LIGHTS[number % len(PAIR_LIGHTS)],
        layout="row",
        parts=(PartSpec(FRICTION, 1 if glazed else 0, lining.name, look),),
        shape_seed=9500 + 50 * seed + number,
        slant_deg=float(rng.uniform(0, 20)),
        neutral="white paper",
        fill=0.7,
        size=SIZE,
        orientation=1,
        wide_gamut=False,
        clean=not glazed,
        tags={"state": state},
    )


def lamp_moved(light: Light, turn_deg: float) -> Light:
    """The same lamps carried round what they shine at."""
    turn = np.radians(turn_deg)
    rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    lamps = tuple(
        replace(lamp, position=(*(float(v) for v in rotation @ lamp.position[:2]), lamp.position[2]))
        for lamp in light.lamps
    )
    return replace(light, lamps=lamps)


def shoot_pair(scene: Scene, out: Path, samples: int, variant: str, again: bool = False) -> None:
    """Render a scene in its own light and, where it names a clean plate, once more with the lamp moved."""
    folder = out / FOLDER
    folder.mkdir(parents=True, exist_ok=True)
    built = build(scene)
    document, masks = truth_of(built, cast(built.stage, variant))
    faces = face_union(masks)
    assert faces is not None
    document |= {"state": scene.tags["state"], "faces": f"{scene.id}-face.png"}
    rng = _rng(scene, 50)
    phone = PHONES[scene.phone](_rng(scene, 4))
    lights = [built.stage.light]
    if scene.reference is not None:
        lights.append(lamp_moved(built.stage.light, rng.uniform(*TURN_DEG) * rng.choice([-1, 1])))
        document["photo_b"] = f"{scene.id}-b.jpg"
    document["photo"] = f"{scene.id}-a.jpg"
    for k, light in enumerate(lights):
        path = folder / f"{scene.id}-{'ab'[k]}.jpg"
        if path.exists() and not again:
            continue
        linear = render(replace(built.stage, light=light), samples, scene.seed + k, variant)
        if k:
            linear = _touched(linear, rng)
            gains = tuple(float(g * np.exp(rng.normal(0, 0.02))) for g in phone.balance_error)
            exposure = float(np.exp(rng.normal(0, 0.1)))
            phone = replace(phone, exposure=exposure, balance_error=(gains[0], gains[1]))
        shot = replace(phone, orientation=1, wide_gamut=False)
        shot = _retaken(scene, linear, shot, 6 + k, faces)
        write_whole(path, _jpeg(scene, linear, shot, 6 + k, built.equivalent_35mm))
    write_whole(folder / document["faces"], cv2.imencode(".png", faces.astype(np.uint8) * 255)[1].tobytes())
    document["phone"] = asdict(phone)
    write_whole(folder / f"{scene.id}.json", json_of(document))


def _touched(linear: NDArray[np.float32], rng: np.random.Generator) -> NDArray[np.float32]:
    """The picture from a phone that was touched between two shots."""
    height, width = linear.shape[:2]
    turn = cv2.getRotationMatrix2D((width / 2, height / 2), rng.normal(0, SETTLED_DEG), 1.0)
    turn[:, 2] += rng.normal(0, SETTLED_PX, 2)
    moved = cv2.warpAffine(
        linear, turn, (width, height), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT
    )
    return np.maximum(moved, 0)  # a cubic kernel undershoots


def make_pairs(out: Path, scenes: Sequence[Scene], samples: int, variant: str, again: bool) -> None:
    """Make the pairs that are not there yet, one after the other."""
    for scene in scenes:
        if again or not (out / FOLDER / f"{scene.id}.json").exists():
            shoot_pair(scene, out, samples, variant, again)
            print(scene.id, file=sys.stderr, flush=True)


def read_pairs(out: Path) -> list[dict[str, object]]:
    """Truth documents of the scenes made."""
    return [json.loads(path.read_text("utf-8")) for path in sorted((out / FOLDER).glob("*.json"))]
