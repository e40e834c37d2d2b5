"""What a person puts right: kinds, positions, no parts, rims and edges; the pack is then graded again."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import streamlit as st

from wearview import store as record
from wearview.files import base_name
from wearview.parts import BandEdges, Rims, check_band, check_rims
from wearview.record import PartLine
from wearview.terms import BAND, KINDS
from wearview.ui import here, pictures, tray
from wearview.ui.photo_tools import EDGES, RIMS, Lines, ask_lines
from wearview.ui.tray import ElementName, Layout, Tray
from wearview.ui.words import plain

MISSING = {"plate": RIMS, "band": EDGES}
CHANGED = "The photos were changed since: have the pack graded first, on the page Photos."
GRADED_BY_COMMAND = (
    "This pack was graded by a command: give its photos on the page Photos to put something right here."
)


def correct(
    store: record.Store,
    name: ElementName,
    photos: Sequence[dict[str, Any]],
    lines: Sequence[PartLine],
    chosen: PartLine | None,
) -> None:
    """Ask for what is as it is, and grade again with it.

    Parameters
    ----------
    photos : sequence of dict
        Every photo of the document, those without a part too.
    lines : sequence of PartLine
        All parts.
    chosen : PartLine or None
        The part that was tapped; None where none was found.
    """
    lying = tray.read_tray(store, name)
    found = _as_found(lying, lines)
    if found is None:
        st.info(CHANGED if lying.photos else GRADED_BY_COMMAND)
        return
    if chosen is not None:
        _outline(store, name, lying, photos, found, chosen)
    _missing(store, name, lying, photos, chosen)
    if found:
        _kinds_and_positions(store, name, lying, found)


def _as_found(lying: Tray, lines: Sequence[PartLine]) -> list[PartLine] | None:
    """The parts in the order in which grading takes kinds and positions: photo by photo as they lie, in each
    as they stand in the document; None where the tray holds other photos."""
    shas = [photo.sha256 for photo in lying.photos]
    photos = {line.photo["sha256"]: line.photo for line in lines}
    if not photos.keys() <= set(shas):
        return None
    if lying.layout.first == "reaction":
        shas.reverse()
    by_id = {line.part["id"]: line for line in lines}
    found = (
        part.get("shot_of", part["id"]) for sha in shas if sha in photos for part in photos[sha]["parts"]
    )
    return [by_id[part_id] for part_id in dict.fromkeys(found)]


def _outline(
    store: record.Store,
    name: ElementName,
    lying: Tray,
    photos: Sequence[dict[str, Any]],
    found: list[PartLine],
    chosen: PartLine,
) -> None:
    """What is no part, and rims or edges by tapping, for the part that is chosen."""
    sha256 = chosen.photo["sha256"]
    asked = EDGES if chosen.part["kind"] == BAND else RIMS
    where = f"position {chosen.label}"
    with st.container(horizontal=True, gap="small"):
        if st.button(plain(f"Position {chosen.label} is no part"), key="no part"):
            for entry, part in _shots(photos, chosen.part["id"]):
                tray.say_no_part(store, name, entry["sha256"], _place_on(part))
            _grade_again(store, name, _without(lying.layout, found.index(chosen)))
        if st.button(plain(f"Tap the {asked.name} of position {chosen.label}"), key="tap lines"):
            st.session_state["tapping"] = where
        _take_back(store, name, lying, sha256)
    if st.session_state.get("tapping") == where:
        _tap(store, name, lying, asked, chosen.photo, chosen.part, where)


def _take_back(store: record.Store, name: ElementName, lying: Tray, sha256: str) -> None:
    if sha256 in lying.said and st.button("Take back what was set in this photo", key="as found"):
        tray.say_nothing(store, name, sha256)
        _grade_again(store, name, _counted_anew(lying.layout))


def _missing(
    store: record.Store,
    name: ElementName,
    lying: Tray,
    photos: Sequence[dict[str, Any]],
    chosen: PartLine | None,
) -> None:
    """Rims or edges by tapping for a part that was not found, in any of the photos."""
    entries = {entry["sha256"]: entry for entry in photos}
    order = [photo.sha256 for photo in lying.photos if photo.sha256 in entries]
    if not order:
        return
    here_now = None if chosen is None else chosen.photo["sha256"]
    sha256 = st.selectbox(
        "A part is missing in the photo",
        order,
        order.index(here_now) if here_now in order else 0,
        format_func=lambda sha256: base_name(entries[sha256]["file"]),
        key=f"missing in {here_now}",
    )
    with st.container(horizontal=True, gap="small"):
        for what, asked in MISSING.items():
            if st.button(f"Tap the {asked.name} of the missing {what}", width="stretch", key=f"tap {what}"):
                st.session_state["tapping"] = what
        if chosen is None:  # its only part was called none
            _take_back(store, name, lying, sha256)
    tapping = st.session_state.get("tapping")
    if tapping in MISSING:
        _tap(store, name, lying, MISSING[tapping], entries[sha256], None, f"the missing {tapping}")


def _tap(
    store: record.Store,
    name: ElementName,
    lying: Tray,
    asked: Lines,
    entry: dict[str, Any],
    part: dict[str, Any] | None,
    what: str,
) -> None:
    """Ask for the two lines of a part, or of one that was not found, and grade again with them."""
    sha256 = entry["sha256"]
    photo = pictures.address(pictures.PHOTO, sha256)
    alt = f"{base_name(entry['file'])}: tap the {asked.name} of {what}"
    tapped = ask_lines(asked, photo, entry, part, alt, f"{asked.name} {sha256[:12]} {what}")
    if tapped is None:
        return
    # Looked at before they are kept: lines that make no part would stand in the way of every grading.
    if asked is EDGES:
        check_band(BandEdges(*tapped))
        tray.say_band(store, name, sha256, *tapped)
    else:
        check_rims(Rims(*tapped))
        tray.say_rims(store, name, sha256, *tapped)
    st.session_state.pop("tapping")
    _grade_again(store, name, _counted_anew(lying.layout) if part is None else lying.layout)


def _shots(photos: Sequence[dict[str, Any]], part_id: str) -> list[tuple[dict[str, Any], dict[str, Any]]]:
    """Every photo that shows a part, with what it shows of it."""
    return [
        (entry, part)
        for entry in photos
        for part in entry["parts"]
        if part.get("shot_of", part["id"]) == part_id
    ]


def _place_on(part: dict[str, Any]) -> tuple[float, float]:
    """The middle of a plate, or a place on a band, in pixels of the upright photo."""
    outline = part["outline"]
    if outline["outer"] is not None:
        return outline["outer"]["cx"], outline["outer"]["cy"]
    # Halfway between the first two edges that a level line through the middle of the outline meets.
    corners = outline["polygon"]
    level = sum(y for _, y in corners) / len(corners)
    met = sorted(
        x + (level - y) * (to_x - x) / (to_y - y)
        for (x, y), (to_x, to_y) in zip(corners, [*corners[1:], corners[0]], strict=True)
        if (y > level) != (to_y > level)
    )
    return (met[0] + met[1]) / 2, level


def _without(layout: Layout, index: int) -> Layout:
    """The layout with what was stated of one part left out; later positions stay as stated."""
    kinds, positions = (
        None if stated is None else (*stated[:index], *stated[index + 1 :])
        for stated in (layout.kinds, layout.positions)
    )
    return replace(layout, kinds=kinds, positions=positions)


def _counted_anew(layout: Layout) -> Layout:
    """The layout with nothing stated of parts: they are others now."""
    return replace(layout, kinds=None, positions=None)


def _kinds_and_positions(store: record.Store, name: ElementName, lying: Tray, found: list[PartLine]) -> None:
    with st.form("correct", border=False):
        kinds, positions = zip(*(_asked(line) for line in found), strict=True)
        pressed = st.form_submit_button("Grade again with these", width="stretch", key="correct parts")
    if pressed:
        _grade_again(store, name, replace(lying.layout, kinds=kinds, positions=positions))


def _asked(line: PartLine) -> tuple[str, int]:
    part = line.part
    key = f"{part['id']} {part['position']} {part['kind']}"
    with st.container(horizontal=True, gap="small"):  # beside each other on a phone too, unlike columns
        position = st.number_input(
            f"Position of {line.label}", 1, 999, part["position"], key=f"position {key}"
        )
        kind = st.selectbox(f"Kind of {line.label}", KINDS, KINDS.index(part["kind"]), key=f"kind {key}")
    return str(kind), int(position)


def _grade_again(store: record.Store, name: ElementName, layout: Layout) -> None:
    """Grade the pack as it lies now, and show the page anew unless that fails."""
    tray.lay_out(store, name, layout)
    bench = here.the_bench()
    bench.wake(name, now=True)
    with st.spinner("Grading again"):
        bench.wait(name)
    if error := bench.work(name).error:
        st.error(plain(error))
    else:
        st.rerun()
