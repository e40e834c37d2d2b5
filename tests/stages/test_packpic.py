"""The pack as the report draws it: a place for every position, and the profile of the scores."""

from tests import documents
from wearview.report.packpic import pack_picture
from wearview.report.words import profile_caption
from wearview.terms import FRICTION, REACTION, STEEL
from wearview.ui.words import PROFILE_SCALE


def test_the_drawn_pack_has_a_place_for_every_position():
    photo = documents.jpeg(1)
    parts = [documents.part(photo, 1, 1, 0), documents.part(photo, 2, 4, 3, "steel plate")]
    picture = pack_picture(parts)
    assert [(slot.position, slot.kind, slot.level) for slot in picture.slots] == [
        (1, "friction plate", 0),
        (2, None, None),
        (3, None, None),
        (4, "steel plate", 3),
    ]
    assert all(a.x + a.width < b.x for a, b in zip(picture.slots, picture.slots[1:], strict=False))
    assert 0 < picture.first < picture.last < picture.width


def test_a_plate_with_two_graded_sides_is_drawn_in_halves():
    photo = documents.jpeg(1)
    parts = [
        documents.part(photo, 1, 1, 0),
        documents.part(photo, 2, 2, 1, side="apply"),
        documents.part(photo, 3, 2, 3, side="reaction"),
    ]
    two_sided = pack_picture(parts).slots[1]
    assert [face.level for face in two_sided.faces] == [1, 3]
    assert two_sided.level == 3


def test_a_higher_score_is_drawn_higher_and_a_missing_one_not_at_all():
    photo = documents.jpeg(1)
    parts = [documents.part(photo, n, n, level) for n, level in ((1, 0), (2, None), (3, 4))]
    [line] = pack_picture(parts).lines
    assert len(line.points) == 2
    assert line.points[0][1] > line.points[1][1]


def test_a_pack_without_a_score_is_drawn_without_a_profile():
    photo = documents.jpeg(1)
    told = pack_picture([documents.part(photo, n, n, level) for n, level in ((1, 0), (2, None))])
    untold = pack_picture([documents.part(photo, n, n, None) for n in (1, 2)])
    assert untold.lines == ()
    assert untold.drawn_height < told.drawn_height - told.profile_height


def test_the_profile_of_twelve_plates_fits_a_phone_without_scrolling():
    photo = documents.jpeg(1)
    kinds = [*(STEEL, FRICTION) * 5, STEEL, REACTION]
    picture = pack_picture([documents.part(photo, n, n, 1, kind) for n, kind in enumerate(kinds, 1)])
    phone, beside = 360, 2 * 16 + 2 * 6.4  # px; the page's margins and the frame's, of `page.css`
    assert PROFILE_SCALE[0] * picture.profile_width < phone - beside


def test_bands_and_single_plates_have_no_pack_drawing():
    photo = documents.jpeg(1)
    assert pack_picture([documents.part(photo, n, n, 0, "band") for n in (1, 2)]) is None
    assert pack_picture([documents.part(photo, 1, 1, 0)]) is None


def test_a_curve_says_which_mark_is_which_kind_and_names_no_other():
    said = profile_caption(kind for kind in (STEEL, FRICTION, STEEL))
    assert said == "Heat score by position. \u25cf friction plate. \u25a0 steel plate."
