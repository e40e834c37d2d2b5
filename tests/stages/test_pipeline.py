"""The stages run over photos: what goes in, and what is said when a person's list does not fit."""

import io
from dataclasses import astuple, replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from wearview import look, pipeline
from wearview.errors import CleanReferenceError
from wearview.look import clean_from_photo, look_at, read_source, take_faces
from wearview.photo import PhotoBytes, read_photo, read_photo_bytes
from wearview.pipeline import grade_photos
from wearview.record import Place, build_document, to_json, without_pictures
from wearview.settings import load_settings
from wearview.terms import FRICTION, PAPER_OR_CARD, PROBLEMS, STEEL

DEMO = Path(__file__).parents[2] / "demo_images"
CLEAN = str(DEMO / "reference-tan.jpg")
PACK = [str(DEMO / f"direct-pack-{n}.jpg") for n in (1, 2, 3)]
SETTINGS = load_settings()
DOUBT = "stated parts do not fit"


def test_bytes_and_a_read_photo_grade_as_their_file_does():
    by_path = build_document(grade_photos([CLEAN], SETTINGS, reference=CLEAN), SETTINGS)
    data = PhotoBytes(CLEAN, Path(CLEAN).read_bytes())
    assert build_document(grade_photos([data], SETTINGS, reference=data), SETTINGS) == by_path
    read = read_photo(CLEAN)
    assert build_document(grade_photos([read], SETTINGS, reference=read), SETTINGS) == by_path


def enlarged(path: str) -> PhotoBytes:
    """A photo as a JPEG of 12 megapixels with a phone's noise."""
    rgb8 = cv2.resize(read_photo(path).rgb8, (4000, 3000), interpolation=cv2.INTER_LANCZOS4)
    noisy = rgb8 + 4 * np.random.default_rng(1).standard_normal(rgb8.shape, np.float32)
    buffer = io.BytesIO()
    Image.fromarray(np.clip(noisy, 0, 255).astype(np.uint8)).save(buffer, "JPEG", quality=92)
    return PhotoBytes("large.jpg", buffer.getvalue())


def test_a_plate_that_fills_a_large_photo_is_measured_on_a_coarse_reading_as_on_all_pixels():
    file = enlarged(CLEAN)
    coarse, full = (look_at(read) for read in (read_source(file), read_photo_bytes(file.data, file.name)))
    assert (coarse.photo.step, full.photo.step) == (2, 1)
    ours, theirs = (np.array(astuple(seen.parts[0].outer)) for seen in (coarse, full))
    assert np.abs(ours - theirs)[:4].max() < 1.0  # full-size pixels
    assert full.light is not None
    [(_, one)], [(_, other)] = (
        take_faces(seen.photo, full.parts, full.light, None, SETTINGS) for seen in (coarse, full)
    )
    off = (one.lab - other.lab)[one.seen & other.seen]
    assert np.abs(off.mean(axis=0)).max() < 0.02
    assert np.abs(off).mean() < 0.2  # the rounding of both pictures to 8 bits
    assert one.grain == pytest.approx(other.grain, rel=0.05)  # noise is a part of so little grain


def test_a_photo_whose_plates_are_small_is_read_again_in_full():
    file = enlarged(PACK[0])
    coarse = read_source(file)
    seen = look_at(coarse)
    assert (coarse.step, seen.photo.step) == (2, 1)
    np.testing.assert_array_equal(seen.photo.rgb8, read_photo_bytes(file.data, file.name).rgb8)
    assert seen.photo.working is coarse.working  # the parts' pixels


def test_bytes_that_are_no_photo_are_named_as_the_user_calls_them():
    graded = grade_photos([PhotoBytes("from the phone", b"no picture")], SETTINGS)
    assert [error.subject for error in graded.unread] == ["from the phone"]


def test_a_photo_is_finished_before_the_next_is_read_where_the_reference_is_known(tmp_path):
    done = []
    other = tmp_path / "other.jpg"
    other.write_bytes(Path(CLEAN).read_bytes() + b" ")
    grade_photos(
        [CLEAN, str(other)],
        SETTINGS,
        reference=CLEAN,
        finish=lambda photo: (done.append(photo.file), photo)[1],
        progress=lambda step, total, text: done.append(f"reads {text}"),
    )
    assert done == [f"reads {CLEAN}", f"reads {CLEAN}", CLEAN, f"reads {other}", str(other), "reads "]


