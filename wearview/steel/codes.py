"""Colour family of a pixel by its own colour, with codes for what colour alone leaves open."""

import numpy as np
from numpy.typing import NDArray

from wearview.ranks import quantile
from wearview.reading import MIN_PIXELS
from wearview.settings import Span, Tints
from wearview.steel.bare import Bare
from wearview.terms import TINTS

Codes = NDArray[np.uint8]

BARE, STRAW, BROWN, PURPLE, BLUE, GREY, OTHER = range(len(TINTS))
# PALE is bluish and weak: grey blue, or the edge of a blue. GREEN, RUST and DULL (brown) may be oxide or not.
PALE, GREEN, RUST, DULL, UNSEEN, OFF_FACE = range(len(TINTS), len(TINTS) + 6)
N_CODES = len(TINTS) + 6


def tint_codes(lab: NDArray[np.floating], bare: Bare, pale_limit: float, tints: Tints) -> Codes:
    """Colour family of each pixel by its own colour, shape (...), with codes for what it alone cannot tell.

    Parameters
    ----------
    lab : ndarray, shape (..., 3)
    bare : Bare
    pale_limit : float
        Chroma under which blue is pale.
    tints : Tints
    """
    bare_l, bare_a, bare_b = bare.lab
    # An error of the light is a factor: its a*, b* shrink with the cube root of the light, as L* + 16 does.
    scale = (lab[..., 0] + np.float32(16)) / np.float32(bare_l + 16)
    a = lab[..., 1] - np.float32(bare_a) * scale
    b = lab[..., 2] - np.float32(bare_b) * scale
    chroma = np.hypot(a, b)
    hue = np.degrees(np.arctan2(b, a)) % np.float32(360)
    darkness = 1 - lab[..., 0] / np.float32(bare_l)

    codes = np.full(chroma.shape, GREEN, dtype=np.uint8)
    for code, span in (
        (STRAW, tints.straw),
        (BROWN, tints.brown),
        (PURPLE, tints.purple),
        (BLUE, tints.blue),
    ):
        codes[_within(hue, span)] = code
    dull = _within(hue, tints.dull) & (
        darkness > tints.other_darkness_least + tints.other_darkness_per_chroma * chroma
    )
    rusty = (chroma > tints.rust_chroma) & (darkness < tints.rust_darkness_per_chroma * chroma)
    codes[rusty & (codes == BROWN)] = RUST
    codes[(codes == BLUE) & (chroma < pale_limit)] = PALE
    codes[dull] = DULL
    neutral = chroma < tints.least_chroma
    if bare.weak_light:
        # Purple and blue oxide are dark: what is light and faintly blue is bare metal under a bluish lamp.
        cast = (chroma < tints.cast_chroma) & (darkness < tints.cast_darkness)
        neutral |= cast & np.isin(codes, (PURPLE, BLUE, PALE, GREEN))
    codes[neutral] = BARE
    codes[neutral & (darkness > tints.other_neutral_darkness)] = OTHER
    return codes


def _within(hue: NDArray[np.floating], span: Span) -> NDArray[np.bool_]:
    first, last = span
    if first < last:
        return np.asarray((hue >= first) & (hue < last))
    return np.asarray((hue >= first) | (hue < last))


def pale_below(lab: NDArray[np.float32], bare: Bare, tints: Tints) -> float:
    """Chroma under which this plate's blue counts as pale: a rough plate's tints are weaker throughout."""
    blue = lab[tint_codes(lab, bare, 0.0, tints) == BLUE]
    low, high = tints.pale_chroma
    if len(blue) < MIN_PIXELS:
        return low
    chroma = np.hypot(blue[:, 1] - bare.lab[1], blue[:, 2] - bare.lab[2])
    return float(np.clip(tints.pale_share * quantile(chroma, 0.95), low, high))
