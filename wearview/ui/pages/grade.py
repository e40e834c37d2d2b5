"""Grade a pack: photos in position order, an optional clean reference, the result beside its reasons."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import streamlit as st

from wearview import store as record
from wearview.record import Element, Grading, part_lines, parts_of
from wearview.settings import load_settings
from wearview.terms import KINDS
from wearview.ui import grading, show
from wearview.ui.words import plain

# "image/*" makes a phone offer its camera; some systems do not know the others as images.
PHOTO_TYPES = ["image/*", "heic", "heif", "tif", "tiff"]
BY_NAME, AS_ADDED = "by file name", "as they were added"
ENDS = ("left", "right", "top", "bottom")
HOW_TO = (
    "Lay the plates flat on a plain surface in the order of the pack, with a sheet of plain white paper in "
    "view, and take them whole in even light. Add one photo of a clean plate of the same lining: without it, "
    "plates can at best be compared with each other."
)


def page() -> None:
    """Ask, grade when told to, and show."""
    st.title("Grade")
    chosen: tuple[str, str | None] | None = None
    store = None
    with show.in_words():
        store = show.open_record()
        teardown = show.choose_teardown(store, placeholder="none: only look, store nothing")
        if teardown is not None:
            chosen = teardown, _choose_element(record.get_teardown(store, teardown).elements)
    photos = st.file_uploader(
        "Photos of one pack or band, in position order from the apply piston on",
        type=PHOTO_TYPES,
        accept_multiple_files=True,
        key="photos",
    )
    clean = st.file_uploader(
        "Photo of a clean plate of the same lining, if there is one", type=PHOTO_TYPES, key="clean"
    )
    if not photos:
        st.info(HOW_TO)
    options = _options()
    pressed = st.button("Grade", type="primary", width="stretch", disabled=not photos, key="grade")
    data: dict[str, bytes] = {}
    uploads = list(_uploads(_in_order(photos, options.pop("order")), data))
    if len(uploads) > 1:
        st.caption(plain("In this order: " + ", ".join(given.name for given in uploads)))
    with show.in_words():
        settings = load_settings()
        asked = grading.Asked(
            tuple(uploads),
            next(_uploads([clean], data)) if clean else None,
            rules=settings.rules.sha256,
            **options,
        )
        if pressed:
            _grade(asked, data, store, chosen)
        shown = st.session_state.get("shown")
        if shown is not None:
            _result(shown, asked, data, store, chosen)


def _choose_element(elements: Sequence[Element]) -> str | None:
    names = [element.name for element in elements]
    return st.selectbox(
        "Clutch or brake",
        names,
        index=None,
        accept_new_options=True,
        key="element",
        placeholder="choose one, or type its shop name",
    )


def _options() -> dict[str, Any]:
    """How the photos were taken."""
    with st.expander("How the photos were taken"):
        order = st.radio("Their order", (BY_NAME, AS_ADDED), horizontal=True, key="order")
        first = st.radio(
            "They begin at",
            ("apply", "reaction"),
            format_func={"apply": "the apply piston", "reaction": "the reaction end"}.__getitem__,
            horizontal=True,
            key="first",
        )
        apply_end = st.selectbox(
            "In a photo of several plates, the apply end lies",
            ENDS,
            index=None,
            placeholder="left in a row, on top in a column",
            key="apply_end",
        )
    return {"order": order, "first": first, "apply_end": apply_end}


def _in_order(photos: Sequence[Any], order: str) -> Sequence[Any]:
    return sorted(photos, key=lambda photo: _natural(photo.name)) if order == BY_NAME else photos


def _natural(name: str) -> list[tuple[int, str]]:
    """A sort key under which photo 2 comes before photo 10."""
    return [
        (int(piece), "") if piece.isdecimal() else (-1, piece.lower()) for piece in re.split(r"(\d+)", name)
    ]


def _uploads(photos: Sequence[Any], data: dict[str, bytes]) -> Iterator[grading.Upload]:
    """Each photo's name and hash; its bytes are put into `data`."""
    for photo in photos:
        given = grading.upload(photo.name, photo.getvalue())
        data[given.sha256] = photo.getvalue()
        yield given


def _grade(
    asked: grading.Asked,
    data: dict[str, bytes],
    store: record.Store | None,
    chosen: tuple[str, str | None] | None,
) -> bool:
    """Grade, store where a teardown is chosen, and remember what to show; whether that was done."""
    if chosen is not None and not chosen[1]:
        st.error("Choose the clutch or brake first, or type its name.")
        return False
    bar = st.progress(0.0, "Reading the photos")

    def advance(done: int, total: int, name: str) -> None:
        bar.progress(done / total, plain(f"{done} of {total} done. {name}"))

    try:
        answer = grading.grade_uploads(asked, data, load_settings(), grading.outside_the_cache(advance))
    finally:
        bar.empty()
    place = None
    if chosen is not None and store is not None:
        answer = grading.keep(store, chosen[0], str(chosen[1]).strip(), answer, data)
        place = f"{chosen[0]}, {str(chosen[1]).strip()}"
    st.session_state["shown"] = asked, answer, place
    return True


def _result(
    shown: tuple[grading.Asked, grading.Answer, str | None],
    asked: grading.Asked,
    data: dict[str, bytes],
    store: record.Store | None,
    chosen: tuple[str, str | None] | None,
) -> None:
    """The newest result, and a form to put kinds and positions right."""
    of, answer, place = shown
    st.header("Result")
    if replace(of, kinds=None, positions=None) != asked:
        st.info("The photos or choices above were changed since. Press Grade to grade them.")
    if place is not None:
        st.success(plain(f"Stored under {place}."))
    for line in answer.unread:
        st.error(plain(line))
    for name in answer.repeated:
        st.warning(plain(f"{name}: the same photo was given twice and graded once."))
    lines = part_lines(Element("", None, (Grading(answer.document, "", "", {}),), ()))
    show.graded_element(answer.document, lines, answer.overlays.get, with_verdicts=False)
    if lines and all(given.sha256 in data for given in of.photos):
        corrected = _corrected(of, answer)
        if corrected is not None and _grade(corrected, data, store, chosen):
            st.rerun()


def _corrected(of: grading.Asked, answer: grading.Answer) -> grading.Asked | None:
    """The same photos with kinds and positions as a person put them, once the form is sent."""
    kinds: list[str] = []
    positions: list[int] = []
    with st.expander("A kind or a position is wrong"), st.form("correct", border=False):
        for _, part in parts_of(answer.document):
            left, right = st.columns(2)
            key = f"{part['id']} {part['position']} {part['kind']}"
            positions.append(
                left.number_input(
                    f"Position of part {len(positions) + 1}",
                    1,
                    999,
                    part["position"],
                    key=f"position {key}",
                )
            )
            kinds.append(
                right.selectbox(
                    f"Kind of part {len(kinds) + 1}", KINDS, KINDS.index(part["kind"]), key=f"kind {key}"
                )
            )
        pressed = st.form_submit_button("Grade again with these", width="stretch", key="correct parts")
    return replace(of, kinds=tuple(kinds), positions=tuple(positions)) if pressed else None


page()
