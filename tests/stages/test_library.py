"""The shop's linings: pooled, kept in versions, recognised, and chosen for the parts of a pack."""

import hashlib
import json
import math
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from tests.faces import RADIUS, TAN, clean_lining, ring_face, veiled
from tests.scenes.linings import LININGS, TOO_DARK_L, heat_path
from wearview import library
from wearview.cli import main
from wearview.errors import CallError, CleanReferenceError, ModelsError
from wearview.library import CleanPhoto, CleanPlate, StoredLining, choose, pool, recognise
from wearview.library.add import UNEVEN
from wearview.library.recognise import fit, least_heated
from wearview.library.shelf import keep
from wearview.lining.sheen import own_sheen
from wearview.reference import BATCH_SPREAD, NO_REFERENCE, Reference
from wearview.settings import load_settings
from wearview.spread import SIGMAS_90
from wearview.terms import PROBLEMS

DEMO = Path(__file__).parents[2] / "demo_images"
SETTINGS = load_settings()
GREEN, GREY, BROWN_RED = (48.0, -9.0, 16.0), (50.0, 0.2, 3.0), (41.5, 17.0, 18.0)


def photo(*labs, light=2.0, name="a.jpg", grain=3.0):
    plates = tuple(CleanPlate(tuple(float(v) for v in lab), grain, 0.01) for lab in labs)
    return CleanPhoto(name, f"{name}{labs}".ljust(64, "0")[:64], None, "paper", light, plates)


def stored(name, *labs, wet=False):
    one = photo(*labs)
    return StoredLining(name, 0, "2026-11-28T00:00:00+00:00", False, wet, (one,), pool([one]))


def reference(name, lab, light=1.5) -> Reference:
    return Reference("library", None, name, np.array(lab, float), 1.2, 3.0, False, light)


def names(found):
    return [one.lining.lining if one.lining else None for one in found]


def test_one_plate_says_what_its_photo_says():
    pooled = pool([photo(TAN, light=1.7)])
    assert pooled.lab == pytest.approx(TAN)
    assert pooled.spread == pytest.approx(BATCH_SPREAD)
    assert pooled.light_uncertainty == pytest.approx(1.7)


def test_the_mean_weighs_photos_by_inverse_variance():
    # Identity: two estimates of variances v and w have the mean (x / v + y / w) / (1 / v + 1 / w).
    v, w = 1.0**2 + BATCH_SPREAD**2, 3.0**2 + BATCH_SPREAD**2
    pooled = pool([photo((60, 8, 24), light=1.0), photo((62, 8, 24), light=3.0, name="b.jpg")])
    assert pooled.lab[0] == pytest.approx((60 / v + 62 / w) / (1 / v + 1 / w))


def test_more_plates_of_one_photo_leave_its_light_as_uncertain_as_before():
    one = pool([photo(TAN)])
    assert pool([photo(TAN, TAN, TAN)]).light_uncertainty == pytest.approx(one.light_uncertainty)
    four = pool([photo(TAN, name=f"{k}.jpg") for k in range(4)])
    assert four.light_uncertainty == pytest.approx(one.light_uncertainty / 2)


@pytest.mark.parametrize("true", [0.6, 2.5])
def test_the_spread_of_many_plates_is_found_beside_the_lights_error(true):
    rng = np.random.default_rng(7)
    photos = [
        photo(
            *(TAN + np.array([error + rng.normal(0, true / SIGMAS_90), 0, 0]) for _ in range(3)),
            name=f"{k}.jpg",
        )
        for k, error in enumerate(rng.normal(0, 2.0 / SIGMAS_90, 60))
    ]
    # Delta E is the difference in L* over S_L, which is 1 + 0.015 x 11^2 / sqrt(20 + 11^2) = 1.153 at L* 61
    # (CIE 142-2001). 180 plates give a spread to a tenth (its standard error is 1 / sqrt(2 x 120)).
    assert pool(photos).spread == pytest.approx(true / 1.153, rel=0.15)


