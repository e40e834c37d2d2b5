"""The pack by position: look at it, tap a plate, decide, put right what was found wrongly."""

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from wearview import store as record
from wearview.record import PACK, Element, Grading, PartLine, Teardown, part_lines
from wearview.report.pictures import screen_picture
from wearview.report.words import DECISIONS, PATTERNS, level_words
from wearview.report.words import REASONS as REASON_WORDS
from wearview.terms import BAND, KINDS, LINING_LEVELS, REASONS, STEEL_LEVELS, VERDICTS
from wearview.ui import here, show, tray
from wearview.ui.slider import show_plate
from wearview.ui.tray import ElementName
from wearview.ui.words import job_html, pack_html, parts_html, plain, plate_html, plate_style, said_html

NO_REASON = "no reason given"


def page() -> None:
    """Choose the element, see it by position, decide."""
    st.title("Pack")
    show.told()
    with show.in_words():
        store = here.open_record()
        teardown = here.teardown_here(store)
        if teardown is None:
            return
        show.html(job_html(teardown))
        element = here.element_here(teardown)
        if element is None or element.latest is None:
            st.info("Nothing is graded here so far. Give the photos of this clutch or brake first.")
            st.page_link(here.page("photos"), label="Give photos", width="stretch")
            return
        _element(store, teardown, element, element.latest)


def _element(store: record.Store, teardown: Teardown, element: Element, grading: Grading) -> None:
    lines = part_lines(element)
    pack = grading.document["pack"]
    if pack is not None:
        st.subheader(PATTERNS[pack["pattern"]])
    show.html(said_html(element))
    chosen = _row(lines)
    if chosen is not None:
        left, right = st.columns([3, 2], gap="large")
        with left:
            _plate_picture(store, grading, chosen)
        with right:
            st.subheader(plain(f"Position {chosen.label}: {chosen.part['kind']}"))
            show.html(plate_html(chosen, grading.document["reference"]))
    _decide(store, teardown, element, chosen)
    show.html(pack_html(grading.document, lines))
    with st.expander("All parts in a table"):
        show.html(parts_html(lines, with_verdicts=True))
    _correct(store, here.named(teardown, element), lines)


def _row(lines: list[PartLine]) -> PartLine | None:
    """The parts as a row of buttons from the apply end on; the one that was tapped, else the worst."""
    if not lines:
        return None
    by_id = {line.part["id"]: line for line in lines}
    if st.session_state.get("plate") not in by_id:
        worst = max(lines, key=lambda line: -1 if line.level is None else line.level)
        st.session_state["plate"] = worst.part["id"]
    chosen = by_id[st.session_state["plate"]]
    in_a_row = not any(line.part["kind"] == BAND for line in lines)
    st.html(f"<style>{plate_style(lines, chosen)}</style>")
    with st.container(horizontal=True, gap="small", key="plates", vertical_alignment="center"):
        if in_a_row:
            st.html('<p class="wv wv-end">apply end<br>(piston)</p>', width="content")
        for line in lines:
            name = "cannot tell" if line.level is None else line.part["grade"]["name"]
            st.button(
                f"**{line.label}**  \n{plain(name)}",
                key=f"plate-{line.part['id']}",
                help=None,
                on_click=st.session_state.update,
                kwargs={"plate": line.part["id"]},
            )
        if in_a_row:
            st.html('<p class="wv wv-end">reaction end<br>(snap ring)</p>', width="content")
    return chosen


def _plate_picture(store: record.Store, grading: Grading, line: PartLine) -> None:
    sha256 = line.photo["sha256"]
    if sha256 not in grading.overlays:
        st.info("No marked picture was kept of this photo.")
        return
    marked = record.photo_bytes(store, grading.overlays[sha256])
    alt = f"Position {line.label}, {line.part['kind']}: {level_words(line.level, _name(line))}."
    show_plate(_screen(sha256, store, line.photo["file"]), marked, line.photo, line.part, alt)
    st.caption("Slide between the photo and the marked picture.")


