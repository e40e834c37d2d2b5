"""The contract's terms as reports and pages write them, each once."""

from typing import Any

DECISIONS = {
    "reuse": "reuse",
    "replace": "replace",
    "resurface": "resurface",
    "leave": "leave in",
    "unsure": "undecided",
}
DONE = {
    "replace": "Replaced",
    "reuse": "Left in (reused)",
    "leave": "Left in",
    "resurface": "Left in (resurfaced)",
    "unsure": "Not decided",
}
REASONS = {
    "heat": "heat",
    "wear": "wear",
    "age": "age",
    "wish": "customer's wish",
    "policy": "shop policy",
    "unavailable": "part not available",
    "other": "other reason",
}
LIGHTS = {
    "mat": "printed mat",
    "chart": "colour chart",
    "card": "grey card",
    "paper": "white paper",
    "metal": "bare metal of the part",
    "reference": "the reference photo",
    "none": "nothing of known colour",
}
PATTERNS = {
    "reaction end": "Heat lies towards the reaction end.",
    "apply end": "Heat lies towards the apply end.",
    "middle": "Heat lies in the middle of the pack.",
    "whole pack": "Heat shows through the whole pack.",
    "single plate": "Heat shows on a single plate.",
    "one side": "Heat shows on one side of the plates.",
    "none": "No plate shows heat in its photo.",
    "cannot tell": "The photos do not tell where heat lies.",
}
CLEANEST_ONLY = "compared with the cleanest plate only"
NO_VERDICT = "no verdict given"


def level_words(level: int | None, name: str | None) -> str:
    """A heat level as tables write it: "Level 3: burnt", or "Cannot tell"."""
    return "Cannot tell" if level is None else f"Level {level}: {name}"


def places(labels: tuple[str, ...]) -> str:
    """Positions by their labels: "position 3", "positions 1, 2"."""
    return f"position{'s' if len(labels) > 1 else ''} {', '.join(labels)}"


def reference_words(reference: dict[str, Any], file: str | None) -> str:
    """What the linings of a document were compared with.

    Parameters
    ----------
    reference : dict
        The document's.
    file : str or None
        Its photo's name as it may be shown.
    """
    match reference["source"]:
        case "photo":
            return "Compared with a photo of clean lining" + (f" ({file})" if file else "")
        case "library":
            return f"Compared with the stored lining colour {reference['lining']}"
        case "cleanest part":
            return "Compared with the cleanest plate only: levels are relative to it"
        case _:
            return "There was no clean lining to compare with"
