"""How grades and the technicians' own heat levels agree over the whole record, and how one lining fares."""

from typing import Any

import streamlit as st

from wearview import store as record
from wearview.agreement import (
    LEAST_PAIRS,
    NOTES,
    SCHEME,
    SIGHT,
    TECHNICIAN,
    Counted,
)
from wearview.record import LEAST_PACKS, LEAST_PLATES
from wearview.report.templates import templates
from wearview.ui import here, show
from wearview.ui.plots import heat_svg, heat_words, kappa_drawing, kappa_words, levels_svg
from wearview.ui.words import drawing_html, plain

# px for a unit of the drawing: its numbers are 12 px high at the least, and it is no poster.
KAPPA_SCALE = (6 / 7, 1.2)

EMPTY = (
    "Nothing to compare so far. Give your own heat level with a verdict on the page Pack, best before you "
    "look at the grade: then you see here how the two agree."
)


def page() -> None:
    """Figures, drawings, and what to look at together."""
    st.title("Agreement")
    with show.in_words():
        counted = record.counted(here.open_record())
        if counted.whole.n:
            _levels(counted)
            _over_time(counted)
            _apart(counted)
        else:
            st.info(EMPTY)
        if counted.judged:
            _decisions(counted)
        _followed(here.open_record())


def _levels(counted: Counted) -> None:
    whole = counted.whole
    st.caption(f"Kappa: 1 is full agreement, 0 what chance gives ({SCHEME}).")
    show.html(_pieces().figures("Given", {"all": whole, **counted.by(SIGHT)}, LEAST_PAIRS))
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


def _over_time(counted: Counted) -> None:
    st.subheader("Over time, by technician")
    if drawn := kappa_drawing(counted):
        least, most = (round(share * drawn.width) for share in KAPPA_SCALE)
        st.html(drawing_html(drawn.svg, "Kappa by quarter", kappa_words(counted), least, most))
    else:
        st.caption(f"Drawn from the first quarter on that has {LEAST_PAIRS} parts with both levels.")
    if people := counted.by(TECHNICIAN):
        show.html(_pieces().figures("Technician", people, LEAST_PAIRS))


def _apart(counted: Counted) -> None:
    if not counted.apart:
        return
    st.subheader("Farthest apart, to look at together")
    for part in counted.apart:
        by = f" ({part.by})" if part.by else ""
        label = f"{part.pack}, position {part.position}: graded {part.level}, seen {part.heat}{by}"
        if st.button(plain(label), width="stretch", key=f"apart {part.pack} {part.part_id}"):
            here.go(part.teardown, part.element)
            st.session_state["plate"] = part.part_id
            st.switch_page(here.page("pack"))


def _decisions(counted: Counted) -> None:
    st.subheader("Decisions beside grades")
    st.caption("No measure of agreement: a clean plate may be replaced because the customer wants it fresh.")
    show.html(_pieces().decided(counted.decisions))


def _followed(store: record.Store) -> None:
    """One lining over all units of the shop."""
    names = record.lining_names(store)
    if not names:
        return
    st.subheader("One lining over all units")
    name = st.selectbox("Lining", names, index=None, placeholder="choose", key="followed lining")
    if name is None:
        return
    found = record.followed(store, name)
    if svg := heat_svg(found):
        with st.container(key="heat-plot"):
            st.image(svg, alt=heat_words(found), width=560)
    show.html(_pieces().followed(found, LEAST_PLATES, LEAST_PACKS))


def _pieces() -> Any:
    return templates().get_template("agreement.html").module


page()
