"""The photos of a tray as they lie, what each shows, how far the grading is; kept up to date by itself."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from html import escape

import streamlit as st

from wearview import store as record
from wearview.record import Grading
from wearview.terms import how_many
from wearview.ui import again, here, pictures, show, told, tray
from wearview.ui.bench import Bench, Seen
from wearview.ui.photo_tools import ask_order
from wearview.ui.tray import ElementName, GivenPhoto, Layout, Tray
from wearview.ui.words import plain

HOW_TO = (
    "Lay the plates flat on a plain surface in the order of the pack, with a sheet of plain white paper in "
    "view, and take them whole in even light; on the bench mat that the page Shop prints, grades are surer. "
    "Add one photo of a clean plate of the same lining: without it, plates can at best be compared with each "
    "other."
)
NOT_HELD = (
    "These photos were graded before, but their grades are no longer in the record: its file was deleted, or "
    "an older one put in its place. Bring it back from a backup, with its verdicts, or grade the pack again."
)
BLIND = "Judged blind: what the photos show is told on the page Pack once your verdict is in."
LOOK_AGAIN_S, LOOK_SELDOM_S = 0.7, 5.0  # how often the page looks while the bench works, and for other phones


@dataclass(frozen=True, slots=True, eq=False)
class Watched:
    """A tray on the page.

    Attributes
    ----------
    store, bench, name : Store, Bench, ElementName
    blind : bool
        Whether grades are hidden until the verdict is in.
    gradings : tuple of Grading
        Those of the element that the record holds, oldest first, as they may be seen.
    """

    store: record.Store
    bench: Bench
    name: ElementName
    blind: bool
    gradings: tuple[Grading, ...]

    @property
    def stored(self) -> Grading | None:
        """The newest grading."""
        return self.gradings[-1] if self.gradings else None

    def holds(self, lying: Tray) -> bool:
        """Whether the record holds a grading of a tray's photos."""
        photos = {photo.sha256 for photo, _ in lying.views}
        return any(photos == {entry["sha256"] for entry in g.document["photos"]} for g in self.gradings)


def watch(at: Watched) -> None:
    """Show the tray, and go on showing what changes in it."""
    if at.bench.untouched(at.name):
        at.bench.wake(at.name)  # the program may have been stopped in between

    @st.fragment(run_every=LOOK_AGAIN_S if at.bench.work(at.name).doing else LOOK_SELDOM_S)
    def watched() -> None:
        with show.in_words():
            lying = tray.read_tray(at.store, at.name)
            at.bench.look(at.name, lying)
            _tray(at, lying)

    watched()


def _tray(at: Watched, lying: Tray) -> None:
    if not lying.photos:
        if error := at.bench.work(at.name).error:
            st.error(plain(error))
        st.info(HOW_TO)
        return
    _state(at, lying)
    if at.blind:
        st.info(BLIND)
    if len(lying.photos) > 1 and st.toggle("Drag the photos into another order", key="drag"):
        _order(at, lying)
        return
    several = len(lying.photos) > 1 and st.toggle(
        "Some parts are in more than one photo",
        value=bool(lying.again),
        key=f"again {at.name.teardown} {at.name.element}",
    )
    if several:
        _in_pairs(at, lying)
    for number, photo in enumerate(lying.photos, start=1):
        _photo(at, lying, number, photo, several=several)


def _state(at: Watched, lying: Tray) -> None:
    """What the bench is doing, and how to have the pack graded now."""
    work, readable = at.bench.work(at.name), at.bench.readable(lying)
    if work.error:
        st.error(plain(work.error))
    if readable.photos and lying.graded_as == readable.signature:
        if st.session_state.get("shown as") != lying.graded_as:
            st.session_state["shown as"] = lying.graded_as
            st.rerun()  # the whole page, with what was stored
        if at.holds(readable):
            st.success(f"Graded and stored: {how_many(len(readable.photos), 'photo')}.")
            st.page_link(here.page("pack"), label="See the pack", width="stretch")
        else:
            st.warning(NOT_HELD)
            if st.button("Grade the pack again", type="primary", width="stretch", key="grade again"):
                tray.note_lost(at.store, at.name)
                at.bench.wake(at.name, now=True)
                del st.session_state["shown as"]  # the same signature comes back, with a grading to show
                st.rerun()
        return
    if work.doing:
        st.progress(work.share, plain(work.doing))
    if st.button(
        "That is all: grade the pack",
        type="primary",
        width="stretch",
        key="grade",
        disabled=not readable.photos,
    ):
        at.bench.wake(at.name, now=True)


def _photo(at: Watched, lying: Tray, number: int, photo: GivenPhoto, *, several: bool) -> None:
    """One photo with what it shows, and what can be done with it; `several` lets it be a shot of others'
    parts."""
    second = lying.first_light(photo.sha256) is not None
    with st.container(border=True, key=f"photo {photo.sha256[:12]}"):
        left, right = st.columns([1, 2])
        with left:
            if second:
                _picture(pictures.address(pictures.PHOTO, photo.sha256), f"{photo.name}, the lamp moved")
            else:
                _seen(at, photo, at.bench.seen(lying, photo))
        with right:
            st.markdown(f"**{number}. {plain(photo.name)}**")
            now = told.told(at.bench, lying, photo, blind=at.blind)
            lines = now.shown or ([] if now.graded else ["waiting to be graded"])
            st.markdown("\n".join(f"- {plain(line)}" for line in lines))
            for line in now.change:
                st.warning(plain(line))
            if number > 1 and (several or photo.sha256 in lying.again):
                _beside(at, lying, number)
            with st.container(horizontal=True, gap="small"):
                _buttons(at, lying, number, photo)
            if now.again:
                _retake(at, photo)


