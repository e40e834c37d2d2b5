"""Plates under four lights, by three phones, at three exposures each: on the bench mat, or beside a sheet.

A scene is rendered once for each light; the phones develop those renders. Photos lie in ``relight-mat`` or
``relight-sheet`` with a truth file each; those of one scene have one ``group`` of ``of`` photos.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.scenes.bench import BENCHES, HELD_OUT_BENCHES
from tests.scenes.boards import MORE_BENCHES, MORE_HELD_OUT_BENCHES
from tests.scenes.camera import Phone, varied_phone
from tests.scenes.catalogue import PartSpec, Scene, draw_parts
from tests.scenes.facts import Built, truth_of
from tests.scenes.lamps import ALL_LIGHTS, FOUR_LIGHTS
from tests.scenes.linings import TOO_DARK_L, drawn_lining
from tests.scenes.look import Look
from tests.scenes.printed import Inks, random_inks
from tests.scenes.render import cast, render
from tests.scenes.sheets import SHORT_MM, calibration_photos, laid_on
from tests.scenes.shoot import _jpeg, _retaken, _rng, build, face_union, json_of, write_whole
from tests.scenes.skin import FRICTION

MAT, SHEET = "mat", "sheet"
SHOPS, PLATES = 14, 3  # 42 plates
PHONES = 3
EXPOSURES = (0.76, 1.0, 1.26)  # a third of a stop either way and a little more, as phones meter
FRAME = 1.28  # height of the photo over the mat's shorter side: the whole mat in view, turned a little
TUNED_EVERY = 3
WEAR = Look(ink=False)


def four_light_scenes(by: str) -> tuple[Scene, ...]:
    """Fourteen shops of three plates and a clean one; in every third shop they may be tuned on.

    Parameters
    ----------
    by : str
        "mat": each plate alone on the bench mat. "sheet": the same three in a row beside paper or card.
    """
    rng = np.random.default_rng(20251201)
    thirds: dict[bool, Counter[int]] = {True: Counter(), False: Counter()}
    scenes: list[Scene] = []
    for number in range(SHOPS):
        tuned = number % TUNED_EVERY == 0
        lining, bench = _lining(rng, tuned), _bench(rng, tuned)
        drawn = (
            draw_parts(rng, "single friction", lining, thirds[tuned], Counter(), None) for _ in range(PLATES)
        )
        parts = [found[0][0] for found in drawn]
        shop = _Shop(number, tuned, bench, float(rng.uniform(55, 88)), rng.uniform(0, 16, PLATES + 1), by)
        name, clean = f"{by[0]}{number:02d}", f"{by[0]}c{number:02d}"
        if by == MAT:
            scenes += [shop.scene(f"{name}{k}", k, (part,), reference=clean) for k, part in enumerate(parts)]
        else:
            row = tuple(sorted(parts, key=lambda part: part.level))
            scenes.append(shop.scene(name, 0, row, reference=clean))
        scenes.append(shop.scene(clean, PLATES, (PartSpec(FRICTION, 0, lining, WEAR),), clean=True))
    return tuple(scenes)


@dataclass(frozen=True, slots=True, eq=False)
class _Shop:
    number: int
    tuned: bool
    bench: str
    outer_r: float
    slants: NDArray[np.float64]
    by: str

    def scene(self, name: str, k: int, parts: tuple[PartSpec, ...], **more: Any) -> Scene:
        alone = (2 * self.outer_r + 8) / (FRAME * SHORT_MM)
        return Scene(
            id=name,
            seed=71000 + self.number * 10 + k,
            tuned=self.tuned,
            bench=self.bench,
            light="window",
            layout="row",
            parts=parts,
            shape_seed=73000 + self.number,
            slant_deg=float(self.slants[k]),
            neutral=None if self.by == MAT else ("white paper", "white paper", "grey card")[self.number % 3],
            fill=alone if self.by == MAT else 0.9 if len(parts) > 1 else 0.62,
            size=(1200, 900),
            outer_r=self.outer_r,
            orientation=1,
            wide_gamut=False,
            alike=True,
            tags={"shop": f"{self.number:02d}", "by": self.by},
            **more,
        )


def _lining(rng: np.random.Generator, tuned: bool) -> str:
    while True:
        number = int(rng.integers(1000, 2000))
        lining = drawn_lining(number)
        if lining.held_out != tuned and lining.lab[0] >= TOO_DARK_L + 2:
            return lining.name


def _bench(rng: np.random.Generator, tuned: bool) -> str:
    held_out = (*HELD_OUT_BENCHES, *MORE_HELD_OUT_BENCHES)
    able = [name for name in (*BENCHES, *MORE_BENCHES) if not tuned or name not in held_out]
    return str(rng.choice(able))


def make_four_lights(out: Path, scenes: Sequence[Scene], samples: int, variant: str, again: bool) -> None:
    """Make the groups that are not there yet, one after the other."""
    for scene in scenes:
        by = scene.tags["by"]
        folder = out / f"relight-{by}"
        folder.mkdir(parents=True, exist_ok=True)
        if again or not (folder / f"{scene.id}.json").exists():
            _make(scene, folder, by, samples, variant)
            print(scene.id, file=sys.stderr, flush=True)


def _make(scene: Scene, folder: Path, by: str, samples: int, variant: str) -> None:
    shop = int(scene.tags["shop"])
    built = build(scene)
    document: dict[str, Any] = {"calibration": None}
    if by == MAT:
        inks = random_inks(np.random.default_rng([20251202, shop]))
        built = _on_mat(built, inks)
        names = [f"mat{shop:02d}-{k}.jpg" for k in range(3)]
        if scene.clean:
            rng = np.random.default_rng([20251203, shop])
            for name, photo in zip(names, calibration_photos(rng, inks, _phone(shop, 0)), strict=True):
                write_whole(folder / name, photo)
        document["calibration"] = names
    truth, masks = truth_of(built, cast(built.stage, variant))
    document |= truth
    for name, mask in masks.items():
        encoded = cv2.imencode(".png", mask.astype(np.uint8) * 255)[1]
        write_whole(folder / f"{scene.id}-{name}.png", encoded.tobytes())
    faces = face_union(masks)
    assert faces is not None
    lights = list(FOUR_LIGHTS)
    if scene.clean:  # taken once, as a shop does, in any of the four
        lights = [lights[shop % len(lights)]]
    for number, light in enumerate(lights, start=1):
        _under(scene, built, light, number, folder, document, faces, samples, variant)
    write_whole(folder / f"{scene.id}.json", json_of(document | {"group": None, "photo": f"{scene.id}.jpg"}))


def _under(
    scene: Scene,
    built: Built,
    light: str,
    number: int,
    folder: Path,
    document: dict[str, Any],
    faces: NDArray[np.bool_],
    samples: int,
    variant: str,
) -> None:
    """The photos of a scene in one light; of a clean plate one alone."""
    lit = replace(scene, light=light)
    stage = replace(built.stage, light=ALL_LIGHTS[light](_rng(lit, 3)))
    linear = render(stage, samples, scene.seed + number, variant)
    shop = int(scene.tags["shop"])
    for p in range(1 if scene.clean else PHONES):
        purpose = 40 + 9 * number + 3 * p
        phone = _shot(_phone(shop, p), _rng(lit, purpose))
        # Who sees the face washed out at the highest exposure meters lower for all.
        highest = replace(phone, exposure=phone.exposure * EXPOSURES[-1])
        phone = replace(
            phone, exposure=_retaken(lit, linear, highest, purpose, faces).exposure / EXPOSURES[-1]
        )
        for e, exposure in enumerate((1.0,) if scene.clean else EXPOSURES):
            name = scene.id if scene.clean else f"{scene.id}-light{number}-phone{p + 1}-{e + 1}"
            shot = replace(phone, exposure=phone.exposure * exposure)
            write_whole(folder / f"{name}.jpg", _jpeg(lit, linear, shot, purpose + e, built.equivalent_35mm))
            if scene.clean:
                continue
            entry = {"photo": f"{name}.jpg", "group": scene.id, "light": light, "phone": asdict(shot)}
            of = len(FOUR_LIGHTS) * PHONES * len(EXPOSURES)
            write_whole(folder / f"{name}.json", json_of({**document, **entry, "of": of}))


def _on_mat(built: Built, inks: Inks) -> Built:
    """The scene with the mat under its plate, along the photo's longer side."""
    stage, rng = built.stage, _rng(built.scene, 7)
    right = stage.camera.rotation[0]
    along = float(np.degrees(np.arctan2(right[1], right[0])) + rng.choice([-90, 90]) + rng.normal(0, 3))
    bench = laid_on(stage.bench, stage.bench_shift, stage.bench_turn_deg, inks, along)
    return replace(built, stage=replace(stage, bench=bench))


def _phone(shop: int, number: int) -> Phone:
    """One of a shop's three phones."""
    phone = varied_phone(np.random.default_rng([20251204, shop, number]))
    return replace(phone, orientation=1, wide_gamut=False)


def _shot(phone: Phone, rng: np.random.Generator) -> Phone:
    """One shot of it: metering and white balance are never twice the same."""
    red, blue = (float(v) for v in phone.balance_error * np.exp(rng.normal(0, (0.02, 0.03))))
    return replace(phone, exposure=float(np.exp(rng.normal(0, 0.05))), balance_error=(red, blue))