@pytest.mark.parametrize("reference", [CLEAN, None])
def test_photos_looked_at_ahead_give_the_same_document_and_the_same_complaints(reference):
    sources = [PACK[0], "missing.jpg", PACK[0], PhotoBytes("no photo", b"?"), PACK[2]]
    alone, several = (
        grade_photos(sources, SETTINGS, reference=reference, workers=workers) for workers in (1, 3)
    )
    assert to_json(build_document(several, SETTINGS)) == to_json(build_document(alone, SETTINGS))
    assert [str(e) for e in several.unread] == [str(e) for e in alone.unread] != []
    assert several.repeated == alone.repeated == (PACK[0],)


def test_so_many_photos_are_looked_at_ahead_and_no_more(monkeypatch):
    taken, begun, most = [0], [0], [0]
    real = look.read_source

    def read(source):
        begun[0] += 1
        most[0] = max(most[0], begun[0] - taken[0])
        return real(source)

    def finish(photo):
        taken[0] += 1
        return photo

    clean = clean_from_photo(CLEAN, SETTINGS)
    monkeypatch.setattr(look, "read_source", read)
    grade_photos(
        [*PACK, str(DEMO / "pump-plate-too-dark.jpg")], SETTINGS, reference=clean, finish=finish, workers=2
    )
    assert most[0] <= 3  # the one at hand and two ahead
    assert begun[0] == 4


def test_faces_are_taken_ahead_too(monkeypatch):
    clean = clean_from_photo(CLEAN, SETTINGS)
    alone = grade_photos(PACK, SETTINGS, reference=clean)
    monkeypatch.delattr(pipeline, "take_faces")
    ahead = grade_photos(PACK, SETTINGS, reference=clean, workers=2)
    assert to_json(build_document(ahead, SETTINGS)) == to_json(build_document(alone, SETTINGS))


def test_a_bad_reference_is_told_though_photos_are_looked_at_ahead():
    with pytest.raises(CleanReferenceError):
        grade_photos(PACK, SETTINGS, reference="missing.jpg", workers=2)


def test_a_pack_of_photos_graded_before_is_the_pack_graded_at_once(monkeypatch):
    pack = [str(DEMO / f"direct-pack-{n}.jpg") for n in (2, 3)]
    clean = clean_from_photo(CLEAN, SETTINGS)
    kept = {}

    def keep(photo):
        kept[photo.file, photo.parts[0].position] = without_pictures(photo)
        return kept[photo.file, photo.parts[0].position]

    whole = build_document(grade_photos(pack, SETTINGS, reference=clean), SETTINGS)
    first = grade_photos(pack[:1], SETTINGS, reference=clean, finish=keep)
    grade_photos(pack[1:], SETTINGS, reference=clean, finish=keep, begins=1 + len(first.photos[0].parts))
    monkeypatch.setattr("wearview.look.read_source", None)  # nothing is read any more
    again = grade_photos(
        pack, SETTINGS, reference=clean, known=lambda source, position: kept.get((source, position))
    )
    assert build_document(again, SETTINGS) == whole


@pytest.mark.parametrize(
    "stated", [{"places": [Place(1), Place(2)]}, {"kinds": ["friction plate", "friction plate"]}]
)
def test_a_list_longer_than_the_parts_found_is_doubted_in_the_document(stated):
    graded = grade_photos([CLEAN], SETTINGS, **stated)
    assert [DOUBT in photo.problems for photo in graded.photos] == [True]


def test_a_list_as_long_as_the_parts_found_is_not_doubted():
    graded = grade_photos([CLEAN], SETTINGS, places=[Place(4, "apply")], kinds=["friction plate"])
    assert [(p.position, p.side) for p in graded.photos[0].parts] == [(4, "apply")]
    assert DOUBT not in graded.photos[0].problems


def test_a_sure_steel_is_no_clean_lining_whatever_a_person_says():
    with pytest.raises(CleanReferenceError, match="no clean lining"):
        clean_from_photo(str(DEMO / "direct-pack-3.jpg"), SETTINGS)


