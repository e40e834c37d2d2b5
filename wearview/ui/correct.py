"""What a person puts right: kinds and positions; the pack is then graded again."""

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from wearview import store as record
from wearview.record import PartLine
from wearview.terms import KINDS
from wearview.ui import here, tray
from wearview.ui.tray import ElementName, Layout, Tray
from wearview.ui.words import plain


def correct(store: record.Store, name: ElementName, lines: Sequence[PartLine]) -> None:
    """Ask for kinds and positions as they are, and grade again with them."""
    lying = tray.read_tray(store, name)
    found = _as_found(lying, lines)
    with st.expander("A kind or a position is wrong"):
        if found is None:
            st.info("The photos were changed since: have the pack graded first, on the page Photos.")
            return
        with st.form("correct", border=False):
            kinds, positions = zip(*(_asked(line) for line in found), strict=True)
            pressed = st.form_submit_button("Grade again with these", width="stretch", key="correct parts")
        if pressed:
            _grade_again(store, name, replace(lying.layout, kinds=kinds, positions=positions))


def _as_found(lying: Tray, lines: Sequence[PartLine]) -> list[PartLine] | None:
    """The parts in the order in which grading takes kinds and positions: photo by photo as they lie, in each
    as they stand in the document; None where the tray holds other photos."""
    shas = [photo.sha256 for photo in lying.photos]
    photos = {line.photo["sha256"]: line.photo for line in lines}
    if lying.graded_as != lying.signature or not photos.keys() <= set(shas):
        return None
    if lying.layout.first == "reaction":
        shas.reverse()
    by_id = {line.part["id"]: line for line in lines}
    return [by_id[part["id"]] for sha in shas if sha in photos for part in photos[sha]["parts"]]


def _asked(line: PartLine) -> tuple[str, int]:
    left, right = st.columns(2)
    part = line.part
    key = f"{part['id']} {part['position']} {part['kind']}"
    position = left.number_input(f"Position of {line.label}", 1, 999, part["position"], key=f"position {key}")
    kind = right.selectbox(f"Kind of {line.label}", KINDS, KINDS.index(part["kind"]), key=f"kind {key}")
    return str(kind), int(position)


def _grade_again(store: record.Store, name: ElementName, layout: Layout) -> None:
    tray.lay_out(store, name, layout)
    bench = here.the_bench()
    bench.wake(name, now=True)
    with st.spinner("Grading again"):
        bench.wait()
    if error := bench.work(name).error:
        st.error(plain(error))
    else:
        st.rerun()