def test_plates_that_differ_widen_the_spread():
    assert pool([photo((60, 8, 24), (64, 8, 24))]).spread > 1.5 * BATCH_SPREAD


def test_a_lining_comes_back_as_it_was_kept(tmp_path):
    keep(stored("tan-paper", TAN, (61.5, 8, 24)), tmp_path)
    [back] = library.read_library(tmp_path).values()
    assert (back.name, back.version, back.plates, back.wet) == ("tan-paper", 1, 2, False)
    assert back.pooled.lab == pytest.approx((61.25, 8, 24))


def test_every_addition_is_a_version_and_none_is_changed(tmp_path):
    library.add("tan", [photo(TAN)], False, tmp_path)
    first = (tmp_path / "tan-1.toml").read_bytes()
    kept, again = library.add("tan", [photo(TAN), photo((62, 8, 24), name="b.jpg")], False, tmp_path)
    assert (kept.version, len(kept.photos), [p.file for p in again]) == (2, 2, ["a.jpg"])
    assert (tmp_path / "tan-1.toml").read_bytes() == first


def test_a_removed_lining_stays_in_the_history_and_may_begin_anew(tmp_path):
    library.add("tan", [photo(TAN)], False, tmp_path)
    library.remove("tan", tmp_path)
    assert library.read_library(tmp_path) == {}
    assert [v.removed for v in library.history("tan", tmp_path)] == [False, True]
    with pytest.raises(CallError, match="removed before"):
        library.remove("tan", tmp_path)
    kept, _ = library.add("tan", [photo(GREEN, name="g.jpg")], False, tmp_path)
    assert (kept.version, len(kept.photos)) == (3, 1)


def test_a_lining_put_back_into_use_is_as_it_was(tmp_path):
    kept, _ = library.add("tan", [photo(TAN)], False, tmp_path)
    library.remove("tan", tmp_path)
    assert library.out_of_use(tmp_path) == ["tan"]
    back = library.put_back("tan", tmp_path)
    assert (back.version, len(back.photos), back.pooled) == (3, 1, kept.pooled)
    assert (library.out_of_use(tmp_path), list(library.read_library(tmp_path))) == ([], ["tan"])
    with pytest.raises(CallError, match="is in use"):
        library.put_back("tan", tmp_path)


def test_two_benches_that_add_at_once_lose_nothing(tmp_path):
    with ThreadPoolExecutor(8) as pool_of_threads:
        paths = list(pool_of_threads.map(lambda k: keep(stored("tan", TAN), tmp_path), range(24)))
    assert sorted(int(p.stem.rpartition("-")[2]) for p in paths) == list(range(1, 25))
    assert [name for name, _ in library.findings(tmp_path) if "is missing" in _] == []


