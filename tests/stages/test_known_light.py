"""The light by the mat or a chart: known colours come out right, what hides a square is left out, or it is
refused.

Photos are made by `tests/scenes/printed.py`; colours that lie in the room are known to it alone.
"""

import dataclasses
import json

import numpy as np
import pytest

from tests.accuracy.known_colours import any_phone, discs, errors, light_of
from tests.scenes.printed import Board, Grey, Laid, Lit, Page, View, jpeg, random_inks, shoot
from wearview.cli import main
from wearview.colour import delta_e, linear_to_lab
from wearview.light import NOTHING_MEASURED, KnownColours, Light, find_targets, known_colours
from wearview.light.calibrate import MatColours, Refused, calibrate_mat
from wearview.light.chart import chart_light
from wearview.light.known import known_light
from wearview.light.sheet import mat_light
from wearview.light.tone import PLAIN, Camera
from wearview.mat import ASKED, PAPER, design_for, find_mat
from wearview.mat.chart import find_charts, published_linear
from wearview.mat.sheet import mat_pdf
from wearview.settings import PrintedMat, load_settings
from wearview.shop import shop_settings
from wearview.terms import CHART_EDITIONS

PDF = mat_pdf(design_for("a4"))
INKS = random_inks(np.random.default_rng(77))
TRUE = dict(
    zip(
        (*ASKED, PAPER),
        INKS.printed(
            np.array(
                [
                    np.where(
                        (c := np.resize(codes, 3) / 255) <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4
                    )
                    for codes in (*ASKED.values(), (255,))
                ]
            )
        ),
        strict=True,
    )
)
AFTER, BEFORE = CHART_EDITIONS
CHART = published_linear(AFTER)
WARM = Lit((1.3, 1.0, 0.68), (0.2, -0.15), -0.05)
SIZE = (1600, 1200)
TAN = np.array([0.33, 0.21, 0.11])


def photo(seed=0, lit=WARM, view=None, pdf=PDF, darker=1.0, **page):
    rng = np.random.default_rng(seed)
    phone = any_phone(rng)
    phone = dataclasses.replace(phone, exposure=phone.exposure * darker)
    return shoot(Page(pdf, INKS, **page), view or View(tilt_deg=8), lit, phone, rng)


def laid_out(seed=0, lit=WARM, **page):
    """A photo with known discs, its view and the discs."""
    view, laid = View(tilt_deg=8), discs(np.random.default_rng(seed))
    return photo(seed, lit, view, laid=laid, **page), view, laid


def off_by(rgb8, view, laid, known):
    """Delta E of each disc from what it is."""
    light = Light(known.method, known.white, known.field, 0, 0, None, None, camera=known.camera)
    return errors(rgb8, view, laid, light)[0]


def flat(field=(0.0,) * 6):
    return np.array(field, float)


def by_chart(rgb8, edition=AFTER):
    return chart_light(find_charts(rgb8), published_linear(edition), flat(), SIZE)


def test_a_calibrated_mat_brings_colours_back():
    rgb8, view, laid = laid_out(1)
    light = mat_light(find_mat(rgb8), TRUE, SIZE)
    off = off_by(rgb8, view, laid, light)
    assert np.median(off) < 0.7  # seen: 0.35 and 1.24 at worst over 144 discs in six lights
    assert off.max() < 1.5
    assert light.used >= 26


def test_a_mat_that_was_not_calibrated_serves_as_white_and_for_the_field():
    rgb8, view, laid = laid_out(1)
    light = mat_light(find_mat(rgb8), None, SIZE)
    assert light.camera is PLAIN
    assert np.isnan(light.residual)
    assert off_by(rgb8, view, laid, light).max() < 4.0


def test_a_print_of_other_inks_does_not_fit_its_old_colours():
    swapped = {name: TRUE[other] for name, other in zip(TRUE, reversed(TRUE), strict=True)}
    assert mat_light(find_mat(photo(2)), swapped, SIZE) is None


