"""Two photos of one scene, the phone in one place and the lamp moved: the second laid onto the first."""

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.photo import Photo

Plane = NDArray[np.float32]

SIDE = 1000  # long side of the copies on which the two are laid onto each other
# Share of that copy, and how the second may lie on the first: a nudge first, then a turn too.
_ROUNDS = ((0.25, cv2.MOTION_TRANSLATION), (0.5, cv2.MOTION_EUCLIDEAN), (1.0, cv2.MOTION_EUCLIDEAN))
_BLUR, _STRONGEST = 1.5, 0.985  # of the edges; from that quantile on all count alike
# Of the long side: a phone that moved farther looks at the parts from elsewhere.
FARTHEST = 0.05
# Correlation of the edges once laid: 0.72 to 0.97 in rendered pairs that were nudged, 0.37 to 0.63 where the
# phone came 6 % closer on one side.
LEAST_ALIKE = 0.68


@dataclass(frozen=True, slots=True, eq=False)
class Laid:
    """The second photo on the first one's pixels, or None where it cannot be laid there.

    Attributes
    ----------
    photo : Photo or None
        Warped to the first one's frame and size.
    alike : float
        Correlation of the edges of both, 0..1; NaN when nothing came of it.
    shift : float
        Farthest that a corner of the picture went, as a share of its long side; NaN likewise.
    to_second : ndarray, shape (3, 3)
        Takes pixels of the first to those of the second as it was taken.
    """

    photo: Photo | None
    alike: float
    shift: float
    to_second: NDArray[np.float64]


def lay_onto(first: Photo, second: Photo) -> Laid:
    """The second photo laid onto the first; refused when the phone moved or was shaken between them.

    Notes
    -----
    A moved lamp turns shades of relief over, so neither grey values nor features match; rims, teeth and paper
    keep their edges. The strength of the edges is brought to the highest correlation coefficient, from coarse
    to fine (ECC: Evangelidis and Psarakis, IEEE Transactions on Pattern Analysis and Machine Intelligence 30,
    1858-1865, 2008; from memory).
    """
    shapes = [photo.width / photo.height for photo in (first, second)]
    if abs(math.log(shapes[0] / shapes[1])) > 0.02:
        return Laid(None, math.nan, math.nan, np.eye(3))
    factor = min(1.0, SIDE / max(first.working.shape[:2]))
    size = round(first.working.shape[1] * factor), round(first.working.shape[0] * factor)
    warp: NDArray[np.floating] = np.eye(2, 3, dtype=np.float32)
    alike = math.nan
    for share, kind in _ROUNDS:
        small = round(size[0] * share), round(size[1] * share)
        here, there = (edges_of(photo.working, small) for photo in (first, second))
        try:
            alike, warp = cv2.findTransformECC(
                here,
                there,
                _scaled(warp, share),
                kind,
                (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 60, 1e-5),
                None,
                5,
            )
        except cv2.error:  # it did not converge
            return Laid(None, math.nan, math.nan, np.eye(3))
        warp = _scaled(warp, 1 / share)
    shift = _shift(warp, size) / max(size)
    copy1, copy2 = (_to_copy(photo.width, photo.height, size) for photo in (first, second))
    to_second = np.linalg.inv(copy2) @ np.vstack([warp, [0, 0, 1]]) @ copy1
    fits = alike >= LEAST_ALIKE and shift <= FARTHEST
    return Laid(_warped(first, second, to_second) if fits else None, float(alike), shift, to_second)


def edges_of(rgb8: NDArray[np.uint8], size: tuple[int, int]) -> Plane:
    """How strong the edges are in a copy of a picture of this width and height, in standard deviations."""
    copy = cv2.resize(rgb8, size, interpolation=cv2.INTER_AREA).astype(np.float32)
    log = cv2.GaussianBlur(np.log(copy + 8), (0, 0), _BLUR)
    across, down = (cv2.Sobel(log, cv2.CV_32F, *order) for order in ((1, 0), (0, 1)))
    strength = np.sqrt((across**2 + down**2).sum(axis=-1))
    strength = np.minimum(strength, np.quantile(strength, _STRONGEST))
    return np.asarray(strength / max(float(strength.std()), 1e-6), np.float32)


def _scaled(warp: NDArray[np.floating], share: float) -> Plane:
    return np.asarray(warp * np.array([1, 1, share]), np.float32)


def _shift(warp: NDArray[np.floating], size: tuple[int, int]) -> float:
    corners = np.array([(x, y, 1) for x in (0, size[0]) for y in (0, size[1])], float)
    return float(np.linalg.norm(corners @ warp.T - corners[:, :2], axis=-1).max())


def _warped(first: Photo, second: Photo, to_second: NDArray[np.float64]) -> Photo:
    """The second photo on the first one's pixels."""
    rgb8 = cv2.warpPerspective(
        second.rgb8,
        to_second,
        (first.width, first.height),
        flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    height, width = first.working.shape[:2]
    working = rgb8
    if working.shape[:2] != (height, width):
        working = cv2.resize(rgb8, (width, height), interpolation=cv2.INTER_AREA)
    return replace(
        second, width=first.width, height=first.height, rgb8=rgb8, working=working, scale=first.scale
    )


def _to_copy(width: int, height: int, size: tuple[int, int]) -> NDArray[np.float64]:
    """Full-size pixel centres to those of the copy."""
    x, y = size[0] / width, size[1] / height
    return np.array([[x, 0, (x - 1) / 2], [0, y, (y - 1) / 2], [0, 0, 1.0]])
