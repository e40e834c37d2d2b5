"""The photos of an element: give them, see what each shows as soon as it is graded, have the pack graded."""

from dataclasses import replace

import segno
import streamlit as st

from wearview import store as record
from wearview.library import read_library
from wearview.record import Teardown
from wearview.ui import here, show, tray
from wearview.ui.bench import Bench
from wearview.ui.elements import new_element
from wearview.ui.gate import OPEN_NETWORK, Ticket, the_gate
from wearview.ui.head import offer_reopening
from wearview.ui.tray import ElementName, GivenPhoto
from wearview.ui.watch import Watched, lay, watch
from wearview.ui.words import plain

ENDS = ("left", "right", "top", "bottom")
ORDER_WORDS = {
    tray.BY_NAME: "by file name",
    tray.BY_TIME: "by the time they were taken",
    tray.AS_GIVEN: "as they came",
    tray.BY_HAND: "as moved by hand",
}
NOT_SAID = "recognise each plate by its colour"
ONLY_HERE = (
    "This page is open to this computer only. Start the program with `wearview app --lan`, on the shop's own "
    "network, and a code to scan stands here."
)


def page() -> None:
    """Choose the element, give photos, watch them being graded."""
    st.title("Photos")
    show.told()
    with show.in_words():
        store = here.open_record()
        teardown = here.teardown_here(store)
        if teardown is None:
            return
        st.caption(plain(" · ".join(filter(None, (teardown.name, teardown.unit, teardown.customer)))))
        if teardown.closed:
            offer_reopening(store, teardown)
            return
        choice = st.container()
        with st.expander("Add a clutch or brake", expanded=not teardown.elements):
            new_element(store, teardown)  # before the choice is drawn: what is added is chosen
        with choice:
            element = here.element_here(teardown)
        if element is None:
            st.info("Add the first clutch or brake of this unit by its shop name, then give its photos.")
            return
        name = here.named(teardown, element)
        bench = here.the_bench()
        _give(store, bench, name)
        _phone(name, blind=teardown.blind)
        _clean(store, bench, teardown, name)
        _lay_out(store, bench, name)
        watch(Watched(store, bench, name, teardown.blind, element.gradings))


def _give(store: record.Store, bench: Bench, name: ElementName) -> None:
    """Photos go to the disk as soon as they are here, and the field is empty again."""
    photos = show.ask_photos(
        "Photos of this pack or band, in position order from the apply piston on", show.fresh("photos")
    )
    if photos:
        for photo in photos:
            tray.add_photo(store, name, photo.name, photo.getvalue())
        show.let_go(photos)
        bench.wake(name)
        show.start_afresh()
        st.rerun()


def _phone(name: ElementName, *, blind: bool) -> None:
    """A QR code that opens the capture page of this element on a phone."""
    gate = the_gate()
    with st.expander("Take them with a phone"):
        if gate.address is None:
            st.info(ONLY_HERE)
            return
        key = f"ticket {name.teardown} {name.element}"
        if gate.ticket(st.session_state.get(key, "")) is None:
            st.session_state[key] = gate.new_ticket(Ticket(name, here.record_url(), blind))
        address = f"{gate.address}/take/{st.session_state[key]}"
        left, right = st.columns([1, 2])
        left.image(
            segno.make(address, micro=False).svg_inline(scale=8, border=4, light="#fff"),
            width="stretch",
            alt="QR code that opens the capture page of this element",
        )
        right.markdown(
            "Scan the code with the phone's camera. It opens a page that takes photos for this element only, "
            "and keeps each on the phone until it is on this computer. What arrives shows below."
        )
        right.code(address, language=None, wrap_lines=True)
        right.warning(OPEN_NETWORK)


def _clean(store: record.Store, bench: Bench, teardown: Teardown, name: ElementName) -> None:
    """What the linings are compared with: a photo of a clean plate, new or given for another element, or one
    of the shop's own linings."""
    lying = tray.read_tray(store, name)
    with st.expander(plain(f"Clean reference: {lying.clean or 'none so far'}"), expanded=lying.clean is None):
        photo = show.ask_photo(
            "Photo of a clean plate of the same lining, if there is one", show.fresh("clean")
        )
        if photo:
            tray.set_reference(store, name, photo.name, photo.getvalue())
            show.let_go([photo])
            show.start_afresh()
            bench.wake(name)
            st.rerun()
        others = _other_references(store, teardown, name)
        for n, other in enumerate(others):
            if st.button(plain(f"Use {other.name} again"), width="stretch", key=f"reference {n}"):
                tray.use_reference(store, name, other)
                bench.wake(name)
                st.rerun()
        if own := list(read_library()):
            named = lying.lining if lying.lining in own else NOT_SAID
            choices = [NOT_SAID, *own]
            chosen = st.selectbox(
                "Or say which of your own linings it is",
                choices,
                choices.index(named),
                key=f"lining of {name.teardown} {name.element} {lying.clean}",
            )
            if chosen != named:
                tray.say_lining(store, name, None if chosen == NOT_SAID else chosen)
                bench.wake(name)
                st.rerun()


def _other_references(store: record.Store, teardown: Teardown, name: ElementName) -> list[GivenPhoto]:
    mine = tray.read_tray(store, name).reference
    trays = (tray.read_tray(store, here.named(teardown, element)) for element in teardown.elements)
    found = {lying.reference.sha256: lying.reference for lying in trays if lying.reference}
    return [photo for sha256, photo in found.items() if mine is None or sha256 != mine.sha256]


def _lay_out(store: record.Store, bench: Bench, name: ElementName) -> None:
    """How the photos were taken."""
    layout = tray.read_tray(store, name).layout
    with st.expander("How the photos were taken"):
        order = st.selectbox(
            "Their order", tray.ORDERS, tray.ORDERS.index(layout.order), format_func=ORDER_WORDS.__getitem__
        )
        first = st.radio(
            "They begin at",
            ("apply", "reaction"),
            ("apply", "reaction").index(layout.first),
            format_func={"apply": "the apply piston", "reaction": "the reaction end"}.__getitem__,
            horizontal=True,
        )
        end = st.selectbox(
            "In a photo of several plates, the apply end lies",
            ENDS,
            None if layout.apply_end is None else ENDS.index(layout.apply_end),
            placeholder="left in a row, on top in a column",
        )
    changed = replace(layout, order=order, first=first, apply_end=end)
    if changed != layout:
        lay(store, bench, name, changed)
        st.rerun()


page()
