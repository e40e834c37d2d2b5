"""The bench mat: what is printed, and what a photo of it tells.

Photos are made by `tests/scenes/printed.py` from the PDF alone; where things lie is told by its camera.
"""

import cv2
import numpy as np
import pypdfium2
import pytest
from pypdfium2.raw import FPDF_PAGEOBJ_IMAGE

from tests.accuracy.known_colours import any_phone
from tests.scenes.printed import Laid, Lit, Page, View, jpeg, random_inks, shoot, true_place
from wearview.cli import main
from wearview.look import look_at
from wearview.mat import ASKED, PAPERS, design_for, find_mat
from wearview.mat.sheet import mat_pdf
from wearview.photo import read_photo_bytes
from wearview.terms import PROBLEMS

POINT = 25.4 / 72  # mm, the unit of a PDF
PX_PER_MM = 10.0
TAN = np.array([0.33, 0.21, 0.11])
PLATE = Laid(0, 0, 75, 55, TAN)


def drawn(paper):
    """The page as grey and colour codes, 10 pixels a millimetre, and its middle in pixels."""
    page = pypdfium2.PdfDocument(mat_pdf(design_for(paper)))[0]
    rgb8 = np.asarray(page.render(scale=PX_PER_MM * POINT).to_pil().convert("RGB"))
    return rgb8, (np.array(PAPERS[paper]) * PX_PER_MM - 1) / 2


def photo_of(seed=0, view=None, lit=None, paper="a4", **page):
    rng = np.random.default_rng(seed)
    pdf = mat_pdf(design_for(paper))
    sheet = Page(inks=random_inks(rng), **{"pdf": pdf, "laid": [PLATE], **page})
    return shoot(sheet, view or View(), lit or Lit(), any_phone(rng), rng)


def middle_mm(mat):
    """Millimetres per pixel at the photo's middle."""
    return mat.mm_per_px_at(mat.plane.middle)


@pytest.fixture(scope="module")
def slanted():
    view = View(mm_across=490, tilt_deg=18, towards_deg=35, turn_deg=70, bend=0.03, shift=(0.02, -0.01))
    return view, photo_of(1, view, Lit((1.2, 1.0, 0.75), (0.3, -0.2), -0.1))


@pytest.mark.parametrize("paper", PAPERS)
def test_the_page_is_one_sheet_of_true_size_without_pictures(paper):
    document = pypdfium2.PdfDocument(mat_pdf(design_for(paper)))
    assert len(document) == 1
    assert np.array(document[0].get_size()) * POINT == pytest.approx(PAPERS[paper], abs=0.01)
    assert {item.type for item in document[0].get_objects()}.isdisjoint({FPDF_PAGEOBJ_IMAGE})


@pytest.mark.parametrize("paper", PAPERS)
def test_the_check_ruler_is_150_mm_long(paper):
    rgb8, middle = drawn(paper)
    row = rgb8[round(middle[1] + design_for(paper).ruler_y * PX_PER_MM), :, 1]
    dark = np.flatnonzero(row < 128)
    between = dark[(dark > middle[0] - 770) & (dark < middle[0] + 770)]
    assert np.ptp(between) / PX_PER_MM == pytest.approx(150, abs=0.3)  # the line's own width is 0.2


@pytest.mark.parametrize("paper", PAPERS)
def test_opencv_reads_every_marker_where_the_design_says(paper):
    rgb8, middle = drawn(paper)
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_50))
    corners, numbers, _ = detector.detectMarkers(rgb8)
    read = dict(zip(numbers.ravel().tolist(), corners, strict=True))
    assert read.keys() == design_for(paper).markers.keys()
    for number, mm in design_for(paper).markers.items():
        # Corners without refinement are whole pixels.
        assert read[number][0] == pytest.approx(mm * PX_PER_MM + middle, abs=1.5)


@pytest.mark.parametrize("paper", PAPERS)
def test_every_square_is_printed_in_the_colour_asked_for_within_the_sheet(paper):
    rgb8, middle = drawn(paper)
    for patch in design_for(paper).patches:
        x, y = np.rint(np.array([patch.x, patch.y]) * PX_PER_MM + middle).astype(int)
        seen = rgb8[y - 55 : y + 56, x - 55 : x + 56].reshape(-1, 3)
        codes = ASKED.get(patch.name, (255,))
        assert np.abs(seen - np.array(codes)).max() <= 1, patch


def test_papers_do_not_share_a_marker():
    assert design_for("a4").markers.keys().isdisjoint(design_for("letter").markers.keys())


def test_every_colour_lies_opposite_itself_and_leaves_the_room_free():
    patches = {(p.name, p.x, p.y) for p in design_for("a4").patches}
    assert {(name, -x, -y) for name, x, y in patches} == patches
    for _, x, y in patches:
        assert np.hypot(abs(x) - 6.5, abs(y) - 6.5) > 100
    for corners in design_for("letter").markers.values():
        assert np.hypot(*corners.T).min() > 100


def test_a_slanted_photo_through_a_bent_lens_gives_the_plane(slanted):
    view, rgb8 = slanted
    mat = find_mat(rgb8)
    mm = np.array([[p.x, p.y] for p in mat.design.patches])
    assert len(mat.markers) == 8
    assert mat.problem is None
    # A quarter of a pixel is what corner refinement is worth.
    assert mat.plane.to_px(mm) == pytest.approx(true_place(view, mm), abs=0.3)
    assert mat.plane.to_mm(mat.plane.to_px(mm)) == pytest.approx(mm, abs=1e-3)
    assert mat.plane.bend > view.bend / 2  # a mat that fills half the frame shows little more of it


