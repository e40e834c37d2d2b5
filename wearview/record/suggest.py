"""What the shop's policy suggests for what was found. Nothing here changes a grade or gives a verdict."""

from collections.abc import Iterator
from dataclasses import dataclass

from wearview.policy import Policy
from wearview.record.history import Element, PartLine, part_lines
from wearview.record.verdict import PACK
from wearview.terms import FRESH, LINED_KINDS, POLICY_CASES, REACTION

# What a photo does not show and a hand does, before a coloured steel goes back in.
_FEEL = "Feel it first: a photo does not show scuffs, cone or thickness."


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A decision that the shop's policy suggests.

    Attributes
    ----------
    target : str
        A position as typed ("3", "3a"), or "pack".
    decision : str
        One of `terms.VERDICTS`.
    because : str
        What was found, which policy says so, and what to do first.
    policy : str
        Its id.
    """

    target: str
    decision: str
    because: str
    policy: str


def suggestions(element: Element, wish: str | None, policy: Policy) -> list[Suggestion]:
    """What the policy suggests for the newest grading of an element: for the pack first, then by position.

    Parameters
    ----------
    element : Element
        As a person may see it: a grade that is hidden suggests nothing.
    wish : str or None
        What the customer asked for.
    policy : Policy
    """
    lines = part_lines(element)
    return [*_on_pack(lines, wish, policy), *(s for line in lines for s in _on_part(line, policy))]


def _on_pack(lines: list[PartLine], wish: str | None, policy: Policy) -> Iterator[Suggestion]:
    fresh = wish is not None and wish.strip().casefold() == FRESH
    # "Cleanest here" is no clean pack: all of it may be darkened alike.
    clean = all(line.level == 0 and not line.part["grade"]["relative"] for line in lines)
    if lines and fresh and clean:
        yield from _suggested(PACK, "fresh_clean_pack", policy, "")


def _on_part(line: PartLine, policy: Policy) -> Iterator[Suggestion]:
    if not line.level:  # no heat shows, or it cannot be told
        return
    if line.part["kind"] in LINED_KINDS:
        yield from _suggested(line.label, "heated_lining", policy, "")
    elif line.part["kind"] == REACTION:
        yield from _suggested(line.label, "hot_reaction_plate", policy, _FEEL)
    elif line.part["heat_tint"]["hot_spots"]["count"]:
        yield from _suggested(line.label, "hot_spots", policy, _FEEL)
    else:
        yield from _suggested(line.label, "colour_smear", policy, _FEEL)


def _suggested(target: str, case: str, policy: Policy, first: str) -> Iterator[Suggestion]:
    decision = getattr(policy, case)
    if decision is not None:
        found = POLICY_CASES[case]
        because = f"{found[0].upper()}{found[1:]}: so the shop's {policy.id}. {first}".strip()
        yield Suggestion(target, decision, because, policy.id)
