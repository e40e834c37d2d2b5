"""Lining told from bare metal by the face itself: on plates drawn by hand and on the demo's photos."""

import io
import math
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from wearview.look import look_at
from wearview.material import log_odds, material_features, settle_kinds, with_neighbours
from wearview.parts import Ellipse, Part
from wearview.photo import read_photo_bytes
from wearview.settings import load_settings
from wearview.surface import GRID, Rectified, rectify
from wearview.terms import FRICTION, REACTION, STEEL

DEMO = Path(__file__).parents[2] / "demo_images"
SIZE, INNER = round(GRID * 1.03), 0.7
y, x = np.mgrid[:SIZE, :SIZE].astype(np.float32) - (SIZE - 1) / 2
RHO, ANGLE = np.hypot(x, y) / (GRID / 2), np.degrees(np.arctan2(y, x)) % 360
FACE = (RHO < 0.988) & (RHO > INNER + 0.012)
BARE = np.array([68.0, 0.3, 2.0], np.float32)
NO_MARKS = {"groove": np.zeros_like(FACE), "ink": np.zeros_like(FACE)}
MATERIAL = load_settings()


def felt(rough: float = 4.0) -> np.ndarray:
    """Fibres that lie every way, in L*."""
    noise = np.random.default_rng(5).standard_normal((SIZE, SIZE)).astype(np.float32)
    return rough * noise


def turned(rough: float = 2.0) -> np.ndarray:
    """Lines round the plate, as a lathe leaves them, in L*."""
    lines = np.random.default_rng(6).standard_normal(SIZE).astype(np.float32)
    return rough * np.interp(RHO * GRID / 2, np.arange(SIZE), lines).astype(np.float32)


def chance(colour, texture: np.ndarray, inner_teeth: bool) -> float:
    lab = np.empty((SIZE, SIZE, 3), np.float32)
    lab[:] = np.where(((RHO < 1) & (RHO > INNER))[..., None], np.array(colour, np.float32), BARE)
    lab[..., 0] += np.where(FACE, texture, 0)
    return 1 / (1 + math.exp(-log_odds(material_features(*plate(lab, inner_teeth)), MATERIAL)))


def plate(lab: np.ndarray, inner_teeth: bool) -> tuple[Rectified, Part]:
    c = (SIZE - 1) / 2
    outer, inner = (Ellipse(c, c, d, d, 0.0) for d in (float(GRID), INNER * GRID))
    nothing = np.zeros_like(FACE)
    part = Part(STEEL, 0.5, outer, inner, None, math.nan, (0, 0), FACE, FACE, nothing, 1.0)
    rectified = Rectified(
        lab=cv2.GaussianBlur(lab, (0, 0), 0.7),
        clipped=nothing,
        whole=FACE,
        radius=RHO,
        angle_deg=ANGLE,
        xy=np.stack([x, y], -1),
        diameter=float(GRID),
        disc=GRID / 150,
        mm_per_px=math.nan,
        metal_lab=BARE.astype(float),
        marks=NO_MARKS,
    )
    return rectified, replace(part, evidence={"inner_teeth": float(inner_teeth)})


@pytest.mark.parametrize("colour", [(61, 8, 24), (48, -9, 16), (41, 17, 18), (22, 1, 2)])
@pytest.mark.parametrize("inner_teeth", [True, False])
def test_a_felt_of_any_colour_is_lining_whichever_side_its_teeth_are_on(colour, inner_teeth):
    assert chance(colour, felt(), inner_teeth) > 0.5


@pytest.mark.parametrize("inner_teeth", [True, False])
def test_turned_bare_metal_is_steel_whichever_side_its_teeth_are_on(inner_teeth):
    assert chance(BARE, turned(), inner_teeth) < 0.5


# Chroma of the oxides halved: a ground face averages many thicknesses.
@pytest.mark.parametrize("oxide", [(63, 2.5, 18), (47, 11, 16), (38, 12, -8), (40, 1, -20), (42, 0, -3)])
def test_an_oxide_all_over_is_steel(oxide):
    assert chance(oxide, turned(), inner_teeth=False) < 0.5


def test_turning_the_plate_changes_no_feature():
    lab = np.empty((SIZE, SIZE, 3), np.float32)
    lab[:] = (55, 9, 22)
    lab[..., 0] += felt(2) + np.where(x > 0, 6, 0) - 12 * (np.abs(ANGLE % 12 - 6) < 1)
    one = material_features(*plate(lab, True))
    other = material_features(*plate(np.ascontiguousarray(np.rot90(lab)), True))
    # Places on the unrolled plate fall elsewhere between grid pixels: a groove's peak stands on other noise.
    assert one == pytest.approx(other, abs=0.02, rel=0.1)


def test_a_doubtful_plate_takes_the_kind_of_those_toothed_alike():
    assert with_neighbours([-0.5, 3.0, 4.0], [True, True, True])[0] > 0
    assert with_neighbours([-0.5, 3.0, 4.0], [True, False, False])[0] < -0.5


def test_a_plate_alone_keeps_its_own_word():
    assert with_neighbours([0.3], [True]) == [0.3]


def test_neighbours_do_not_overrule_a_plate_that_is_sure():
    assert with_neighbours([-6.0, 3.0, 4.0, 9.0], [True] * 4)[0] < 0


F, S, R = FRICTION, STEEL, REACTION


@pytest.mark.parametrize(
    ("photo", "kinds"),
    [
        ("direct-pack-1.jpg", [S, F, S, F, S, F]),
        ("direct-pack-2.jpg", [S, F, S, F]),
        ("direct-pack-3.jpg", [R]),
        ("low-reverse-pack-1.jpg", [F, F, F, F]),
        ("overdrive-pack-2.jpg", [S, S, S, S, S]),
        ("reference-green.jpg", [F]),
    ],
)
def test_the_demos_plates_get_the_kinds_they_were_painted_as(photo, kinds):
    assert lined((DEMO / photo).read_bytes()) == [kind == F for kind in kinds]


@pytest.mark.parametrize(
    ("photo", "kinds"), [("direct-pack-1.jpg", [S, F, S, F, S, F]), ("forward-pack-1.jpg", [F] * 5)]
)
def test_a_picture_of_256_colours_shows_the_same_kinds(photo, kinds):
    buffer = io.BytesIO()
    with Image.open(DEMO / photo) as picture:
        picture.quantize(256).save(buffer, "PNG")
    assert lined(buffer.getvalue()) == [kind == F for kind in kinds]


def lined(data: bytes) -> list[bool]:
    """Whether each plate of a photo is lined, from left to right."""
    seen = look_at(read_photo_bytes(data, "photo"))
    assert seen.light is not None
    parts = sorted((p for p in seen.parts if p.outer), key=lambda p: p.outer.cx)
    settled = settle_kinds(parts, [rectify(seen.photo, p, seen.light) for p in parts], MATERIAL)
    return [part.kind == F for part in settled]


def test_a_stated_kind_stays():
    part = replace(plate(np.zeros((SIZE, SIZE, 3), np.float32), False)[1], kind=FRICTION, kind_confidence=1.0)
    rectified = plate(np.broadcast_to(BARE, (SIZE, SIZE, 3)).copy(), False)[0]
    assert settle_kinds([part], [rectified], MATERIAL) == [part]