@pytest.mark.parametrize(
    "hidden",
    [
        {"hidden": [[(-80, -120), (-5, -120), (-5, -90), (-80, -90)]]},
        {"wet": [(-60, -111, 16), (60, 111, 12)]},
        {"glare": [(52, 111, 25)]},
        {"glare": [(-37, -111, 25)] * 4},
    ],
    ids=["covered", "wet", "veiled", "glare"],
)
def test_squares_that_are_hidden_are_left_out(hidden):
    rgb8, view, laid = laid_out(3, **hidden)
    mat = find_mat(rgb8)
    for colours in (TRUE, None):
        light = mat_light(mat, colours, SIZE)
        assert light.used < 32
        # As far off as with all squares bare.
        assert off_by(rgb8, view, laid, light).max() < 4.0


@pytest.mark.parametrize("turn", [0, 90, 180, 270, 33])
def test_a_chart_is_read_whichever_end_is_up(turn):
    rgb8 = photo(4, Lit((1.2, 1.0, 0.8)), boards=[Board(0, 0, 109, turn, CHART)])
    light = by_chart(rgb8)
    assert light.used >= 22
    assert light.residual < 1.0


def test_a_turned_photo_of_a_chart_tells_the_same():
    rgb8 = photo(5, Lit((1.2, 1.0, 0.8)), boards=[Board(0, 0, 109, 20, CHART)])
    straight, turned = by_chart(rgb8), by_chart(np.ascontiguousarray(rgb8[::-1, ::-1]))
    codes = np.array([[128, 128, 128], [160, 120, 90], [60, 50, 45]]) / 255
    first, second = (k.camera.mixed(k.camera.decoded(codes) / k.white) for k in (straight, turned))
    # The finder's squares lie a pixel elsewhere.
    assert delta_e(linear_to_lab(first), linear_to_lab(second)).max() < 0.5


def test_a_chart_brings_colours_back():
    lit = Lit((1.3, 1.0, 0.68))
    rgb8, view, laid = laid_out(6, lit, boards=[Board(0, 0, 80, 15, CHART)])
    assert off_by(rgb8, view, laid, by_chart(rgb8)).max() < 2.5


def test_the_wrong_edition_costs_about_what_the_editions_differ():
    rgb8, view, laid = laid_out(7, Lit(), boards=[Board(0, 0, 80, 0, CHART)])
    right, wrong = (np.mean(off_by(rgb8, view, laid, by_chart(rgb8, e))) for e in (AFTER, BEFORE))
    assert right < wrong + 0.3
    assert wrong < right + 2.0  # white differs by 1.95, all others by less


@pytest.mark.parametrize(
    ("hidden", "lost"),
    [
        ({"hidden": [[(-60, -40), (-18, -40), (-18, 40), (-60, 40)]]}, 4),
        ({"wet": [(25, 10, 14)]}, 2),
        ({"glare": [(-25, -10, 20)] * 3}, 1),
    ],
    ids=["covered", "wet", "glare"],
)
def test_squares_of_a_chart_that_are_hidden_are_left_out(hidden, lost):
    rgb8, view, laid = laid_out(8, Lit((1.2, 1.0, 0.8)), boards=[Board(0, 0, 109, 0, CHART)], **hidden)
    light = by_chart(rgb8)
    if light is not None:  # found, and then right
        assert light.used <= 24 - lost
        clear = [n for n, d in enumerate(laid) if np.hypot(d.x, d.y) > 0]
        assert np.median(off_by(rgb8, view, laid, light)[clear]) < 2.5


def test_a_mirrored_chart_is_refused():
    rgb8 = photo(9, Lit(), boards=[Board(0, 0, 109, 0, CHART)])
    assert by_chart(rgb8) is not None
    assert by_chart(np.ascontiguousarray(rgb8[:, ::-1])) is None


def test_other_squares_in_a_charts_arrangement_are_refused():
    rng = np.random.default_rng(10)
    for _ in range(3):
        other = rng.permutation(CHART.clip(0.01))
        assert by_chart(photo(10, Lit(), boards=[Board(0, 0, 109, 0, other)])) is None


def test_greys_alone_are_no_chart():
    steps = np.repeat(np.linspace(0.05, 0.9, 24)[:, None], 3, axis=1)
    assert by_chart(photo(11, Lit(), boards=[Board(0, 0, 109, 0, steps)])) is None


