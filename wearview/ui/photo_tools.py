"""What only a browser can do with a photo: slide between it and its heat map, and tap a rim on it."""

from functools import cache
from importlib.resources import files
from typing import Any

import streamlit as st

from wearview.ui.tray import Points

MARGIN, ROOM = 0.06, 0.25  # of the part's size, shown around it: to look at it, and to tap its rims


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


def ask_rims(
    photo: str, entry: dict[str, Any], part: dict[str, Any] | None, alt: str, key: str
) -> tuple[Points, Points] | None:
    """Points that were tapped on the outer and the inner rim of a part, once both are done.

    Parameters
    ----------
    photo : str
        Address of the upright photo.
    entry, part : dict, dict or None
        The photo and the part in the document; None for one that was not found: all of the photo is shown.
    alt, key : str
        What is to be seen, in words; the widget's key.

    Returns
    -------
    (outer, inner) or None
        In pixels of the upright full-size photo.
    """
    answer = _component("rims")(
        data={
            "photo": photo,
            "alt": alt,
            "ratio": entry["width"] / entry["height"],
            **_crop(entry, part, ROOM),
        },
        key=key,
        on_rims_change=lambda: None,
    )
    if not answer.rims:
        return None

    def in_photo(shares: list[list[float]]) -> Points:
        return tuple((x * entry["width"] - 0.5, y * entry["height"] - 0.5) for x, y in shares)

    return in_photo(answer.rims["outer"]), in_photo(answer.rims["inner"])


@cache
def _component(name: str) -> Any:
    """The component whose files begin with a name."""
    folder = files("wearview") / "templates"
    html, css, js = ((folder / f"{name}.{ending}").read_text("utf-8") for ending in ("html", "css", "js"))
    return st.components.v2.component(f"wearview_{name}", html=html, css=css, js=js)
