"""The technician's verdict in two taps: the decision, then its reason."""

import streamlit as st

from wearview import store as record
from wearview.record import PACK, Element, PartLine, Teardown
from wearview.report.words import DECISIONS
from wearview.report.words import REASONS as REASON_WORDS
from wearview.terms import BAND, LINING_LEVELS, REASONS, STEEL_LEVELS, VERDICTS
from wearview.ui import show
from wearview.ui.head import offer_reopening
from wearview.ui.words import decided_html

VERDICT = "Your verdict"
NO_REASON = "no reason given"
# Streamlit forgets what was typed in a field that another page does not draw.
BY = "by"


def decide(store: record.Store, teardown: Teardown, element: Element, chosen: PartLine | None) -> None:
    """Ask for a verdict on the tapped plate, on the whole pack, or on a part by its name, and store it."""
    st.subheader(VERDICT)
    with st.container():  # there at every run: what opens below it would fold when the words go
        show.told(VERDICT)
    if teardown.closed:
        offer_reopening(store, teardown)
        return
    if chosen is not None:
        st.html(decided_html(chosen, element.pack_verdicts))
    target = _target(element, chosen)
    with st.expander("Your own heat level, a note, your name, a part outside the pack"):
        heat = st.pills(
            "Your own heat level", range(len(LINING_LEVELS)), format_func=_heat, key=show.fresh("heat")
        )
        note = st.text_area("Note, in your own words", key=show.fresh("note"))
        named = st.text_input(
            "On a part outside the pack instead, by name (a drum, a pump)", key=show.fresh("named")
        )
        by = st.text_input("By", st.session_state.get(BY, ""), key="by typed")
        st.session_state[BY] = by
    with st.container(horizontal=True, gap="small", key="verdicts"):
        for decision in VERDICTS:
            reason = st.menu_button(
                DECISIONS[decision].capitalize(),
                [*REASONS, NO_REASON],
                format_func=lambda reason: REASON_WORDS.get(reason, reason),
                key=f"verdict {decision}",
                width="stretch",
            )
            if reason is None:
                continue
            record.add_verdict(
                store,
                teardown.name,
                element.name,
                named.strip() or target,
                decision,
                heat=heat,
                reason=None if reason == NO_REASON else reason,
                by=by or None,
                note=note or None,
            )
            show.tell(f"Stored: {named.strip() or _where(target)}: {DECISIONS[decision]}.", place=VERDICT)
            show.start_afresh()
            st.rerun()


def _target(element: Element, chosen: PartLine | None) -> str:
    """The tapped plate or the whole pack; of a band there is none."""
    if chosen is not None and chosen.part["kind"] == BAND:
        return chosen.label
    targets = [*([chosen.label] if chosen else []), PACK]
    picked = st.segmented_control(
        "On",
        targets,
        default=targets[0],
        format_func=_where,
        required=True,
        key=f"target {element.name} {targets[0]}",
    )
    return str(picked)


def _where(target: str) -> str:
    return "the whole pack" if target == PACK else f"position {target}"


def _heat(level: int) -> str:
    """A level in the words of both tables."""
    return f"{level} {LINING_LEVELS[level]} / {STEEL_LEVELS[level]}"