def test_no_chart_is_found_where_there_is_none():
    assert find_charts(np.full((60, 40, 3), 90, np.uint8)) == ()
    assert by_chart(photo(12)) is None


def test_a_mat_calibrated_beside_a_chart_has_its_true_colours():
    rgb8 = photo(13, darker=0.7, boards=[Board(0, 0, 109, 10, CHART)])
    found = calibrate_mat(rgb8, find_mat(rgb8), AFTER)
    assert isinstance(found, MatColours)
    assert found.by == "chart"
    off = [float(delta_e(linear_to_lab(found.linear[n]), linear_to_lab(TRUE[n]))) for n in TRUE]
    assert np.median(off) < 1.0
    assert max(off) < 3.0


def test_a_mat_calibrated_beside_a_grey_card_has_its_paper_right():
    rgb8 = photo(14, darker=0.7, cards=[Grey(0, 0, 100, 130)])
    found = calibrate_mat(rgb8, find_mat(rgb8), AFTER)
    assert isinstance(found, MatColours)
    assert found.by == "card"
    assert delta_e(linear_to_lab(found.linear[PAPER]), linear_to_lab(TRUE[PAPER])) < 4.0


def test_a_bare_mat_alone_cannot_be_calibrated():
    rgb8 = photo(15, darker=0.7)
    found = calibrate_mat(rgb8, find_mat(rgb8), AFTER)
    assert isinstance(found, Refused)
    assert "chart or grey card" in found.problem


def test_a_mat_with_a_colour_hidden_cannot_be_calibrated():
    rgb8 = photo(16, darker=0.7, boards=[Board(0, 0, 109, 0, CHART)])
    blind, mat = rgb8.copy(), find_mat(rgb8)
    for square, patch in zip(mat.squares, mat.design.patches, strict=True):
        if patch.name == "blue":
            x, y = round(square.x), round(square.y)
            blind[y - 30 : y + 31, x - 30 : x + 31] = 255
    found = calibrate_mat(blind, find_mat(blind), AFTER)
    assert isinstance(found, Refused)
    assert "every colour" in found.problem


