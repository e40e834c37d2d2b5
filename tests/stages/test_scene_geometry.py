"""The scenes' own truth about where things are, checked against formulas and an outside fit."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from itertools import pairwise

import cv2
import numpy as np
import pytest
from PIL import Image, ImageCms

from tests.needs import needs
from tests.scenes.bench import BENCHES, LIGHTS
from tests.scenes.camera import Exif, random_phone, write_jpeg
from tests.scenes.catalogue import accuracy_scenes
from tests.scenes.clutter import THINGS
from tests.scenes.demo import TEARDOWN, demo_photos
from tests.scenes.geometry import Hits, Pose, look_at, part_mask, projected_circle, ring_face_mask
from tests.scenes.icc import display_p3
from tests.scenes.layout import framed, leaning_row
from tests.scenes.linings import BY_NAME
from tests.scenes.make import make_skin
from tests.scenes.mesh import Mesh, band_solid, joined, plate_solid
from tests.scenes.render import PlacedPart, Stage, cast, newest_llvm
from tests.scenes.shapes import random_band_shape, random_plate_shape
from tests.scenes.skin import STEEL, PlateShape

FLAT = Pose(np.eye(3), np.zeros(3))


def volume(*meshes: Mesh | None) -> float:
    """Volume inside closed meshes, by the divergence theorem."""
    whole = joined(*(m for m in meshes if m is not None))
    a, b, c = (whole.vertices[whole.faces[:, k]] for k in range(3))
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6)


def test_a_camera_stands_off_a_row_longer_than_its_first_distance():
    row = np.array([[x, y, 0.0] for x in (-80, 80) for y in (-700, 700)])
    camera = framed(row, (1320, 1760), 2645, 45, 0, -2, 0.9, (0.0, 0.0))
    seen = camera.project(row)
    assert camera.centre[2] > 400
    assert (np.ptp(seen, axis=0) / (1320, 1760)).max() == pytest.approx(0.9, abs=0.02)


def test_a_tilted_ring_projects_to_the_worked_ellipses():
    # Worked example: pinhole f 1000 px, rings of radius 60 and 40 mm, 400 mm away, tilted 30 degrees.
    # Computed independently by projecting points and fitting them; printed to two decimals.
    camera = look_at(np.zeros(3), 400.0, 30.0, 0.0, 0.0, (1, 1), 1000.0)
    outer, inner = (projected_circle(camera, FLAT, r, 0.0) for r in (60.0, 40.0))
    assert abs(outer.cy) == pytest.approx(9.80, abs=0.02)
    assert abs(inner.cy) == pytest.approx(4.34, abs=0.02)
    assert (outer.major, outer.minor) == (pytest.approx(300.85, abs=0.02), pytest.approx(261.28, abs=0.02))


@pytest.mark.parametrize(("slant", "turn", "roll"), [(0, 0, 0), (25, 40, 7), (45, -80, 110)])
def test_the_ellipse_agrees_with_a_fit_of_projected_points(slant, turn, roll):
    camera = look_at(np.array([10.0, -20.0, 0.0]), 520.0, slant, turn, roll, (1600, 1200), 1300.0)
    angle = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    rim = np.c_[70 * np.cos(angle), 70 * np.sin(angle), np.full(400, 2.0)]
    (cx, cy), (d1, d2), degrees = cv2.fitEllipseDirect(camera.project(rim).astype(np.float32))
    ellipse = projected_circle(camera, FLAT, 70.0, 2.0)
    assert (ellipse.cx, ellipse.cy) == (pytest.approx(cx, abs=0.02), pytest.approx(cy, abs=0.02))
    assert (ellipse.major, ellipse.minor) == (
        pytest.approx(max(d1, d2), abs=0.05),
        pytest.approx(min(d1, d2), abs=0.05),
    )
    if slant:
        fitted = (degrees if d1 >= d2 else degrees + 90) % 180
        assert abs((ellipse.angle_deg - fitted + 90) % 180 - 90) < 0.1


def test_right_and_up_on_the_bench_are_right_and_up_in_the_photo():
    camera = look_at(np.zeros(3), 500.0, 20.0, 0.0, 0.0, (800, 600), 700.0)
    centre, right, away = camera.project(np.array([[0, 0, 0], [10, 0, 0], [0, 10, 0.0]]))
    np.testing.assert_allclose(centre, [399.5, 299.5])
    assert right[0] > centre[0]
    assert right[1] == pytest.approx(centre[1])
    assert away[1] < centre[1]


def test_a_face_seen_square_on_has_the_area_of_an_annulus():
    size, focal, distance = 900, 1000.0, 500.0
    camera = look_at(np.zeros(3), distance, 0.0, 0.0, 0.0, (size, size), focal)
    step = distance / focal  # mm per pixel on the bench
    x, y = np.meshgrid((np.arange(size) - (size - 1) / 2) * step, ((size - 1) / 2 - np.arange(size)) * step)
    point = np.stack([x, y, np.zeros_like(x)], -1).astype(np.float32)
    hits = Hits(np.zeros((size, size), np.int16), np.ones((size, size), bool), point)
    face = ring_face_mask(hits, 0, FLAT, 60.0, 90.0, 0.0)
    area = np.pi * (180.0**2 - 120.0**2)  # pixels
    # A lattice strays from the area by at most about its perimeter; in practice by its square root.
    assert face.sum() == pytest.approx(area, abs=3 * np.sqrt(2 * np.pi * 300))
    ellipse = projected_circle(camera, FLAT, 90.0, 0.0)
    assert ellipse.major == pytest.approx(360.0, abs=1e-6)


def test_teeth_add_their_share_of_the_ring_they_stand_in():
    bare = PlateShape(60.0, 45.0, 60.0, 45.0, "outer", 12, 1e-9, 0.4, "trapezoid", (), 2.0, 0.0, 0.0)
    volumes = []
    for shape in (bare, replace(bare, tooth_depth=5.0), replace(bare, tooth_depth=5.0, missing_teeth=(0, 6))):
        solid = plate_solid(shape, (66.0, 66.0))
        volumes.append(volume(solid.top, solid.metal_edges))
    ring, toothed, gapped = volumes
    assert ring == pytest.approx(np.pi * (60.0**2 - 45.0**2) * 2.0, rel=0.01)  # a burr stands round the rims
    full = np.pi * (65.0**2 - 60.0**2) * 2.0
    assert toothed - ring == pytest.approx(0.4 * full, rel=0.03)
    assert gapped - ring == pytest.approx((toothed - ring) * 10 / 12, rel=0.01)


def test_a_band_is_as_large_bent_as_straight():
    shape = random_band_shape(np.random.default_rng(1))
    volumes = []
    for bend in (0.0, 30.0, -30.0):
        bent = replace(shape, bend_deg=bend)
        solid = band_solid(bent, (bent.length_mm / 2, bent.width_mm / 2))
        volumes.append(volume(solid.top, solid.metal_edges, solid.lining_edges))
    # Bending keeps the middle line's length; only the brackets' straight backs lose a few thousandths.
    assert volumes[1] == pytest.approx(volumes[0], rel=0.02)
    assert volumes[2] == pytest.approx(volumes[0], rel=0.02)


@pytest.mark.parametrize("name", sorted(set(THINGS) - {"rag", "white paper", "grey card"}))
def test_a_bench_object_is_solid_and_stands_on_the_bench(name):
    thing = THINGS[name](np.random.default_rng(3))
    assert all(volume(mesh) > 0 for mesh, _ in thing.pieces)
    assert min(mesh.vertices[:, 2].min() for mesh, _ in thing.pieces) > -0.2


def test_leaning_plates_touch_but_do_not_cut_each_other():
    shape = PlateShape(60.0, 45.0, 60.5, 44.5, "inner", 40, 3.0, 0.5, "trapezoid", (), 2.0, 0.4, 0.1)
    poses = leaning_row(np.random.default_rng(0), [shape] * 4, np.array([1.0, 0.0]), 0.3, False)
    for below, above in pairwise(poses):
        x, y = np.meshgrid(np.linspace(-60, 60, 61), np.linspace(-60, 60, 61))
        disc = np.hypot(x, y) <= 60.5
        underside = above.apply(np.stack([x[disc], y[disc], np.zeros(disc.sum())], -1))
        inside = below.undo(underside)
        shared = np.hypot(inside[:, 0], inside[:, 1]) <= 60.5
        assert shared.any()
        gap = inside[shared][:, 2] - shape.thickness_mm
        assert gap.min() > -0.05  # the rows are a little off their line, which lifts one edge by hundredths
        assert gap.min() < 0.2
        assert underside[:, 2].min() > -0.02


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_a_stored_photo_turns_upright_by_its_tag(orientation, tmp_path):
    rgb = np.zeros((60, 90, 3), np.uint8)
    rgb[:30, :45] = (250, 20, 20)
    phone = replace(random_phone(np.random.default_rng(0)), orientation=orientation, quality=94)
    path = tmp_path / "a.jpg"
    path.write_bytes(write_jpeg(rgb, phone, Exif("2025:03:11 09:00:00", None, 5.4, 26)))
    upright = cv2.imread(str(path))  # OpenCV turns JPEG pixels by the tag
    assert upright.shape == rgb.shape
    assert upright[10, 10, 2] > 200
    assert upright[10, 80].max() < 40


def test_the_wide_gamut_profile_is_display_p3(tmp_path):
    # Display P3 (200, 120, 60) is sRGB (212.97, 115.02, 42.38): primaries of SMPTE EG 432-1, computed by
    # colour-science.
    path = tmp_path / "p3.icc"
    path.write_bytes(display_p3())
    picture = Image.new("RGB", (1, 1), (200, 120, 60))
    turned = ImageCms.profileToProfile(picture, str(path), ImageCms.createProfile("sRGB"))
    np.testing.assert_allclose(turned.getpixel((0, 0)), (212.97, 115.02, 42.38), atol=1.0)  # 8-bit rounding


def test_the_accuracy_scenes_are_as_varied_as_promised():
    scenes = [s for s in accuracy_scenes() if not s.clean]
    assert len(scenes) >= 66
    assert len({s.id for s in accuracy_scenes()}) == len(accuracy_scenes())
    levels = [
        p.level
        for s in scenes
        if s.gradeable
        for p in s.parts
        if p.lining is None or BY_NAME[p.lining].lab[0] >= 30
    ]
    for level in range(5):
        assert levels.count(level) >= 0.10 * len(levels)
    untouched = [s for s in scenes if not s.tuned]
    assert len(untouched) == pytest.approx(len(scenes) / 3, abs=1)
    assert all(BY_NAME[p.lining].held_out for s in untouched for p in s.parts if p.lining)
    assert all(not BY_NAME[p.lining].held_out for s in scenes if s.tuned for p in s.parts if p.lining)
    assert 0.08 <= sum(not s.gradeable for s in scenes) / len(scenes) <= 0.16
    assert 0.6 <= sum(s.neutral is not None for s in scenes) / len(scenes) <= 0.8


def test_every_photo_of_the_demo_teardown_is_made_and_told():
    told = tomllib.loads(TEARDOWN.read_text("utf-8"))
    photos = [p for e in told["element"] for p in e["photo"]]
    files = {p["file"] for p in photos}
    files |= {e["reference"] for e in told["element"] if "reference" in e}
    assert files == {f"{s.id}.jpg" for s in demo_photos()}
    taken = [s.taken_at for s in demo_photos()]
    assert taken == sorted(taken)
    painted = {
        p["file"]: p["painted_levels"] for e in told["element"] for p in e["photo"] if "positions" in p
    }
    shown = {f"{s.id}.jpg": [p.level for p in s.parts] for s in demo_photos() if s.gradeable and not s.clean}
    assert painted == shown
    refused = {p["file"] for p in photos if not p.get("gradeable", True)}
    assert refused == {f"{s.id}.jpg" for s in demo_photos() if not s.gradeable}


@needs(newest_llvm() is not None, "LLVM's shared library 17 or newer (Debian: apt-get install libllvm19)")
def test_rays_meet_the_face_where_the_ellipses_say():
    rng = np.random.default_rng(2)
    shape = replace(random_plate_shape(rng, STEEL), chamfer_mm=0.1)
    skin = make_skin(rng, STEEL, shape, 1, resolution=500)
    camera = look_at(np.zeros(3), 420.0, 35.0, 20.0, 0.0, (640, 480), 700.0)
    bench = BENCHES["cardboard"](rng, (400.0, 400.0), 0.5)
    part = PlacedPart(shape, skin, FLAT)
    stage = Stage(bench, (0.0, 0.0), 0.0, LIGHTS["tubes"](rng), [part], [], camera)
    hits = cast(stage)
    face = ring_face_mask(hits, 0, FLAT, shape.inner_r, shape.outer_r, shape.thickness_mm)
    outer, inner = (
        projected_circle(camera, FLAT, r, shape.thickness_mm) for r in (shape.outer_r, shape.inner_r)
    )
    area = np.pi / 4 * (outer.major * outer.minor - inner.major * inner.minor)
    # Nothing stands above the face, so only pixel rounding is left.
    assert face.sum() == pytest.approx(area, rel=0.01)
    assert part_mask(hits, 0).sum() > face.sum()
    assert part_mask(hits, 0)[face].all()