def test_a_used_pack_is_no_clean_reference_where_heat_has_parted_its_linings():
    with pytest.raises(CleanReferenceError, match=r"not alike, Delta E .* Photograph clean plates"):
        clean_from_photo(str(DEMO / "direct-pack-2.jpg"), SETTINGS)


def test_several_clean_plates_of_one_lining_are_a_reference():
    assert clean_from_photo(str(DEMO / "forward-pack-1.jpg"), SETTINGS).reference.source == "photo"


def test_a_doubtful_steel_is_taken_for_the_clean_lining_that_a_person_says_it_is(monkeypatch):
    def doubtful(parts, rectified, settings):
        return [replace(part, kind=STEEL, kind_confidence=0.8) for part in parts]

    believed = clean_from_photo(CLEAN, SETTINGS).reference.lab_median
    settle = look.settle_kinds
    calls = iter([doubtful, settle])
    monkeypatch.setattr(look, "settle_kinds", lambda *given: next(calls)(*given))
    assert clean_from_photo(CLEAN, SETTINGS).reference.lab_median == pytest.approx(believed)


def read_as(monkeypatch, white, odds):
    """Photos looked at from now on come with another white, and their sheet as sure as this."""
    estimate = look.estimate_light

    def changed(*what):
        light = estimate(*what)
        return replace(light, white=light.white * white, sheet_odds=odds)

    monkeypatch.setattr(look, "estimate_light", changed)


def test_a_card_taken_for_paper_is_read_as_a_card_where_the_clean_lining_is_known(monkeypatch):
    clean = clean_from_photo(CLEAN, SETTINGS)
    right = grade_photos(PACK[:1], SETTINGS, reference=clean).photos[0]
    read_as(monkeypatch, 0.18 / 0.87, odds=3.0)  # reflectance of a card and of paper
    settled = grade_photos(PACK[:1], SETTINGS, reference=clean).photos[0]
    assert settled.light.method == "card"
    for one, other in zip(settled.parts, right.parts, strict=True):
        assert one.grade.level == other.grade.level
    lined = [(a.lining, b.lining) for a, b in zip(settled.parts, right.parts, strict=True) if a.lining]
    assert lined
    for one, other in lined:
        assert one.delta_e00_median.value == pytest.approx(other.delta_e00_median.value, abs=0.01)


@pytest.mark.parametrize("whose", ["photo", "clean"])
def test_beside_a_sheet_that_may_be_paper_or_card_no_lining_gets_a_grade(monkeypatch, whose):
    clean = clean_from_photo(CLEAN, SETTINGS)
    if whose == "clean":
        clean = replace(clean, light=replace(clean.light, sheet_odds=1.0))
    else:
        read_as(monkeypatch, 1.0, odds=1.0)
    # Under a card's light these would be charred, which linings can be.
    graded = grade_photos([PACK[0], PACK[2]], SETTINGS, reference=clean)
    parts = [part for photo in graded.photos for part in photo.parts]
    lined, steels = ([part for part in parts if part.part.kind == kind] for kind in (FRICTION, STEEL))
    assert lined
    assert steels
    for part in lined:
        assert part.grade.level is None
        assert PAPER_OR_CARD in part.problems
        assert PROBLEMS[PAPER_OR_CARD].remedy in part.grade.because
    assert all(part.grade.level is not None for part in steels)
    written = [part for photo in build_document(graded, SETTINGS)["photos"] for part in photo["parts"]]
    reasons = {part.id: list(part.grade.because) for part in lined}
    assert {p["id"]: p["ungraded_because"] for p in written if "ungraded_because" in p} == reasons
    assert all(p["remedies"] == p["ungraded_because"][-1:] for p in written if p["id"] in reasons)


def test_a_first_photo_whose_sheet_its_linings_settle_is_graded_against_a_lining_of_the_library(monkeypatch):
    tan = clean_from_photo(CLEAN, SETTINGS).reference
    lining = replace(tan, source="library", lining="tan", file=None)
    read_as(monkeypatch, 0.18 / 0.87, odds=3.0)  # a card taken for paper, and not surely
    photos = grade_photos([PACK[0], PACK[1]], SETTINGS, lining=lining).photos
    assert {photo.light.method for photo in photos} == {"card"}
    assert all(PAPER_OR_CARD not in part.problems for photo in photos for part in photo.parts)