def _seen(at: Watched, photo: GivenPhoto, seen: Seen | None) -> None:
    """The marked picture, small; judged blind the photo as it is, so that one knows which it is."""
    if (small := _small(at, photo, seen)) is not None:
        _picture(small, told.alt_text(photo, seen))
    elif at.blind and seen is not None and seen.document is not None:
        _picture(pictures.address(pictures.PHOTO, photo.sha256), photo.name)


def _picture(address: str, alt: str) -> None:
    """A picture that is sent when it is looked at, for forty go over the shop's network."""
    st.html(f'<img class="wv-small" loading="lazy" src="{address}" alt="{escape(alt, quote=True)}">')


def _small(at: Watched, photo: GivenPhoto, seen: Seen | None) -> str | None:
    """Where the small marked picture lies: the newest one, or the one that was stored with the pack."""
    if not at.blind and seen is not None and seen.overlay is not None:
        return pictures.address(pictures.NEW, seen.overlay)
    stored = at.stored.overlays.get(photo.sha256) if at.stored else None
    return None if stored is None else pictures.address(pictures.SMALL, stored)


def _order(at: Watched, lying: Tray) -> None:
    """The photos as a list whose rows are dragged."""
    photos = [(p.sha256, p.name, _small(at, p, at.bench.seen(lying, p))) for p in lying.photos]
    hand = ask_order(photos, f"order {at.name.teardown} {at.name.element}")
    if hand is not None and list(hand) != _order_of(lying):
        lay(at.store, at.bench, at.name, replace(lying.layout, order=tray.BY_HAND, hand=hand))
        st.rerun()


def _say_again(at: Watched, said: Mapping[str, again.Again]) -> None:
    tray.say_again(at.store, at.name, said)
    at.bench.wake(at.name)


def _in_pairs(at: Watched, lying: Tray) -> None:
    """Say of all photos at once that two and two show the same parts."""
    st.caption(
        "Shots of the same parts become one reading, which tells how well they agree; of two sides the worse "
        "one counts. With the phone at rest and only the lamp moved, two photos tell glaze from oil. Say it "
        "of single photos below, or of all at once:"
    )
    order = _order_of(lying)
    with st.container(horizontal=True, gap="small"):
        for what, label in (
            (again.SAME, "Always two shots of the same"),
            (again.TURNED, "Always both sides"),
            (again.RELIT, "Always the lamp moved"),
        ):
            st.button(
                label,
                on_click=_say_again,
                args=(at, again.in_pairs(order, what)),
                disabled=len(order) % 2 == 1,
                key=f"pairs {what}",
            )


def _beside(at: Watched, lying: Tray, number: int) -> None:
    """Ask what a photo shows beside the one before it."""
    order, sha256 = _order_of(lying), lying.photos[number - 1].sha256
    now = again.beside(order, lying.again, number - 1)
    # Told by its key what holds: a value set from here would take back a tap that comes while this runs.
    key = f"beside {sha256[:12]} {now}"

    def said() -> None:
        # Said of the photos as they lie by now: a tap may come while the page still shows what was.
        latest, wanted = tray.read_tray(at.store, at.name), st.session_state[key]
        if wanted != now and _order_of(latest)[:number] == order[:number]:
            _say_again(at, again.with_beside(_order_of(latest), latest.again, number - 1, wanted))

    st.segmented_control(
        f"Beside photo {number - 1} it shows",
        again.BESIDE,
        default=now,
        required=True,
        format_func=told.BESIDE.__getitem__,
        on_change=said,
        key=key,
        width="stretch",
    )


def _order_of(lying: Tray) -> list[str]:
    return [photo.sha256 for photo in lying.photos]


def _buttons(at: Watched, lying: Tray, number: int, photo: GivenPhoto) -> None:
    order = _order_of(lying)

    def move(by: int) -> None:
        hand = again.moved(order, lying.again, photo.sha256, by)
        lay(at.store, at.bench, at.name, replace(lying.layout, order=tray.BY_HAND, hand=hand))

    def leave_out() -> None:
        tray.leave_out(at.store, at.name, photo.sha256)
        at.bench.wake(at.name)

    key, called = photo.sha256[:12], plain(photo.name)
    parts = [one.parts for one in lying.shows]
    first, last = (parts[number - 1] == parts[end] for end in (0, -1))
    if len(order) > 1:
        st.button("Earlier", on_click=move, args=(-1,), disabled=first, key=f"earlier {key}", help=called)
        st.button("Later", on_click=move, args=(1,), disabled=last, key=f"later {key}", help=called)
    st.button("Leave out", on_click=leave_out, key=f"out {key}", help=called)


def lay(store: record.Store, bench: Bench, name: ElementName, layout: Layout) -> None:
    """Have photos lie otherwise."""
    tray.lay_otherwise(store, name, layout)
    bench.wake(name)


def _retake(at: Watched, photo: GivenPhoto) -> None:
    """A field whose photo takes the place of one that could not be used."""
    taken = show.ask_photo("Take it again", f"again {photo.sha256[:12]}")
    if taken is not None:
        tray.replace_photo(at.store, at.name, photo.sha256, taken.name, taken.getvalue())
        show.let_go([taken])
        at.bench.wake(at.name)
        st.rerun()
