"""A photo's linings looked at again in a second photo, for which only the lamp was moved."""

import math
from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.colour import lab_to_linear
from wearview.light import Light, known_colours, match_light
from wearview.lining import Relit
from wearview.look import light_of
from wearview.pair import lay_onto, light_change, moved_shine
from wearview.parts import Part
from wearview.photo import Photo
from wearview.quality import judge
from wearview.reading import MIN_PIXELS
from wearview.settings import Settings
from wearview.surface import Face, Rectified, rectify, take_face
from wearview.surface.shared_grain import read_shared_grain
from wearview.surface.texture import read_fibres
from wearview.terms import SECOND_NO_FIT, SECOND_NOT_KNOWN, SECOND_NOT_MOVED, WEAK_LIGHT

# Of the diameter: over which a lamp's shine on a lining changes little, and many fibres are averaged.
_REACH = 0.03
# Edges of a second photo that are this many times as wide as the first one's: it was shaken. Of sharp edges
# the width is known no better than to the second figure, in working pixels.
_SHAKEN, _SHARP = 2.0, 3.0
# Least change of light by a lamp that was moved: 0.030 or more in 42 tuned rendered pairs; where their first
# photo was nudged, made noisy and up to a stop darker instead, 0.022 or less in 128 of 129. Under one lamp a
# shine stays where it is, and would be taken for none.
_MOVED = 0.024
_SHARE_SEEN = 0.5  # of the face, which both must show
_BROADEST = 0.95  # quantile of the face that stands for how much shine moved


def look_again(
    first: Photo, second: Photo, lined: Sequence[tuple[Part, Face]], light: Light, settings: Settings
) -> tuple[list[Relit | None], tuple[str, ...]]:
    """What a second photo shows of the linings in a first.

    Parameters
    ----------
    first, second : Photo
    lined : sequence of (Part, Face)
        Linings as found in the first.
    light : Light
        The first photo's.
    settings : Settings

    Returns
    -------
    list of Relit or None
        One for each lining; None where both photos together show too little of it.
    tuple of str
        Names from `terms.PROBLEMS`: why the second photo could not serve.
    """
    quality = [judge(photo) for photo in (first, second)]
    laid = lay_onto(first, second)
    shaken = quality[1].edge_width > _SHAKEN * max(quality[0].edge_width, _SHARP)
    if not quality[1].gradeable or shaken or laid.photo is None:
        return [None] * len(lined), (SECOND_NO_FIT,)
    if light_change(first.working, laid.photo.working) < _MOVED:
        return [None] * len(lined), (SECOND_NOT_MOVED,)
    other = light_of(laid.photo, [part for part, _ in lined], known_colours(settings))
    if other.method in WEAK_LIGHT:
        # Bare metal mirrors the lamp, so that it does not tell one that was moved; the bench does.
        other = match_light(other, light)
        if other.method != "reference":
            return [None] * len(lined), (SECOND_NOT_KNOWN,)
    out = []
    for part, face in lined:
        here, there = rectify(first, part, light), rectify(laid.photo, part, other)
        again = take_face(laid.photo, there, part, other)
        # Warping smooths noise and grain alike, so the fibres are read where the photo has them.
        seen = face.mask & again.mask
        fibres = read_fibres(second, part, _taken_to(laid.to_second, face.xy), seen)
        shared = read_shared_grain(first, second, laid.to_second, part, face.xy, seen)
        out.append(_relit(here, there, replace(again, fibres=fibres), shared))
    return out, ()


def _relit(here: Rectified, there: Rectified, again: Face, shared: float) -> Relit | None:
    seen = here.whole & there.whole & ~here.clipped & ~there.clipped
    if seen.sum() < _SHARE_SEEN * here.whole.sum() or not again.mask.any():
        return None
    # Cross-cut grooves and their edges may be half of a face, so what is left of it is asked for no more.
    mask = seen & ~here.marks["groove"] & ~here.marks["ink"]
    mask = cv2.erode(mask.astype(np.uint8), np.ones((3, 3), np.uint8), borderValue=0).astype(bool)
    linear = [np.asarray(lab_to_linear(r.lab), np.float32) for r in (here, there)]
    moved = np.abs(moved_shine(linear[0], linear[1], mask, _REACH * here.diameter))
    known = moved[np.isfinite(moved)]
    enough = known.size >= max(MIN_PIXELS, _SHARE_SEEN * mask.sum())
    return Relit(again, float(np.quantile(known, _BROADEST)) if enough else math.nan, shared)


def _taken_to(warp: NDArray[np.float64], xy: NDArray[np.float32]) -> NDArray[np.float32]:
    """Places of the first photo in the second."""
    flat = cv2.perspectiveTransform(xy.reshape(1, -1, 2).astype(np.float64), warp)
    return np.asarray(flat.reshape(xy.shape), np.float32)
