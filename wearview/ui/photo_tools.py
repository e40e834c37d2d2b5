"""What only a browser can do with photos: slide between one and its heat map, tap rims or edges, drag."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import streamlit as st

from wearview.ui.said import Points

MARGIN, ROOM = 0.06, 0.25  # of the part's size, shown around it: to look at it, and to tap its lines


def show_plate(photo: str, marked: str | None, entry: dict[str, Any], part: dict[str, Any], alt: str) -> None:
    """Show one part of a photo, and its marked picture as far as the slider says.

    Parameters
    ----------
    photo : str
        Address of the upright photo.
    marked : str or None
        Address of its overlay, which may have a legend below; without one there is no slider.
    entry, part : dict
        The photo and the part in the document.
    alt : str
        What is to be seen, in words.
    """
    _component("slider")(
        data={
            "photo": photo,
            "marked": marked,
            "alt": alt,
            **_crop(entry, part, MARGIN),
        },
        key=f"plate {part['id']}",
    )


def _crop(entry: dict[str, Any], part: dict[str, Any] | None, share: float) -> dict[str, float]:
    """Where the part lies, in shares that CSS takes: how wide the whole photo is beside the part, where it
    begins, and the part's own shape; of the whole photo without a part."""
    if part is None:
        return {"wide": 1.0, "left": 0.0, "top": 0.0, "shape": entry["width"] / entry["height"]}
    xs, ys = zip(*part["outline"]["polygon"], strict=True)
    margin = share * max(max(xs) - min(xs), max(ys) - min(ys))
    left, top = max(0.0, min(xs) - margin), max(0.0, min(ys) - margin)
    width = min(entry["width"], max(xs) + margin) - left
    height = min(entry["height"], max(ys) + margin) - top
    return {
        "wide": entry["width"] / width,
        "left": left / width,
        "top": top / height,
        "shape": width / height,
    }


def _shapes(part: dict[str, Any]) -> Iterator[dict[str, list[Any]]]:
    """The lines by which a part was found: its rims, or the outline of a band."""
    outline = part["outline"]
    rims = [outline[name] for name in ("outer", "inner") if outline[name] is not None]
    for rim in rims:
        yield {"ellipse": [rim[name] for name in ("cx", "cy", "major", "minor", "angle_deg")]}
    if not rims:
        yield {"polygon": outline["polygon"]}


@dataclass(frozen=True, slots=True)
class Lines:
    """Which two lines are tapped on a part.

    Attributes
    ----------
    asks : tuple of str
        What to tap, line by line.
    where : str
        How the points lie on it.
    enough : int
        Points from which on a line can be fitted well.
    closed : bool
        Whether each line runs round the part; else its points are put in order from end to end.
    name, other : str
        What the lines are called, and the second one alone.
    """

    asks: tuple[str, str]
    where: str
    enough: int
    closed: bool
    name: str
    other: str


RIMS = Lines(
    ("Tap the outer rim of the lining or face, not the teeth", "Tap the inner rim of the lining or face"),
    "spread round it",
    5,
    True,
    "rims",
    "inner rim",
)
EDGES = Lines(
    ("Tap one long edge of the lining", "Tap the other long edge of the lining"),
    "at both ends and between, more where it bends",
    4,
    False,
    "edges",
    "other edge",
)


def ask_lines(
    asked: Lines, photo: str, entry: dict[str, Any], part: dict[str, Any] | None, alt: str, key: str
) -> tuple[Points, Points] | None:
    """Points that were tapped on the two lines of a part, once both are done.

    Parameters
    ----------
    asked : Lines
    photo : str
        Address of the upright photo.
    entry, part : dict, dict or None
        The photo and the part in the document; None for one that was not found: all of the photo is shown.
    alt, key : str
        What is to be seen, in words; the widget's key.

    Returns
    -------
    (points, points) or None
        In pixels of the upright full-size photo.
    """
    answer = _component("outline")(
        data={
            "photo": photo,
            "alt": alt,
            "ratio": entry["width"] / entry["height"],
            "steps": [
                {"ask": asked.asks[0], "next": f"Go on to the {asked.other}"},
                {"ask": asked.asks[1], "next": "Grade again with these"},
            ],
            "where": asked.where,
            "enough": asked.enough,
            "closed": asked.closed,
            "size": [entry["width"], entry["height"]],
            "found": [shape for other in entry["parts"] for shape in _shapes(other)],
            **_crop(entry, part, ROOM),
        },
        key=key,
        on_lines_change=lambda: None,
    )
    if not answer.lines:
        return None

    def in_photo(shares: list[list[float]]) -> Points:
        return tuple((x * entry["width"] - 0.5, y * entry["height"] - 0.5) for x, y in shares)

    first, second = answer.lines
    return in_photo(first), in_photo(second)


def ask_order(photos: Sequence[tuple[str, str, str | None]], key: str) -> tuple[str, ...] | None:
    """The order in which photos were put by hand; None until they are moved.

    Parameters
    ----------
    photos : sequence of (id, name, address or None)
        As they lie, with the address of a small picture where there is one.
    key : str
        The widget's key.

    Returns
    -------
    tuple of str or None
        The ids.
    """
    answer = _component("order")(
        data={"photos": [{"id": i, "name": name, "picture": picture} for i, name, picture in photos]},
        key=key,
        on_order_change=lambda: None,
    )
    return tuple(answer.order) if answer.order else None


@cache
def _component(name: str) -> Any:
    """The component whose files begin with a name."""
    folder = files("wearview") / "templates"
    html, css, js = ((folder / f"{name}.{ending}").read_text("utf-8") for ending in ("html", "css", "js"))
    return st.components.v2.component(f"wearview_{name}", html=html, css=css, js=js)
