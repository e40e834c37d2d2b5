"""How the grades and the technicians' own heat levels agree, over the whole record."""

from collections.abc import Sequence
from typing import Any

import streamlit as st

from wearview import store as record
from wearview.agreement import (
    LEAST_PAIRS,
    NOTES,
    SCHEME,
    Rated,
    agree,
    agree_by,
    by_sight,
    by_technician,
    decisions,
    most_apart,
)
from wearview.report.templates import templates
from wearview.ui import here, show
from wearview.ui.plots import kappa_svg, kappa_words, levels_svg
from wearview.ui.words import plain

EMPTY = (
    "Nothing to compare so far. Give your own heat level with a verdict on the page Pack, best before you "
    "look at the grade: then you see here how the two agree."
)


def page() -> None:
    """Figures, drawings, and what to look at together."""
    st.title("Agreement")
    with show.in_words():
        parts = record.rated_parts(here.open_record())
        if not any(part.pair for part in parts):
            st.info(EMPTY)
        else:
            _levels(parts)
            _over_time(parts)
            _apart(parts)
        if parts:
            _decisions(parts)


def _levels(parts: Sequence[Rated]) -> None:
    whole = agree(parts)
    st.caption(f"Kappa: 1 is full agreement, 0 what chance gives ({SCHEME}).")
    show.html(_pieces().figures("Given", {"all": whole, **agree_by(parts, by_sight)}, LEAST_PAIRS))
    for note in whole.notes:
        st.caption(NOTES[note])
    st.caption(
        "A level given with the grade in sight is pulled towards it; the blind ones are the honest figure."
    )
    st.subheader("Level graded beside your own")
    with st.container(key="levels-plot"):
        st.image(levels_svg(whole), alt=_levels_words(whole.counts.tolist()), width=460)


def _levels_words(counts: list[list[int]]) -> str:
    told = [
        f"graded {level} and seen {seen}: {n}"
        for level, row in enumerate(counts)
        for seen, n in enumerate(row)
        if n
    ]
    return f"Parts by the level graded and the technician's own. {', '.join(told)}."


def _over_time(parts: Sequence[Rated]) -> None:
    st.subheader("Over time, by technician")
    if svg := kappa_svg(parts):
        with st.container(key="kappa-plot"):
            st.image(svg, alt=kappa_words(parts), width="stretch")
    else:
        st.caption(f"Drawn from the first quarter on that has {LEAST_PAIRS} parts with both levels.")
    if people := agree_by(parts, by_technician):
        show.html(_pieces().figures("Technician", people, LEAST_PAIRS))


def _apart(parts: Sequence[Rated]) -> None:
    if not (apart := most_apart(parts)):
        return
    st.subheader("Farthest apart, to look at together")
    for part in apart:
        by = f" ({part.by})" if part.by else ""
        label = f"{part.pack}, position {part.position}: graded {part.level}, seen {part.heat}{by}"
        if st.button(plain(label), width="stretch", key=f"apart {part.pack} {part.part_id}"):
            here.go(part.teardown, part.element)
            st.session_state["plate"] = part.part_id
            st.switch_page(here.page("pack"))


def _decisions(parts: Sequence[Rated]) -> None:
    st.subheader("Decisions beside grades")
    st.caption("No measure of agreement: a clean plate may be replaced because the customer wants it fresh.")
    show.html(_pieces().decided(decisions(parts)))


def _pieces() -> Any:
    return templates().get_template("agreement.html").module


page()