def test_the_command_keeps_the_colours_where_grading_finds_them(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    monkeypatch.setenv("HOME", str(tmp_path))
    assert shop_settings().mat is None
    shot = tmp_path / "mat.jpg"
    shot.write_bytes(jpeg(photo(17, darker=0.7, boards=[Board(0, 0, 109, 0, CHART)])))
    assert main(["mat", "calibrate", str(shot)]) == 0
    kept = shop_settings().mat
    assert kept.by == "chart"
    for name, lab in kept.lab.items():
        assert delta_e(np.array(lab), linear_to_lab(TRUE[name])) < 3.0
    assert "24-patch chart" in capsys.readouterr().out


@pytest.mark.parametrize(
    "text",
    [
        "design = 1",
        f"design = {'[' * 9999}",
        "[lab]\npaper = [1, 2]",
        'design = "1"\nby = "x"\n[lab]\npaper = ["a"]',
    ],
)
def test_a_damaged_file_of_mat_colours_is_told_in_one_line(tmp_path, monkeypatch, capsys, text):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    (tmp_path / "wearview").mkdir()
    (tmp_path / "wearview" / "bench-mat.toml").write_text(text)
    assert main(["rules", "list"]) == 2
    assert "mat calibrate" in capsys.readouterr().err


def test_a_photo_without_a_mat_cannot_calibrate_it(tmp_path, capsys):
    shot = tmp_path / "bench.jpg"
    shot.write_bytes(jpeg(np.full((600, 800, 3), 120, np.uint8)))
    assert main(["mat", "calibrate", str(shot)]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_a_plain_camera_takes_srgb_at_its_word():
    codes = np.arange(256) / 255
    assert PLAIN.decoded(codes)[128] == pytest.approx(0.215861, abs=1e-6)  # IEC 61966-2-1, 128 of 255
    assert PLAIN.mixed(np.array([0.2, 0.5, 0.1])) == pytest.approx([0.2, 0.5, 0.1])


def test_a_bent_tone_keeps_black_white_and_greys():
    camera = Camera(np.array([0.2, -0.1]), np.array([[1.1, -0.1, 0], [0, 1, 0], [0.05, -0.15, 1.1]]))
    assert camera.decoded(np.array([0.0, 1.0])) == pytest.approx([0, 1])
    assert camera.mixed(np.full(3, 0.4)) == pytest.approx([0.4, 0.4, 0.4])


def told(rgb8, colours=NOTHING_MEASURED):
    """Method and problems that a photo's known colours give."""
    light, problems = known_light(find_targets(rgb8, colours), colours, flat())
    return (None if light is None else light.method), problems


def test_an_uncalibrated_mat_is_used_and_said_so():
    assert told(photo(20)) == ("mat", ("mat not calibrated",))


def test_a_calibrated_mat_is_used_without_a_word():
    assert told(photo(21), KnownColours(CHART, TRUE, "chart")) == ("mat", ())


def test_a_mat_with_the_colours_of_another_print_serves_by_its_paper_alone():
    swapped = {name: TRUE[other] for name, other in zip(TRUE, reversed(TRUE), strict=True)}
    assert told(photo(22), KnownColours(CHART, swapped, "chart")) == ("mat", ("mat colours do not fit",))


def test_a_chart_is_preferred_to_a_mat_of_unknown_inks():
    assert told(photo(23, boards=[Board(0, 0, 80, 0, CHART)])) == ("chart", ())


def test_a_chart_under_oil_is_refused_with_a_reason():
    board = Board(0, 0, 160, 0, np.clip(CHART, 0.01, None) ** 1.6 * [1.0, 0.75, 0.35])
    assert told(photo(24, Lit(), pdf=None, boards=[board])) == (None, ("chart does not fit",))


def test_a_mat_too_bright_to_calibrate_is_refused():
    rgb8 = photo(28, darker=2.0, boards=[Board(0, 0, 109, 0, CHART)])
    found = calibrate_mat(rgb8, find_mat(rgb8), AFTER)
    assert isinstance(found, Refused)
    assert "bright" in found.problem


def test_a_scaled_print_is_told():
    assert "mat printed to another scale" in told(photo(25, view=View(mm_across=430), scale=0.95))[1]


def test_a_bench_without_either_gives_nothing():
    assert told(photo(26, pdf=None)) == (None, ())


def test_a_mat_of_another_design_is_not_known():
    lab = {name: tuple(map(float, linear_to_lab(colour))) for name, colour in TRUE.items()}
    settings = load_settings()
    for design, known in (("1", True), ("0", False)):
        kept = dataclasses.replace(settings, mat=PrintedMat(design, "chart", lab))
        assert (known_colours(kept).mat is not None) == known


def test_the_document_tells_scale_light_and_squares(tmp_path, capsys):
    shot = tmp_path / "plate.jpg"
    view = View(tilt_deg=6)
    shot.write_bytes(jpeg(photo(27, Lit(), view, laid=[Laid(0, 0, 75, 55, TAN)])))
    assert main(["grade", str(shot), "--json", "-"]) == 0
    [graded] = json.loads(capsys.readouterr().out)["photos"]
    assert graded["mm_per_px"] == pytest.approx(view.mm_across / view.width, rel=0.01)
    assert graded["light"]["method"] == "mat"
    assert graded["light"]["residual"] is None
    assert graded["light"]["squares"] == {"used": 32, "of": 32}
    assert "mat not calibrated" in graded["quality"]["problems"]


def test_a_mat_is_never_taken_for_a_grey_card():
    rgb8 = photo(29, darker=3.0)  # all its paper blown out
    light = light_of(rgb8, NOTHING_MEASURED, mat=True)
    assert light.method != "card"
    assert "mat not calibrated" in light.problems


def test_a_light_that_bows_is_seen_though_squares_lie_opposite_their_twins():
    lit = Lit(bow=-0.22)
    hidden = [[(40, 60), (104, 60), (104, 150), (40, 150)]]
    rgb8, view, laid = laid_out(30, lit, hidden=hidden, darker=0.8)
    off = off_by(rgb8, view, laid, mat_light(find_mat(rgb8), None, SIZE))
    assert off.max() < 3.5
