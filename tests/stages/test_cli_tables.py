"""The tables that a terminal shows."""

from tests import documents
from wearview.cli.grade import document_text
from wearview.cli.tables import NO_PASS, RELATIVE, printable, table
from wearview.terms import GAP, PROBLEMS


def shown(*parts, **fields):
    photo = documents.jpeg(40)
    entry = documents.photo_entry(
        photo, "bench.jpg", [documents.part(photo, n, n, *p) for n, p in enumerate(parts, 1)]
    )
    return document_text("Forward", documents.document([entry]) | fields)


def rows(text):
    """Lines of the table by position."""
    return {line.split()[0]: line for line in text.splitlines() if line[:1].isdigit()}


def test_a_row_holds_position_kind_grade_in_words_and_numbers():
    row = rows(shown((3,), (0, "steel plate")))["1"]
    for cell in ("friction plate", "3 burnt", "3.25", "22.0", "100%", "12"):
        assert cell in row


def test_what_was_not_measured_is_blank_and_says_why():
    text = shown((None,), (1,))
    row = rows(text)["1"]
    assert row.split() == ["1", "friction", "plate", "cannot", "tell", "covered"]


def test_the_hottest_tints_are_listed_and_hot_spots_never_left_out():
    photo = documents.jpeg(40)
    part = documents.part(photo, 1, 1, 3, "steel plate")
    part["heat_tint"] = documents.heat_tint(spots=2)
    part["heat_tint"]["area"] |= {"straw": 0.3, "brown": 0.1, "purple": 0.3, "blue": 0.2, "bare": 0.1}
    text = document_text("F", documents.document([documents.photo_entry(photo, "a.jpg", [part])]))
    assert "blue 20%, purple 30%, brown 10%, 2 hot spots" in text


def test_a_band_without_a_level_says_what_its_own_case_asks_for():
    photo = documents.jpeg(40)
    part = documents.part(photo, 1, 1, None, "band") | {"problems": ["uncertainty spans grades"]}
    part["ungraded_because"] = ["Whether the face is glazed is open.", "Move only the lamp."]
    entry = documents.photo_entry(photo, "a.jpg", [part])
    text = document_text("B", documents.document([entry]) | {"pack": None})
    assert "cannot tell: Whether the face is glazed is open. Move only the lamp." in text
    assert PROBLEMS["uncertainty spans grades"].text not in text


def test_a_photo_without_parts_gives_its_problem_and_remedy():
    photo = documents.jpeg(40)
    text = document_text("F", documents.document([documents.photo_entry(photo, "a.jpg", [])]))
    assert "a.jpg: The photo is blurred. Hold still" in text


def test_a_gap_in_the_row_is_said_with_its_position_and_what_to_do():
    photo = documents.jpeg(40)
    part = documents.part(photo, 1, 3, 0)
    part["problems"] = [GAP]
    text = document_text("F", documents.document([documents.photo_entry(photo, "a.jpg", [part])]))
    assert rows(text)["3"].endswith(GAP)
    assert f"position 3: {PROBLEMS[GAP].text} {PROBLEMS[GAP].remedy}" in " ".join(text.split())


def test_a_level_is_never_shown_without_its_limits():
    assert NO_PASS in shown((0,), (0,))


def test_relative_grades_are_called_so():
    photo = documents.jpeg(40)
    parts = [documents.part(photo, n, n, n - 1, left=200 * n, relative=True) for n in (1, 2, 3)]
    text = document_text("F", documents.document([documents.photo_entry(photo, "a.jpg", parts)]))
    assert "cleanest here" in text
    assert RELATIVE in text


def test_a_file_name_cannot_steer_the_terminal():
    assert printable("a\x1b[2Jb\nc.jpg") == "a\\x1b[2Jb\\nc.jpg"


def test_columns_stand_in_line_and_empty_ones_are_left_out():
    made = table(["pos", "none", "name"], [["1", "", "a"], ["22", "", "bbb"]], right=(0,))
    assert made.splitlines() == ["pos  name", "  1  a", " 22  bbb"]
