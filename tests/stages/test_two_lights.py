"""Two photos under two lights: laid onto each other, shine parted from the body, glaze read from both."""

import io
import json
import math
from dataclasses import replace
from importlib import import_module
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from tests.faces import TAN, clean_lining, ring_face, veiled
from tests.scenes.colours import lab_to_linear_srgb
from wearview.cli import main
from wearview.colour import linear_to_srgb, srgb_to_linear
from wearview.light import Light
from wearview.lining import Relit, read_glazing, read_two_lights
from wearview.look import light_of
from wearview.pair import lay_onto, light_change, moved_shine
from wearview.photo import PhotoBytes, read_photo, read_photo_bytes
from wearview.pipeline import grade_photos
from wearview.record import build_document, validate
from wearview.settings import load_settings
from wearview.terms import SECOND_LEFT_OUT, SECOND_NO_FIT, SECOND_NOT_MOVED

DEMO = Path(__file__).parents[2] / "demo_images"
PLATE = DEMO / "reference-tan.jpg"
SETTINGS = load_settings()
X, Y = np.meshgrid(np.linspace(-1, 1, 160), np.linspace(-1, 1, 120))


def dichromatic(body, shading, shine):
    """Shafer's model with a neutral interface, rgb = shading x body + shine x white (Color Research and
    Application 10, 210-218, 1985; from memory)."""
    return (shading[..., None] * body + shine[..., None]).astype(np.float32)


@pytest.mark.parametrize("lab", [TAN, (48.0, -9.0, 16.0), (41.5, 17.0, 18.0)])
def test_the_shine_of_a_dichromatic_surface_is_found_exactly(lab):
    # Worked by hand: d1 = 1, d2 = 0.8, s1 = 0.01, s2 = 0.05 give s2 - (d2 / d1) s1 = 0.042 whatever the body.
    body, one = lab_to_linear_srgb(np.array(lab)), np.ones(X.shape)
    moved = moved_shine(
        dichromatic(body, one, 0.01 * one), dichromatic(body, 0.8 * one, 0.05 * one), one > 0, 6
    )
    assert moved == pytest.approx(0.042, abs=1e-4)


def test_a_shine_that_moves_over_a_mottled_surface_is_followed():
    rng = np.random.default_rng(3)
    tone = np.exp(0.1 * rng.standard_normal(X.shape))
    body = lab_to_linear_srgb(np.array(TAN))
    shine = 0.06 * np.exp(-((X - 0.3) ** 2 + Y**2) / 0.3)
    first = dichromatic(body, tone * (1 + 0.2 * X), 0 * X)
    second = dichromatic(body, tone * (0.9 - 0.2 * X), shine)
    moved = moved_shine(first, second, X < 2, 4)
    assert np.abs(moved - cv2.GaussianBlur(shine, (0, 0), 4))[15:-15, 15:-15].max() < 0.004


def test_a_duller_second_light_alone_moves_no_shine():
    body = lab_to_linear_srgb(np.array(TAN))
    first = dichromatic(body, 1 + 0 * X, 0 * X)
    assert np.abs(moved_shine(first, 0.6 * first, X < 2, 5)).max() < 1e-4


def test_a_grey_surface_has_no_colour_to_tell_its_shine():
    first = dichromatic(np.full(3, 0.2), 1 + 0 * X, 0 * X)
    assert np.isnan(moved_shine(first, first + 0.05, X < 2, 5)).all()


def taken_again(change, file=PLATE):
    """A photo taken again, as JPEG: `change` of its 8-bit picture."""
    with Image.open(file) as picture:
        rgb8 = np.asarray(picture.convert("RGB"))
    out = io.BytesIO()
    Image.fromarray(np.clip(change(rgb8), 0, 255).astype(np.uint8)).save(out, "JPEG", quality=95)
    return out.getvalue()


def shot(change, name="second.jpg"):
    """The demo's clean plate taken again."""
    return read_photo_bytes(taken_again(change), name)


def nudged(rgb8, shift=(3.0, -2.0), turn=0.2):
    height, width = rgb8.shape[:2]
    warp = cv2.getRotationMatrix2D((width / 2, height / 2), turn, 1)
    warp[:, 2] += shift
    return cv2.warpAffine(rgb8, warp, (width, height), borderMode=cv2.BORDER_REFLECT)


def seen_from_elsewhere(rgb8, closer=0.06):
    height, width = rgb8.shape[:2]
    corners = np.float32([[0, 0], [width, 0], [width, height], [0, height]])
    slid = corners + np.float32([[closer, closer / 2], [-closer, closer / 2], [0, 0], [0, 0]]) * [
        width,
        height,
    ]
    warp = cv2.getPerspectiveTransform(corners, slid.astype(np.float32))
    return cv2.warpPerspective(rgb8, warp, (width, height), borderMode=cv2.BORDER_REFLECT)


def fades(rgb8):
    return rgb8 * np.linspace(0.75, 1.1, rgb8.shape[1])[None, :, None]