@pytest.mark.parametrize("name", ["Tan", "tan paper", "../tan", "tan-", "", "demo-tan", "x" * 61])
def test_a_name_that_cannot_be_a_file_or_is_the_demos_is_refused(name, tmp_path):
    with pytest.raises(CallError):
        library.add(name, [photo(TAN)], False, tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_photo_of_another_lining_does_not_get_in(tmp_path):
    library.add("tan", [photo(TAN)], False, tmp_path)
    with pytest.raises(CallError, match=r"b\.jpg: does not look like tan, Delta E \d"):
        library.add("tan", [photo(GREEN, name="b.jpg")], False, tmp_path)
    with pytest.raises(CallError, match="is stored dry"):
        library.add("tan", [photo(TAN, name="c.jpg")], True, tmp_path)
    with pytest.raises(CallError, match="has these photos already"):
        library.add("tan", [photo(TAN)], False, tmp_path)
    assert len(library.history("tan", tmp_path)) == 1


def test_an_altered_version_is_refused_and_a_missing_one_is_found(tmp_path):
    for k in range(3):
        keep(stored("tan", (60 + k, 8, 24)), tmp_path)
    assert list(library.findings(tmp_path)) == []
    path = tmp_path / "tan-3.toml"
    whole = path.read_text()
    path.write_text(whole.replace("lab = [62.0", "lab = [72.0"))
    with pytest.raises(ModelsError, match=r"tan-3\.toml: was altered"):
        library.read_library(tmp_path)
    assert list(library.findings(tmp_path)) == [("linings/tan-3.toml", "was altered")]
    path.write_text(whole)
    (tmp_path / "tan-2.toml").unlink()
    assert list(library.findings(tmp_path)) == [("linings/tan", "version 2 is missing")]


def test_the_least_heated_area_is_the_light_side_of_a_face():
    lab = np.empty((*RADIUS.shape, 3), np.float32)
    lab[:] = (30, 5, 10)
    lab[RADIUS < 0.4] = TAN
    assert least_heated(ring_face(lab)) == pytest.approx(TAN, abs=0.01)


def test_a_heated_lining_still_fits_itself_and_no_lighter_or_other_coloured_one():
    tan = clean_lining(TAN, light=1.0, spread=1.0)
    # A made-up path from tan by brown to black, which shares no code with the one under test.
    path = heat_path(next(x for x in LININGS if x.name == "tan paper"), 1.0, 12)
    assert max(fit(colour, 1.0, tan)[0] for colour in path) < 1
    assert fit(np.array((70, 8, 24.0)), 1.0, tan)[0] > 2
    assert fit(np.array(GREEN), 1.0, tan)[0] > 2
    assert fit(np.array(GREY), 1.0, tan)[0] > 1.5


def test_a_shine_over_a_lining_does_not_make_it_another():
    red = reference("red", BROWN_RED)
    assert fit(veiled(BROWN_RED, 0.05), 1.5, red)[0] < 1


def test_each_of_several_linings_in_a_pack_gets_its_own():
    shelf = [reference("tan", TAN), reference("green", GREEN)]
    faces = [ring_face(lab, light=1.5) for lab in (TAN, GREEN, (60, 8, 23), GREEN)]
    found = recognise(faces, shelf)
    assert names(found) == ["tan", "green", "tan", "green"]
    assert all(one.probability > 0.9 for one in found)


def test_a_plate_of_no_library_lining_is_said_to_fit_none():
    found = recognise([ring_face(GREY, light=1.5)], [reference("tan", TAN), reference("red", BROWN_RED)])
    assert (found[0].lining, found[0].fits, found[0].probability) == (None, (), 0)


def test_of_two_linings_that_look_alike_none_is_certain():
    [found] = recognise([ring_face(TAN, light=2)], [reference("one", TAN), reference("two", (61.5, 8, 24))])
    assert found.lining is None
    assert set(found.fits) == {"one", "two"}
    assert 0.4 < found.probability < 0.8


def test_a_burnt_plate_tells_its_lining_only_beside_others_of_its_pack():
    burnt, shelf = ring_face((38, 7, 15), light=1.5), [reference("tan", TAN), reference("green", GREEN)]
    assert names(recognise([burnt], shelf)) == [None]
    assert names(recognise([burnt, ring_face(TAN, light=1.5)], shelf)) == ["tan", "tan"]


def test_under_unknown_light_no_lining_is_recognised():
    assert names(recognise([ring_face(TAN, light=9)], [reference("tan", TAN)])) == [None]


def test_listed_linings_left_out_one_by_one_are_never_taken_for_far_ones():
    shelf = {x.name: reference(x.name, x.lab, 1.0) for x in LININGS if not x.held_out}
    for name, own in shelf.items():
        face = ring_face(own.lab_median, light=1.0)
        assert names(recognise([face], list(shelf.values()))) == [name]
        [found] = recognise([face], [x for x in shelf.values() if x is not own])
        # A lining may be another one, a little browned; that is at most one level off.
        assert found.lining is None or fit(own.lab_median, 1.0, found.lining)[1] < 0.11


def test_a_stated_lining_holds_for_what_it_may_be_and_for_nothing_else():
    tan, green = reference("tan", TAN), reference("green", GREEN)
    faces = [ring_face(lab, light=1.5) for lab in (TAN, (40, 7, 16), GREEN, (50.0, -1.0, -8.0))]
    chosen = choose(faces, tan, [tan, green])
    assert [one.reference for one in chosen] == [tan, tan, green, NO_REFERENCE]
    assert [one.problems for one in chosen] == [(), (), (), ("fits no library lining",)]


def test_what_is_not_recognised_is_compared_with_the_cleanest_of_it():
    blue = [ring_face((level, -1.0, -8.0), light=1.5) for level in (52.0, 40.0, 30.0)]
    chosen = choose([ring_face(TAN, light=1.5), *blue], None, [reference("tan", TAN)])
    assert [one.reference.source for one in chosen] == ["library", *["cleanest part"] * 3]
    assert all(one.problems == () for one in chosen)


def test_the_sheen_of_a_clean_face_is_the_light_over_its_usual_colour():
    lab = np.empty((*RADIUS.shape, 3), np.float32)
    lab[:] = TAN
    lab[RADIUS < 0.2] = veiled(TAN, 0.03)
    assert own_sheen(ring_face(lab), np.array(TAN)) == pytest.approx(0.03, abs=0.002)
    assert own_sheen(ring_face(TAN), np.array(TAN)) == pytest.approx(0, abs=1e-4)
    assert math.isnan(own_sheen(ring_face(GREY), np.array(GREY)))


@pytest.fixture(scope="module")
def shelf():
    """The demo's three clean plates, measured once."""
    return {
        name: library.measure_clean(str(DEMO / f"reference-{name}.jpg"), SETTINGS)
        for name in ("tan", "green", "red-brown")
    }


@pytest.fixture
def own(tmp_path, monkeypatch, shelf):
    """A shop's data folder whose library holds the demo's linings."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    for name, measured in shelf.items():
        library.add(name, [measured], False)
    return tmp_path / "wearview" / "linings"


def graded(capsys, *words):
    assert main(["grade", *map(str, words), "--json", "-"]) == 0
    document = json.loads(capsys.readouterr().out)
    return document, [p for photo in document["photos"] for p in photo["parts"] if "lining" in p]


def test_a_pack_is_graded_against_the_lining_it_is_recognised_as(own, capsys):
    photos = [DEMO / "direct-pack-1.jpg", DEMO / "direct-pack-2.jpg"]
    document, parts = graded(capsys, *photos)
    assert document["reference"]["lining"] == "tan"
    assert document["reference"]["source"] == "library"
    assert len(parts) == 5
    assert {part["lining"]["name"] for part in parts} == {"tan"}
    levels = [part["grade"]["level"] for part in parts]
    by_photo, _ = graded(capsys, *photos, "--reference", DEMO / "reference-tan.jpg")
    assert levels == [
        p["grade"]["level"]
        for photo in by_photo["photos"]
        for p in photo["parts"]
        if p["kind"] == "friction plate"
    ]


def test_without_its_lining_in_the_library_a_plate_is_not_graded_against_another(own, capsys):
    library.remove("tan")
    _, [part] = graded(capsys, DEMO / "reference-tan.jpg")
    assert part["grade"] is None
    assert part["problems"] == ["fits no library lining", "no clean reference"]
    why = PROBLEMS["fits no library lining"]  # and not that there is no clean lining at all
    assert part["ungraded_because"] == [why.text, why.remedy]
    document, [part] = graded(capsys, DEMO / "reference-tan.jpg", "--lining", "green")
    assert part["lining"]["name"] is None
    assert part["grade"] is None
    assert document["reference"]["source"] == "none"


def test_a_wrongly_stated_lining_gives_way_to_the_one_recognised(own, capsys):
    document, [part] = graded(capsys, DEMO / "reference-red-brown.jpg", "--lining", "green")
    assert part["lining"]["name"] == document["reference"]["lining"] == "red-brown"
    assert part["grade"]["level"] == 0


def test_a_lining_is_listed_shown_removed_and_put_back(own, capsys):
    assert main(["lining", "list"]) == 0
    assert "red-brown" in capsys.readouterr().out
    assert main(["lining", "list", "--json", "-"]) == 0
    told = {lining["name"]: lining for lining in json.loads(capsys.readouterr().out)}
    assert told["green"]["too_dark"] is False
    assert len(told["green"]["photos"][0]["sha256"]) == 64
    assert main(["lining", "remove", "green"]) == 0
    capsys.readouterr()
    assert main(["lining", "show", "green", "--json", "-"]) == 0
    shown = json.loads(capsys.readouterr().out)
    assert [v["removed"] for v in shown["versions"]] == [False, True]
    assert main(["lining", "show", "green"]) == 0
    assert "removed from use" in capsys.readouterr().out
    assert main(["lining", "list"]) == 0
    assert "out of use: green (wearview lining put-back NAME" in capsys.readouterr().out
    assert main(["grade", str(DEMO / "reference-green.jpg"), "--lining", "green"]) == 2
    assert "green: is out of use. Put it back" in capsys.readouterr().err
    assert main(["grade", str(DEMO / "reference-green.jpg"), "--lining", "grass"]) == 2
    assert "Known linings: red-brown, tan, demo-" in capsys.readouterr().err
    assert main(["lining", "put-back", "green"]) == 0
    assert capsys.readouterr().out == "green: in use again, as version 3.\n"
    assert list(library.read_library()) == ["green", "red-brown", "tan"]


def test_a_photo_is_added_from_the_command_line(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    assert main(["lining", "add", "tan", str(DEMO / "reference-tan.jpg"), "--wet"]) == 0
    assert "tan, version 1: clean 62" in capsys.readouterr().out
    assert library.read_library()["tan"].wet is True
    assert main(["lining", "add", "tan", str(DEMO / "reference-green.jpg"), "--wet"]) == 2
    assert "does not look like tan" in capsys.readouterr().err
    assert main(["lining", "add", "none", str(tmp_path / "no.jpg")]) == 2


def test_a_nearly_black_lining_is_said_to_show_no_heat(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    library.add("soot", [photo((TOO_DARK_L - 5, 0.5, 2))], False)
    assert main(["lining", "show", "soot"]) == 0
    assert "nearly black" in capsys.readouterr().out
    assert main(["lining", "list", "--json", "-"]) == 0
    assert json.loads(capsys.readouterr().out)[0]["too_dark"] is True


def test_a_photo_of_plates_that_are_not_alike_is_refused():
    with pytest.raises(CleanReferenceError, match="not alike"):
        library.measure_clean(str(DEMO / "direct-pack-2.jpg"), SETTINGS)


def test_a_plate_as_uneven_as_heat_leaves_it_is_asked_about(tmp_path, monkeypatch, capsys):
    # Common practice, no source: a clean lining is of one lightness all over, heat gathers in places.
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    assert main(["lining", "add", "tan", str(DEMO / "reference-tan.jpg")]) == 0
    assert "unused" not in capsys.readouterr().err
    assert main(["lining", "add", "band", str(DEMO / "intermediate-band.jpg")]) == 0
    assert "intermediate-band.jpg: a face is uneven in lightness" in capsys.readouterr().err
    kept = library.read_library()
    assert kept["band"].photos[0].plates[0].uneven > 2 * UNEVEN
    assert kept["tan"].photos[0].plates[0].uneven < UNEVEN / 2


def test_a_library_from_before_unevenness_was_kept_is_read(tmp_path):
    keep(stored("old", TAN), tmp_path)
    [file] = tmp_path.rglob("*.toml")
    lines = file.read_text("utf-8").splitlines(keepends=True)[:-1]
    assert any("uneven" in line for line in lines)
    text = "".join(line for line in lines if not line.startswith("uneven"))
    file.write_text(f"{text}# seal {hashlib.sha256(text.encode()).hexdigest()}\n", "utf-8")
    [plate] = library.read_library(tmp_path)["old"].photos[0].plates
    assert math.isnan(plate.uneven)
    assert not library.doubts([CleanPhoto("a.jpg", "0" * 64, None, "paper", 2.0, (plate,))])
