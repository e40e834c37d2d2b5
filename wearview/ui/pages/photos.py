"""The photos of an element: give them, see what each shows as soon as it is graded, have the pack graded."""

from dataclasses import replace

import segno
import streamlit as st

from wearview import store as record
from wearview.record import Grading, Teardown
from wearview.ui import here, show, told, tray
from wearview.ui.bench import Bench, Seen
from wearview.ui.gate import OPEN_NETWORK, the_gate
from wearview.ui.tray import ElementName, GivenPhoto, Layout, Tray
from wearview.ui.words import plain

# "image/*" makes a phone offer its camera; some systems do not know the others as images.
PHOTO_TYPES = ["image/*", "heic", "heif", "tif", "tiff"]
ENDS = ("left", "right", "top", "bottom")
ORDER_WORDS = {
    tray.BY_NAME: "by file name",
    tray.BY_TIME: "by the time they were taken",
    tray.AS_GIVEN: "as they came",
    tray.BY_HAND: "as moved by hand",
}
HOW_TO = (
    "Lay the plates flat on a plain surface in the order of the pack, with a sheet of plain white paper in "
    "view, and take them whole in even light. Add one photo of a clean plate of the same lining: without it, "
    "plates can at best be compared with each other."
)
ONLY_HERE = (
    "This page is open to this computer only. Start the program with `wearview app --lan`, on the shop's own "
    "network, and a code to scan stands here."
)
LOOK_AGAIN_S = 1.5  # how often the page looks for what the bench and other phones did


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
        element = here.element_here(teardown)
        with st.expander("Add a clutch or brake", expanded=element is None):
            _new_element(store, teardown)
        if element is None:
            st.info("Add the first clutch or brake of this unit by its shop name, then give its photos.")
            return
        name = here.named(teardown, element)
        bench = here.the_bench()
        _give(store, bench, name)
        _phone(name)
        _clean(store, bench, teardown, name)
        _lay_out(store, bench, name)
        _watch(store, bench, name, element.latest)


def _new_element(store: record.Store, teardown: Teardown) -> None:
    with st.form("new element", border=False):
        name = st.text_input(
            "Its shop name", key=show.fresh("element name"), placeholder="for example direct clutch"
        )
        expected = st.text_input("What you expect to see there, if anything", key=show.fresh("expected"))
        pressed = st.form_submit_button("Add", width="stretch", key="add element")
    if pressed:
        with show.in_words():
            record.add_element(store, teardown.name, name, expectation=expected or None)
            here.go(teardown.name, name.strip())
            show.start_afresh()
            st.rerun()


def _give(store: record.Store, bench: Bench, name: ElementName) -> None:
    """Photos go to the disk as soon as they are here, and the field is empty again."""
    photos = st.file_uploader(
        "Photos of this pack or band, in position order from the apply piston on",
        type=PHOTO_TYPES,
        accept_multiple_files=True,
        key=show.fresh("photos"),
    )
    if photos:
        for photo in photos:
            tray.add_photo(store, name, photo.name, photo.getvalue())
        bench.wake(name)
        show.start_afresh()
        st.rerun()


def _phone(name: ElementName) -> None:
    """A QR code that opens the capture page of this element on a phone."""
    gate = the_gate()
    with st.expander("Take them with a phone"):
        if gate.address is None:
            st.info(ONLY_HERE)
            return
        key = f"ticket {name.teardown} {name.element}"
        if gate.ticket(st.session_state.get(key, "")) is None:
            st.session_state[key] = gate.new_ticket(name)
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
    """The photo of a clean plate: a new one, or one given for another element."""
    lying = tray.read_tray(store, name)
    title = f"Clean reference: {lying.reference.name}" if lying.reference else "Clean reference: none so far"
    with st.expander(plain(title), expanded=lying.reference is None):
        photo = st.file_uploader(
            "Photo of a clean plate of the same lining, if there is one",
            type=PHOTO_TYPES,
            key=show.fresh("clean"),
        )
        if photo:
            tray.set_reference(store, name, photo.name, photo.getvalue())
            show.start_afresh()
            bench.wake(name)
            st.rerun()
        others = _other_references(store, teardown, name)
        for n, other in enumerate(others):
            if st.button(plain(f"Use {other.name} again"), width="stretch", key=f"reference {n}"):
                tray.use_reference(store, name, other)
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
        tray.lay_out(store, name, replace(changed, kinds=None, positions=None))
        bench.wake(name)
        st.rerun()