def lamp_moved(rgb8):
    return fades(nudged(rgb8))


def test_a_nudged_second_photo_is_laid_back_within_a_pixel():
    first, second = read_photo(str(PLATE)), shot(lamp_moved)
    laid = lay_onto(first, second)
    assert laid.alike > 0.8
    middle = np.array([[[first.width / 2, first.height / 2]]], float)
    there = cv2.perspectiveTransform(middle, laid.to_second)
    assert (there - middle).ravel() == pytest.approx((3.0, -2.0), abs=1.0)
    assert laid.photo.rgb8.shape == first.rgb8.shape


@pytest.mark.parametrize(
    "spoil",
    [
        seen_from_elsewhere,
        lambda rgb8: nudged(rgb8, shift=(150.0, 90.0)),
        lambda rgb8: cv2.GaussianBlur(rgb8, (0, 0), 9),
        lambda rgb8: rgb8[:, : rgb8.shape[1] // 2],
        lambda rgb8: np.random.default_rng(0).integers(0, 255, rgb8.shape),
    ],
    ids=["phone moved", "far off", "shaken", "another shape", "something else"],
)
def test_a_pair_that_does_not_fit_is_refused_and_the_first_photo_decides(spoil):
    graded = grade_photos([str(PLATE)], SETTINGS, reference=str(PLATE), seconds=[shot(spoil)])
    [photo] = graded.photos
    assert SECOND_NO_FIT in photo.problems
    assert photo.parts[0].lining.glazing.method == "one photo"
    assert photo.parts[0].grade.level == 0


def darker_and_noisy(rgb8):
    """Two thirds of a stop less light."""
    less = 255 * linear_to_srgb(srgb_to_linear(rgb8) * 0.63)
    return np.round(less + np.random.default_rng(2).normal(0, 2, rgb8.shape))


@pytest.mark.parametrize(
    ("again", "problems"),
    [
        (lambda rgb8: rgb8, [SECOND_NOT_MOVED]),
        (lambda rgb8: darker_and_noisy(nudged(rgb8)), [SECOND_NOT_MOVED]),
        (lamp_moved, []),
    ],
    ids=["the same photo", "darker and noisy", "moved"],
)
def test_two_photos_under_one_lamp_are_no_second_light(again, problems):
    [photo] = grade_photos([str(PLATE)], SETTINGS, reference=str(PLATE), seconds=[shot(again)]).photos
    assert [name for name in photo.problems if name in SECOND_LEFT_OUT] == problems
    assert photo.parts[0].lining.glazing.method == ("one photo" if problems else "two lights")


def test_a_change_of_exposure_is_no_change_of_light_and_a_step_across_half_of_it_is():
    flat = np.full((600, 800, 3), 120, np.uint8)
    assert light_change(flat, flat // 2) == pytest.approx(0, abs=1e-6)
    half = flat.copy()
    half[:, 400:] = np.round(255 * linear_to_srgb(srgb_to_linear(half[:, 400:]) / 2))
    assert light_change(flat, half) == pytest.approx(math.log(2), abs=0.03)  # 8-bit steps, dark offset


def test_a_second_light_without_paper_is_matched_through_the_bench_or_refused(monkeypatch):
    no_paper = Light("none", np.full(3, 0.8), np.zeros(6), 9.0, 9.0, None, None)
    for bench, problems in ((np.full(3, 0.3), []), (None, ["second light not known"])):
        first = replace(light_of(read_photo(str(PLATE)), []), bench=np.full(3, 0.3))
        other = replace(no_paper, bench=bench)
        monkeypatch.setattr("wearview.look._light", lambda *_, first=first: first)
        monkeypatch.setattr("wearview.relight.light_of", lambda *_, other=other: other)
        graded = grade_photos(
            [str(PLATE)],
            SETTINGS,
            reference=None,
            lining=clean_lining(TAN),
            seconds=[shot(fades)],
        )
        [photo] = graded.photos
        assert [name for name in photo.problems if name == "second light not known"] == problems
        assert (photo.parts[0].relit is None) == bool(problems)


def test_a_face_cut_across_by_grooves_is_seen_again(monkeypatch):
    def waffle(lightness, whole, diameter):
        cut = np.arange(lightness.shape[0]) % 10 < 4
        return {
            "groove": (cut[:, None] | cut[: lightness.shape[1]][None]) & whole,
            "ink": np.zeros_like(whole),
        }

    monkeypatch.setattr(import_module("wearview.surface.rectify"), "find_marks", waffle)
    second = shot(lamp_moved)
    graded = grade_photos([str(PLATE)], SETTINGS, reference=str(PLATE), seconds=[second])
    assert graded.photos[0].parts[0].relit is not None


def test_a_clean_plate_under_two_lights_has_no_glaze(tmp_path, capsys):
    second = tmp_path / "second.jpg"
    second.write_bytes(taken_again(lamp_moved))
    words = ["grade", str(PLATE), "--second-light", str(second), "--reference", str(PLATE), "--json", "-"]
    assert main(words) == 0
    [part] = json.loads(capsys.readouterr().out)["photos"][0]["parts"]
    assert part["glazing"]["method"] == "two lights"
    assert part["glazing"]["index"] < 20


def test_a_second_photo_that_cannot_be_read_is_named_and_the_first_is_graded(tmp_path, capsys):
    words = ["grade", str(PLATE), "--second-light", str(tmp_path / "no.jpg"), "--json", "-"]
    assert main(words) == 1
    document = json.loads(capsys.readouterr().out)
    assert [Path(entry["file"]).name for entry in document["unread"]] == ["no.jpg"]
    assert len(document["photos"]) == 1


def test_each_photo_has_its_own_second_light_whichever_end_they_begin_at():
    sources = [PhotoBytes("a", taken_again(lambda rgb8: rgb8)), PhotoBytes("c", PLATE.read_bytes())]
    seconds = [PhotoBytes("b", taken_again(lamp_moved)), None]
    words = {"reference": str(PLATE)}
    found = grade_photos(sources, SETTINGS, seconds=seconds, **words)
    turned = grade_photos(sources[::-1], SETTINGS, seconds=seconds[::-1], first="reaction", **words)
    documents = [build_document(graded, SETTINGS) for graded in (found, turned)]
    for document in documents:
        validate(document)
    methods = [photo["parts"][0]["glazing"]["method"] for photo in documents[0]["photos"]]
    assert methods == ["two lights", "one photo"]
    assert [photo.get("second_light", {}).get("file") for photo in documents[0]["photos"]] == ["b", None]
    assert documents[1]["photos"] == documents[0]["photos"]


def glazed(grain, added):
    return ring_face(veiled(TAN, added), grain=grain)


def test_grain_seen_in_one_of_two_lights_lowers_the_index():
    clean, face = clean_lining(TAN, grain=5.0), glazed(1.0, 0.05)
    lost_in_both = read_two_lights(face, Relit(glazed(1.0, 0.05), 0.05), clean)
    seen_once = read_two_lights(face, Relit(glazed(5.0, 0.05), 0.05), clean)
    assert lost_in_both.value == pytest.approx(read_glazing(face, clean).value, abs=8)
    assert seen_once.value < 0.7 * lost_in_both.value
    assert lost_in_both.method == "two lights"


def test_a_shine_that_does_not_move_with_the_lamp_is_no_glaze():
    clean, face = clean_lining(TAN, grain=5.0), glazed(1.0, 0.05)
    assert read_two_lights(face, Relit(face, 0.0), clean).value == 0
    assert read_two_lights(face, Relit(face, math.nan), clean).value > 60  # a grey lining cannot tell


def test_fibres_that_both_photos_show_are_under_oil_and_not_under_glaze():
    clean, face = clean_lining(TAN, grain=5.0), glazed(1.0, 0.05)
    read = [read_two_lights(face, Relit(face, 0.05, shared), clean) for shared in (0.5, 1.0, 2.0, 5.0)]
    values = [one.value for one in read]
    assert values == sorted(values, reverse=True)
    assert values[0] > 84  # of 100 sqrt(lost grain x gained sheen), with a tenth of the grain left: 88
    assert values[2] < 40
    assert values[3] < 30  # though the grain of each photo by itself is lost
    assert {one.method for one in read} == {"two lights"}


def test_shared_grain_decides_whatever_a_single_photo_makes_of_it():
    clean = clean_lining(TAN, grain=5.0)
    for grain in (0.5, 6.0):  # its own noise taken for fibres, or its fibres for noise
        face = glazed(grain, 0.05)
        assert read_two_lights(face, Relit(face, 0.05, 0.5), clean).value > 60
        assert read_two_lights(face, Relit(face, 0.05, 4.0), clean).value < 30


def test_without_a_sheen_or_one_that_moves_lost_grain_is_no_glaze():
    clean, dull, shiny = clean_lining(TAN, grain=5.0), glazed(0.5, 0.0), glazed(0.5, 0.05)
    assert read_two_lights(dull, Relit(dull, 0.05, 0.5), clean).value < 1
    assert read_two_lights(shiny, Relit(shiny, 0.0, 0.5), clean).value == 0
    grey = ring_face((50.0, 0.0, 0.0), grain=0.5)  # whose colour cannot tell
    assert read_two_lights(grey, Relit(grey, math.nan, 0.5), clean_lining((50.0, 0.0, 0.0))).value > 84


def test_where_one_photo_does_not_resolve_the_grain_the_other_decides():
    clean, face = clean_lining(TAN, grain=5.0), glazed(1.0, 0.05)
    blind = replace(face, fibres=None)
    alone = read_two_lights(face, Relit(blind, 0.05), clean)
    assert (alone.value, alone.method) == (read_glazing(face, clean).value, "one photo")
    assert not read_two_lights(blind, Relit(blind, 0.05), clean).known
