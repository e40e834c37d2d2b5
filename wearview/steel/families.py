"""Family of every pixel of a steel face: colour first, then what lies around it.

An oxide film grows without jumps, so its colours stand on the plate in their order: bare, straw, brown,
purple, blue, grey blue, grey. What a colour alone leaves open (grey or bare? brown or rust?) is decided
by what lies around it.
"""

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.ranks import middle
from wearview.reading import MIN_PIXELS
from wearview.settings import Tints
from wearview.steel.bare import Bare
from wearview.steel.codes import (
    BARE,
    BLUE,
    BROWN,
    DULL,
    GREEN,
    GREY,
    OFF_FACE,
    OTHER,
    PALE,
    PURPLE,
    RUST,
    STRAW,
    UNSEEN,
    Codes,
    pale_below,
    tint_codes,
)
from wearview.steel.deposits import mark_deposits
from wearview.steel.patches import components, find_borders, near, share_beside
from wearview.surface import Face

NOT_MEASURED = 255

# A pale patch thinner than this share of the diameter is only the blurred edge of something blue; an
# edge of the face this wide may be left out of its mask.
THIN = 0.01
# Less of a border, or of a patch, than this is a stray pixel or two.
_NO_FRINGE = 0.05
# Share of the face from which blue and purple are a zone that grey can follow on, and no stray pixels.
_ZONE = 0.01


def find_families(
    face: Face, seen: NDArray[np.bool_], lab: NDArray[np.float32], bare: Bare, tints: Tints
) -> tuple[Codes, Codes]:
    """Family of every measured pixel, `NOT_MEASURED` elsewhere: colour first, then surroundings.

    And what it may be as well, where oxide and what lies on the metal look alike; the same elsewhere.
    """
    codes = np.full(face.mask.shape, UNSEEN, dtype=np.uint8)
    codes[near(~face.whole, THIN * face.diameter)] = OFF_FACE  # an edge may be left out of the mask
    codes[seen] = tint_codes(lab, bare, pale_below(lab, bare, tints), tints)
    deposit, open_ = mark_deposits(codes, face, seen, bare)
    by_colour = np.where(np.isin(codes, (RUST, DULL, GREEN)), BROWN, np.where(codes == PALE, BLUE, codes))
    codes[deposit] = OTHER
    _settle_brown(codes, tints)
    _settle_pale(codes, face.diameter)
    _settle_grey(codes, face.lab[..., 0], bare, tints)
    codes[~seen] = NOT_MEASURED
    return codes, np.where(open_, np.where(deposit, by_colour, OTHER), codes).astype(np.uint8)


def _settle_brown(codes: Codes, tints: Tints) -> None:
    """Rust and dull browns lack the neighbours in the tint's order that brown oxide has."""
    for doubtful, neighbours in ((RUST, (STRAW, PURPLE, BLUE)), (DULL, (BROWN, PURPLE, BLUE))):
        mask = codes == doubtful
        if not mask.any():
            continue
        count, labels, _ = components(mask if doubtful == DULL else mask | (codes == BROWN))
        oxide = share_beside(find_borders(labels, count, codes), *neighbours) >= tints.fringe
        codes[mask] = np.where(oxide[labels[mask]], BROWN, OTHER)


def _settle_pale(codes: Codes, diameter: float) -> None:
    """Weak blue is grey where it is a broad zone beside blue, else blue; green without blue is no tint."""
    pale = codes == PALE
    if pale.any():
        count, labels, _ = components(pale)
        beside = share_beside(find_borders(labels, count, codes), BLUE, PURPLE) > 0
        depth = cv2.distanceTransform(pale.astype(np.uint8), cv2.DIST_L2, 3)
        deepest = np.zeros(count + 1)
        np.maximum.at(deepest, labels[pale], depth[pale])
        codes[pale] = np.where((beside & (deepest > THIN * diameter))[labels[pale]], GREY, BLUE)
    green = codes == GREEN
    if green.any():
        count, labels, _ = components(green)
        beside = share_beside(find_borders(labels, count, codes), BLUE, PURPLE, GREY) > 0.3
        codes[green] = np.where(beside[labels[green]], GREY, OTHER)


def _settle_grey(codes: Codes, lightness: NDArray[np.float32], bare: Bare, tints: Tints) -> None:
    """Neutral patches that lie inside blue are oxide; the plate's bare metal does not."""
    late = np.isin(codes, (PURPLE, BLUE))
    if not late.any():
        return
    neutral = codes == BARE
    # As light against the blue as only bare metal is.
    bright = lightness > tints.grey_beside_blue * middle(lightness[late])
    count, labels, _ = components(neutral & ~bright & (lightness < tints.grey_darker_than * bare.lab[0]))
    dark = share_beside(find_borders(labels, count, codes), PURPLE, BLUE, GREY) >= tints.grey_border_dark
    dark[0] = False
    oxide = dark[labels]

    count, labels, stats = components(neutral & ~oxide)
    if count:
        borders = find_borders(labels, count, codes)
        inside = share_beside(borders, PURPLE, BLUE, GREY) >= tints.grey_border_light
        inside[0] = False
        # The largest neutral patch is the bare metal, unless blue runs off the face all along it and no
        # straw lies between: then blue is no island on bare metal but the edge of a grey that fills the rest.
        largest = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
        inside[largest] &= (
            np.count_nonzero(late) > _ZONE * np.count_nonzero(codes < UNSEEN)
            and _blue_is_no_island(codes)
            and share_beside(borders, STRAW, BROWN)[largest] < _NO_FRINGE
            and np.count_nonzero(bright[labels == largest]) < _NO_FRINGE * stats[largest, cv2.CC_STAT_AREA]
        )
        oxide |= inside[labels]
    codes[oxide] = GREY


def _blue_is_no_island(codes: Codes) -> bool:
    """Whether most of the blue and purple belongs to patches that reach the edge of the face."""
    count, labels, _ = components(np.isin(codes, (STRAW, BROWN, PURPLE, BLUE, GREY)))
    at_edge = find_borders(labels, count, codes)[:, OFF_FACE] > 0
    late = labels[np.isin(codes, (PURPLE, BLUE))]
    return bool(at_edge[late].mean() > 0.5) if late.size else False


def turn_grey_against_clean(
    families: Codes,
    lab: NDArray[np.float32],
    clean_lab: NDArray[np.float64] | None,
    light: float,
    tints: Tints,
) -> None:
    """Neutral metal is oxide where the plate as a whole is clearly darker than the clean steel."""
    neutral = families == BARE
    if clean_lab is None or not math.isfinite(light) or np.count_nonzero(neutral) < MIN_PIXELS:
        return
    limit = clean_lab[0] - tints.grey_below_clean_l - light
    # By the median first: grinding marks darken one direction and lighten the other.
    if middle(lab[..., 0][neutral]) < limit:
        families[neutral & (lab[..., 0] < limit)] = GREY
