"""The pack by position: look at it, tap a plate, decide, put right what was found wrongly, look back."""

import streamlit as st

from wearview import store as record
from wearview.policy import load_policy
from wearview.record import (
    HIDDEN,
    PACK,
    Element,
    Grading,
    PartLine,
    Suggestion,
    Teardown,
    compare,
    miscount,
    part_lines,
    suggestions,
    unexpected_heat,
)
from wearview.report.words import (
    DECISIONS,
    PATTERNS,
    gap_words,
    heat_news,
    line_words,
    order_words,
    profile_caption,
)
from wearview.terms import BAND, GAP
from wearview.ui import here, pictures, show
from wearview.ui.correct import correct
from wearview.ui.decide import decide
from wearview.ui.head import on_teardown
from wearview.ui.photo_tools import show_plate
from wearview.ui.words import (
    pack_html,
    parts_html,
    plain,
    plate_html,
    plate_style,
    profile_html,
    row_html,
    said_html,
    suggested_html,
    then_and_now_html,
)


def _page(store: record.Store, teardown: Teardown) -> None:
    """Choose the element, see it by position, decide."""
    element = here.element_here(teardown)
    if element is None or element.latest is None:
        _nothing_yet(element)
        return
    _element(store, teardown, element, element.latest)


def _nothing_yet(element: Element | None) -> None:
    bench = here.the_bench()
    name = here.name_here()
    if element is not None and name is not None and bench.work(name).doing:
        _wait_for_it()
        return
    st.info("Nothing is graded here so far. Give the photos of this clutch or brake first.")
    st.page_link(here.page("photos"), label="Give photos", width="stretch")


@st.fragment(run_every=1.5)
def _wait_for_it() -> None:
    """Tell how far the grading is, and show the pack as soon as it is there."""
    name = here.name_here()
    work = here.the_bench().work(name) if name else None
    if work is None or not work.doing:
        st.rerun()
    else:
        st.progress(work.share, plain(work.doing))


def _element(store: record.Store, teardown: Teardown, element: Element, grading: Grading) -> None:
    lines = part_lines(element)
    pack = grading.document["pack"]
    if pack is not None:
        st.subheader(PATTERNS[pack["pattern"]])
    if hot := unexpected_heat(element):
        st.warning(heat_news(tuple(line.label for line in hot)))
    gaps = gap_words(line.label for line in lines if GAP in line.part["problems"])
    for said in (*order_words(grading.document), *gaps):
        st.warning(said)
    if wrong := miscount(element):
        st.warning(wrong)
    show.html(said_html(element))
    if not lines:
        show.html(pack_html(grading.document, lines))  # why there is no part to tap
    _plate(store, teardown, element, grading, lines)
    if profile := profile_html(lines, element.name, _profile_words(lines)):
        show.html(profile)
        st.caption(profile_caption(line.part["kind"] for line in lines if line.level is not None))
    if lines:
        show.html(pack_html(grading.document, lines))
    # Not in an expander: what one hides is made and sent all the same, at every tap.
    if lines and st.toggle("All parts in a table", key="table"):
        show.html(parts_html(lines, element.pack_verdicts))
    _earlier(store, teardown, element, lines)


@st.fragment
def _plate(
    store: record.Store, teardown: Teardown, element: Element, grading: Grading, lines: list[PartLine]
) -> None:
    """All that changes with the plate that is tapped, and runs again alone: the row, the plate, the verdict,
    what was found wrongly."""
    chosen = _row(lines)
    if chosen is not None:
        left, right = st.columns([3, 2], gap="medium")
        with left:
            _picture(grading, chosen)
        with right:
            st.subheader(plain(f"Position {chosen.label}: {chosen.part['kind']}"))
            show.html(plate_html(chosen, grading.document["reference"]))
    with show.in_words():
        show.html(suggested_html(_suggested(teardown, element, chosen)))
        decide(store, teardown, element, chosen)
        wrong = st.toggle("Something was found wrongly", key="wrong")
        if wrong and not teardown.closed:
            correct(store, here.named(teardown, element), grading.document["photos"], lines, chosen)


def _suggested(teardown: Teardown, element: Element, chosen: PartLine | None) -> list[Suggestion]:
    """What the shop's policy suggests for the pack and the tapped plate."""
    wanted = (PACK, chosen.label if chosen else PACK)
    found = suggestions(element, teardown.wish, load_policy())
    return [suggestion for suggestion in found if suggestion.target in wanted]


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
            st.button(
                _label(line),
                key=f"plate-{line.part['id']}",
                on_click=st.session_state.update,
                kwargs={"plate": line.part["id"]},
            )
        if in_a_row:
            st.html('<p class="wv wv-end">reaction end<br>(snap ring)</p>', width="content")
    return chosen


def _label(line: PartLine) -> str:
    """Position, heat level in words and, once there is one, the verdict."""
    decided = f"  \n_{DECISIONS[line.verdict.decision]}_" if line.verdict else ""
    return f"**{line.label}**  \n{plain(_short(line))}{decided}"


def _short(line: PartLine) -> str:
    if HIDDEN in line.part["problems"]:
        return "decide first"
    return line.part["grade"]["name"] if line.part["grade"] else "cannot tell"


def _picture(grading: Grading, line: PartLine) -> None:
    """The plate's photo, and its marked picture under a slider where there is one that may be seen."""
    photo = pictures.address(pictures.PHOTO, line.photo["sha256"])
    kept = grading.overlays.get(line.photo["sha256"])
    marked = kept and pictures.address(pictures.MARKED, kept)
    alt = f"Position {line.label}, {line.part['kind']}: {line_words(line)}."
    show_plate(photo, marked, line.photo, line.part, alt)
    if marked:
        st.caption("Slide between the photo and the marked picture.")


def _profile_words(lines: list[PartLine]) -> str:
    told = ", ".join(f"{line.label}: {_short(line)}" for line in lines)
    return f"Heat score by position from the apply end on. {told}."


def _earlier(store: record.Store, teardown: Teardown, element: Element, lines: list[PartLine]) -> None:
    """The same element in earlier teardowns of this unit, then and now."""
    pairs = [
        pair
        for then in record.earlier_teardowns(store, teardown.name)
        for pair in compare(then, teardown)
        if pair.now is element and pair.then.latest is not None
    ]
    if not pairs:
        return
    st.subheader("Then and now")
    st.caption("Earlier teardowns with this serial number.")
    with st.container(border=True):
        st.markdown(f"**Now: {plain(teardown.name)}**")
        show.html(row_html(lines))
    for pair in pairs:
        with st.container(border=True):
            st.markdown(f"**{plain(pair.earlier.name)}**")
            show.html(row_html(part_lines(pair.then)))
            show.html(then_and_now_html(pair, teardown))


on_teardown("Pack", _page)