def test_millimetres_per_pixel_are_those_of_the_camera(slanted):
    view, rgb8 = slanted
    middle = np.array([(view.width - 1) / 2, (view.height - 1) / 2])
    mat = find_mat(rgb8)
    here = mat.plane.to_mm(middle)
    at, right, below = true_place(view, np.array([[0, 0], [1, 0], [0, 1]]) + here)
    area = abs(np.linalg.det([right - at, below - at]))
    assert mat.mm_per_px_at(middle) == pytest.approx(area**-0.5, rel=0.004)


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_a_turned_photo_tells_the_same(slanted, turns):
    _, rgb8 = slanted
    straight, turned = find_mat(rgb8), find_mat(np.ascontiguousarray(np.rot90(rgb8, turns)))
    assert middle_mm(turned) == pytest.approx(middle_mm(straight), rel=1e-3)
    for first, second in zip(straight.squares, turned.squares, strict=True):
        assert second.problem == first.problem
        assert second.rgb8 == pytest.approx(first.rgb8, abs=1.0)


def test_a_larger_copy_of_a_photo_has_smaller_millimetres(slanted):
    _, rgb8 = slanted
    large = cv2.resize(rgb8, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    assert middle_mm(find_mat(large)) == pytest.approx(middle_mm(find_mat(rgb8)) / 2, rel=2e-3)


@pytest.mark.parametrize("scale", [0.94, 0.97, 1.0])
def test_a_scaled_print_is_noticed_on_the_sheets_edges(scale):
    mat = find_mat(photo_of(2, View(tilt_deg=10, mm_across=420), scale=scale))
    assert mat.printed_scale == pytest.approx(scale, abs=0.004)  # 0.8 mm on a sheet of 210
    assert middle_mm(mat) == pytest.approx(420 / 1600 / np.sqrt(np.cos(np.radians(10))), rel=0.02)


def test_a_print_whose_edges_do_not_show_has_no_known_scale():
    mat = find_mat(photo_of(3, View(mm_across=300), bench=(0.86, 0.86, 0.88)))
    assert np.isnan(mat.printed_scale)


def test_covered_markers_and_squares_leave_the_rest():
    hand = [(60, 60), (110, 60), (110, 150), (60, 150)]
    half_a_square = [(-75, -120), (-67.5, -120), (-67.5, -100), (-75, -100)]
    mat = find_mat(photo_of(4, hidden=[hand, half_a_square]))
    assert set(mat.markers) == {0, 1, 2, 3, 4, 6}
    fault = {(s.name, round(p.x)): s.problem for s, p in zip(mat.squares, mat.design.patches, strict=True)}
    assert fault[("middle grey", -68)] == "uneven"
    assert sum(s.usable for s in mat.squares) >= 24


def test_bare_paper_is_found_beside_the_part_and_in_its_hole():
    mat = find_mat(photo_of(5))
    usable = [s for s in mat.room if s.usable]
    assert len(usable) >= 8


def test_glare_that_clips_a_square_is_not_used():
    mat = find_mat(photo_of(6, glare=[(-67.5, -111.5, 25)] * 4))
    assert mat.squares[0].problem == "clipped"
    assert mat.squares[16].usable  # the same grey at the other end


def test_a_curled_mat_is_refused_with_a_reason():
    mat = find_mat(photo_of(7, View(tilt_deg=12), curl=25.0))
    assert mat is None or mat.problem == "mat does not lie flat"


def test_problems_of_a_mat_are_published():
    assert {"mat does not lie flat", "mat printed to another scale"} <= PROBLEMS.keys()


def test_a_mat_from_afar_and_out_of_focus_is_found():
    rgb8 = cv2.GaussianBlur(photo_of(9, View(mm_across=800, tilt_deg=25, turn_deg=40)), (0, 0), 2.0)
    assert len(find_mat(rgb8).markers) >= 4  # 40 pixels wide, 6 a cell


def test_no_mat_is_found_where_there_is_none():
    rng = np.random.default_rng(8)
    assert find_mat(rng.integers(0, 255, (600, 800, 3), np.uint8)) is None
    assert find_mat(np.full((40, 30, 3), 200, np.uint8)) is None


def test_one_marker_is_no_mat():
    marker = cv2.aruco.generateImageMarker(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_50), 3, 140)
    bench = np.full((600, 800), 230, np.uint8)
    bench[100:240, 100:240] = marker
    assert find_mat(np.repeat(bench[..., None], 3, axis=2)) is None


@pytest.mark.parametrize("paper", PAPERS)
def test_the_command_writes_the_sheet(paper, tmp_path, capsys):
    out = tmp_path / "new" / "mat.pdf"
    assert main(["mat", "--paper", paper, "--out", str(out)]) == 0
    size = np.array(pypdfium2.PdfDocument(out)[0].get_size()) * POINT
    assert size == pytest.approx(PAPERS[paper], abs=0.01)
    assert "150 mm" in capsys.readouterr().out


def test_the_command_names_the_file_after_the_paper(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["mat"]) == 0
    assert [path.name for path in tmp_path.iterdir()] == ["wearview-mat-a4.pdf"]


def test_a_sheet_that_cannot_be_written_ends_with_3(tmp_path, capsys):
    (tmp_path / "file").write_text("in the way")
    assert main(["mat", "--out", str(tmp_path / "file" / "mat.pdf")]) == 3
    assert capsys.readouterr().err.count("\n") == 1


def test_whoever_lays_out_the_mat_says_that_a_plate_is_in_view(monkeypatch):
    asked = []
    monkeypatch.setattr("wearview.look.find_parts", lambda _, said, sight: asked.append(said.in_view) or ())
    for rgb8 in (photo_of(3), photo_of(3, pdf=None)):
        look_at(read_photo_bytes(jpeg(rgb8), "bench.jpg"))
    assert asked == [True, False]