@st.cache_data(max_entries=64, show_spinner=False)
def _screen(sha256: str, _store: record.Store, _name: str) -> bytes:
    return screen_picture(record.photo_bytes(_store, sha256), _name)


def _name(line: PartLine) -> str | None:
    return line.part["grade"]["name"] if line.part["grade"] else None


def _decide(store: record.Store, teardown: Teardown, element: Element, chosen: PartLine | None) -> None:
    """A verdict in two taps, the decision and its reason, on the tapped plate or on the whole pack."""
    st.subheader("Your verdict")
    targets = [*([chosen.label] if chosen else []), PACK]
    target = st.segmented_control(
        "On",
        targets,
        default=targets[0],
        format_func=lambda t: "the whole pack" if t == PACK else f"position {t}",
        required=True,
        key=f"target {element.name} {targets[0]}",
    )
    with st.expander("Your own heat level, a note, a part outside the pack"):
        heat = st.pills(
            "Your own heat level", range(len(LINING_LEVELS)), format_func=_heat, key=show.fresh("heat")
        )
        note = st.text_area("Note, in your own words", key=show.fresh("note"))
        named = st.text_input(
            "On a part outside the pack instead, by name (a drum, a pump)", key=show.fresh("named")
        )
        by = st.text_input("By", st.session_state.get("by", ""), key="by typed")
        st.session_state["by"] = by
    with st.container(horizontal=True, gap="small", key="verdicts"):
        for decision in VERDICTS:
            reason = st.menu_button(
                DECISIONS[decision].capitalize(),
                [*REASONS, NO_REASON],
                format_func=lambda r: REASON_WORDS.get(r, r),
                key=f"verdict {decision}",
                width="stretch",
            )
            if reason is None:
                continue
            on = named.strip() or str(target)
            record.add_verdict(
                store,
                teardown.name,
                element.name,
                on,
                decision,
                heat=heat,
                reason=None if reason == NO_REASON else reason,
                by=by or None,
                note=note or None,
            )
            where = "the whole pack" if on == PACK else on if named.strip() else f"position {on}"
            show.tell(f"Stored: {where}: {DECISIONS[decision]}.")
            show.start_afresh()
            st.rerun()


def _heat(level: int) -> str:
    """A level in the words of both tables."""
    return f"{level} {LINING_LEVELS[level]} / {STEEL_LEVELS[level]}"


def _correct(store: record.Store, name: ElementName, lines: Sequence[PartLine]) -> None:
    """Kinds and positions as a person puts them; the pack is then graded again."""
    lying = tray.read_tray(store, name)
    with st.expander("A kind or a position is wrong"):
        if [photo.sha256 for photo in lying.photos] != list(
            dict.fromkeys(line.photo["sha256"] for line in lines)
        ):
            st.info("The photos were changed since: have the pack graded first, on the page Photos.")
            return
        with st.form("correct", border=False):
            kinds, positions = [], []
            for line in lines:
                left, right = st.columns(2)
                part = line.part
                key = f"{part['id']} {part['position']} {part['kind']}"
                positions.append(
                    left.number_input(
                        f"Position of {line.label}", 1, 999, part["position"], key=f"position {key}"
                    )
                )
                kinds.append(
                    right.selectbox(
                        f"Kind of {line.label}", KINDS, KINDS.index(part["kind"]), key=f"kind {key}"
                    )
                )
            pressed = st.form_submit_button("Grade again with these", width="stretch", key="correct parts")
        if pressed:
            layout = replace(lying.layout, kinds=tuple(kinds), positions=tuple(positions))
            tray.lay_out(store, name, layout)
            bench = here.the_bench()
            bench.wake(name, now=True)
            with st.spinner("Grading again"):
                bench.wait()
            if error := bench.work(name).error:
                st.error(plain(error))
            else:
                st.rerun()


page()
