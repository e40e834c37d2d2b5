"""Photos that show the same parts: their order, and what each shows."""

from wearview.record import Shows
from wearview.ui import again
from wearview.ui.again import OWN, RELIT, SAME, TURNED, Again

ORDER = list("abcd")


def said(*steps):
    """The order and what is said after each (photo, what) was said beside the photo before it."""
    order, now = list(ORDER), {}
    for photo, what in steps:
        now = again.with_beside(order, now, order.index(photo), what)
        order = again.together(order, now)
    return order, now


def test_photos_show_parts_of_their_own_unless_something_is_said():
    assert again.shows(ORDER, {}, "apply") == tuple(Shows(n) for n in range(4))
    assert [again.beside(ORDER, {}, n) for n in (1, 2, 3)] == [OWN] * 3


def test_a_third_shot_belongs_to_the_first_one_too():
    order, now = said(("b", SAME), ("c", SAME))
    assert now == {"b": Again("a"), "c": Again("a")}
    assert [one.parts for one in again.shows(order, now, "apply")] == [0, 0, 0, 1]


def test_each_side_may_have_several_shots():
    order, now = said(("b", SAME), ("c", TURNED), ("d", SAME))
    assert [again.beside(order, now, n) for n in (1, 2, 3)] == [SAME, TURNED, SAME]
    near, far = Shows(0, "apply"), Shows(0, "reaction")
    assert again.shows(order, now, "apply") == (near, near, far, far)
    assert again.shows(order, now, "reaction") == (far, far, near, near)


def test_shots_joined_to_others_bring_theirs_along():
    order, now = said(("d", TURNED), ("c", SAME), ("b", TURNED))
    assert order == ["a", "d", "b", "c"]  # d, the other side of b and c, is on the side of a
    assert [again.beside(order, now, n) for n in (1, 2, 3)] == [SAME, TURNED, SAME]


def test_a_photo_taken_away_from_the_others_shows_parts_of_its_own_and_they_stay():
    order, now = said(("b", SAME), ("c", SAME), ("b", OWN))
    assert order == ["a", "c", "b", "d"]
    assert [one.parts for one in again.shows(order, now, "apply")] == [0, 0, 1, 2]


def test_photos_of_the_same_parts_lie_and_move_together():
    now = {"d": Again("a")}
    order = again.together(ORDER, now)
    assert order == ["a", "d", "b", "c"]
    assert again.moved(order, now, "d", 1) == ("b", "a", "d", "c")
    assert again.moved(order, now, "c", -1) == ("a", "d", "c", "b")
    assert again.moved(order, now, "a", -1) == ("a", "d", "b", "c")


def test_photos_stay_together_when_the_first_of_them_is_left_out():
    now = {"b": Again("a"), "c": Again("a")}
    assert [one.parts for one in again.shows(["b", "c", "d"], now, "apply")] == [0, 0, 1]


def test_pairs_are_said_of_all_photos_at_once():
    assert again.in_pairs(ORDER, SAME) == {"b": Again("a"), "d": Again("c")}
    shows = again.shows(ORDER, again.in_pairs(ORDER, TURNED), "apply")
    assert [(one.parts, one.side) for one in shows] == [
        (0, "apply"),
        (0, "reaction"),
        (1, "apply"),
        (1, "reaction"),
    ]


def test_a_second_light_lies_after_its_first_and_shows_no_parts_of_its_own_to_others():
    order, now = said(("d", RELIT), ("b", OWN))
    assert now["d"] == Again("c", False, "c")
    assert again.second_lights(order, now) == {"c": "d"}
    assert [again.beside(order, now, n) for n in (1, 2, 3)] == [OWN, OWN, RELIT]
    assert again.together(["a", "d", "b", "c"], now) == ["a", "c", "d", "b"]


def test_a_second_light_goes_with_its_first_wherever_that_is_said_to_belong():
    for what, expected in ((SAME, Again("b", False)), (TURNED, Again("b", True))):
        order, now = said(("d", RELIT), ("c", what))
        assert (now["c"], now["d"]) == (expected, Again(expected.of, expected.turned, "c"))
        assert order == ["a", "b", "c", "d"]
    order, now = said(("d", RELIT), ("c", SAME), ("c", OWN))
    assert now == {"d": Again("c", False, "c")}
    order, now = said(("c", RELIT), ("d", TURNED), ("b", SAME))
    assert now["c"] == Again("a", False, "b")
    assert again.second_lights(order, now) == {"b": "c"}


def test_of_three_photos_in_a_row_two_are_a_pair_and_what_is_said_last_holds():
    order, now = said(("c", RELIT), ("b", RELIT))
    assert again.second_lights(order, now) == {"a": "b"}
    assert now["c"] == Again("a")  # it was the second light of b, which is one itself now
    order, now = said(("b", RELIT), ("c", RELIT))
    assert again.second_lights(order, now) == {"b": "c"}
    assert now["b"] == Again("a")
    order, now = said(("b", RELIT), ("b", SAME))
    assert (now, again.second_lights(order, now)) == ({"b": Again("a")}, {})


def test_a_second_light_is_a_shot_like_others_where_its_first_is_gone_or_benches_contradict_each_other():
    now = {"b": Again("a", False, "a")}
    assert again.second_lights(["b", "c"], now) == {}
    both = {**now, "c": Again("a", False, "a")}
    assert again.second_lights(ORDER, both) == {"a": "b"}
    in_a_ring = {"a": Again("a", False, "b"), "b": Again("a", False, "a")}
    assert again.second_lights(ORDER, in_a_ring) == {}
    assert again.second_lights(ORDER, {"b": Again("a", True, "a")}) == {}  # on the other side
    assert again.together(ORDER, in_a_ring) == ORDER


def test_pairs_of_lights_are_said_of_all_photos_at_once():
    assert again.second_lights(ORDER, again.in_pairs(ORDER, RELIT)) == {"a": "b", "c": "d"}