def _watch(store: record.Store, bench: Bench, name: ElementName, stored: Grading | None) -> None:
    """What lies in the tray, kept up to date while the bench is at work or a phone adds to it."""

    @st.fragment(run_every=LOOK_AGAIN_S)
    def watched() -> None:
        with show.in_words():
            lying = tray.read_tray(store, name)
            if not lying.photos:
                st.info(HOW_TO)
                return
            _state(bench, lying, name)
            for number, photo in enumerate(lying.photos, start=1):
                _photo(store, bench, name, lying, number, photo, stored)

    lying = tray.read_tray(store, name)
    if lying.photos and lying.graded_as != bench.readable(lying).signature and bench.untouched(name):
        bench.wake(name)  # the program may have been stopped in between
    watched()


def _state(bench: Bench, lying: Tray, name: ElementName) -> None:
    """What the bench is doing, and how to have the pack graded now."""
    work = bench.work(name)
    readable = bench.readable(lying)
    done = sum(bench.seen(lying, photo) is not None for photo in lying.photos)
    if work.error:
        st.error(plain(work.error))
    if readable.photos and lying.graded_as == readable.signature:
        st.success(f"Graded and stored: {_count(len(readable.photos))}.")
        st.page_link(here.page("pack"), label="See the pack", width="stretch")
        return
    if work.doing:
        share = work.share if done == len(lying.photos) else done / len(lying.photos)
        st.progress(share, plain(f"{work.doing}. {done} of {len(lying.photos)} photos seen."))
    if st.button(
        "That is all: grade the pack",
        type="primary",
        width="stretch",
        key="grade",
        disabled=not readable.photos,
    ):
        bench.wake(name, now=True)


def _count(photos: int) -> str:
    return "one photo" if photos == 1 else f"{photos} photos"


def _photo(
    store: record.Store,
    bench: Bench,
    name: ElementName,
    lying: Tray,
    number: int,
    photo: GivenPhoto,
    stored: Grading | None,
) -> None:
    """One photo with what it shows, and what can be done with it."""
    seen = bench.seen(lying, photo)
    with st.container(border=True, key=f"photo {photo.sha256[:12]}"):
        left, right = st.columns([1, 2])
        if (overlay := _overlay(store, photo, seen, stored)) is not None:
            left.image(overlay, alt=told.alt_text(photo, seen), width="stretch")
        with right:
            st.markdown(f"**{number}. {plain(photo.name)}**")
            if seen is None:
                st.markdown("_waiting to be graded_")
            for kind, level in told.shown(seen):
                st.markdown(f"{kind}: **{plain(level)}**")
            again = told.to_change(seen)
            for line in again:
                st.warning(plain(line))
            with st.container(horizontal=True, gap="small"):
                _buttons(store, bench, name, lying, number, photo)
            if again:
                _retake(store, bench, name, photo)


def _overlay(
    store: record.Store, photo: GivenPhoto, seen: Seen | None, stored: Grading | None
) -> bytes | None:
    """The marked picture: the newest one, or the one that was stored with the pack."""
    if seen is not None and seen.overlay is not None:
        return seen.overlay
    if stored is not None and photo.sha256 in stored.overlays:
        return record.photo_bytes(store, stored.overlays[photo.sha256])
    return None


def _buttons(
    store: record.Store, bench: Bench, name: ElementName, lying: Tray, number: int, photo: GivenPhoto
) -> None:
    def move(by: int) -> None:
        layout = replace(lying.layout, order=tray.BY_HAND, hand=tray.moved(lying.photos, photo.sha256, by))
        _lay(store, bench, name, layout)

    def leave_out() -> None:
        tray.leave_out(store, name, photo.sha256)
        _lay(store, bench, name, lying.layout)

    key = photo.sha256[:12]
    st.button("Earlier", on_click=move, args=(-1,), disabled=number == 1, key=f"earlier {key}")
    st.button("Later", on_click=move, args=(1,), disabled=number == len(lying.photos), key=f"later {key}")
    st.button("Leave out", on_click=leave_out, key=f"out {key}")


def _lay(store: record.Store, bench: Bench, name: ElementName, layout: Layout) -> None:
    tray.lay_out(store, name, replace(layout, kinds=None, positions=None))
    bench.wake(name)


def _retake(store: record.Store, bench: Bench, name: ElementName, photo: GivenPhoto) -> None:
    """A field whose photo takes the place of one that could not be used."""
    taken = st.file_uploader("Take it again", type=PHOTO_TYPES, key=f"again {photo.sha256[:12]}")
    if taken is None:
        return
    tray.replace_photo(store, name, photo.sha256, taken.name, taken.getvalue())
    bench.wake(name)
    st.rerun()


page()
