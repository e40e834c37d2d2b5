"""The two rims of a plate's face, from a ring set on the plane to sub-pixel ellipses in the photo.

A rim is told from the other edges of a plate by what every plate has in common: going out from the middle of
the face, the first step that runs round the plate is the face's edge. The lower edge of the plate, the wall
below the rim and the shadow on the bench all lie further out (or, at the inner rim, further in), however
strong they are.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.parts.part import Ellipse, in_view
from wearview.parts.plane import Plane
from wearview.parts.rings import RingSet
from wearview.ranks import middle

ANGLES = 720
TURN = np.arange(ANGLES) * (2 * math.pi / ANGLES)  # radians, clockwise on screen from +x
REACH = (0.25, 1.32)  # of the outermost ring: from well inside the hole to beyond the lugs and the shadow
STEP_WIDTH = (
    0.014  # of the outer radius: about 1 mm, wider than a ground edge's glint, narrower than a core rim
)
MIN_STEP = 7.0  # 8-bit codes between the two sides of a rim
SURE_STEP = 30.0  # codes that stand out from any bench; on an even one rims are the only steps
MOST_FACES = 8  # a bearing laid inside a plate has as many rings again
MIN_FACE_WIDTH, MAX_FACE_WIDTH = (
    0.07,
    0.55,
)  # of the outer radius: 5 mm on a 140 mm plate to a reaction plate's


@dataclass(frozen=True, slots=True, eq=False)
class Polar:
    """A plate unrolled about its centre on the plane.

    Attributes
    ----------
    xy : ndarray, shape (A, R, 2), float32
        Where each sample lies in the working copy; rows are angles, clockwise on screen from the plane's
        +x, columns are radii.
    radius : ndarray, shape (R,)
        Plane radius in working-copy pixels.
    step : ndarray, shape (A, R), float32
        Colour step across each sample along the radius, 8-bit codes, 0 where it is no local maximum.
    size : ndarray, shape (A, R), float32
        The step everywhere.
    """

    xy: NDArray[np.float32]
    radius: NDArray[np.float64]
    step: NDArray[np.float32]
    size: NDArray[np.float32]


def unroll(working: NDArray[np.uint8], plane: Plane, ring_set: RingSet, scale: float) -> Polar:
    """The surroundings of a ring set as angle by radius.

    Parameters
    ----------
    working : ndarray, shape (H, W, 3), uint8
        The working copy, slightly smoothed.
    plane, ring_set
        In pixels of the small copy.
    scale : float
        Working-copy pixels per small-copy pixel.
    """
    reach = ring_set.reach
    count = int((REACH[1] - REACH[0]) * reach * scale)
    radius = np.linspace(REACH[0] * reach, REACH[1] * reach, max(count, 24))
    xy = plane.circles_to_photo((ring_set.x, ring_set.y), TURN, radius, scale)
    rgb = cv2.remap(working, xy, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).astype(np.float32)
    width = max(3, round(STEP_WIDTH * reach * scale))
    size = strongest_channel(_steps(rgb, width))
    photo_size = (working.shape[1], working.shape[0])
    if not in_view(xy[:, -1], photo_size).all():
        size[~in_view(xy, photo_size)] = 0
    size[:, :width] = 0
    size[:, -width:] = 0
    peak = size == cv2.dilate(size, np.ones((1, 2 * (width // 2) + 1), np.uint8))
    return Polar(xy, radius * scale, size * peak, size)


def strongest_channel(signed: NDArray[np.float32]) -> NDArray[np.float32]:
    """Largest absolute value over three channels; NumPy's own maximum over a short last axis is ten times
    slower."""
    first, second, third = (np.abs(c, out=c) for c in cv2.split(signed))
    return np.asarray(cv2.max(cv2.max(first, second), third))


def strongest_off(channels: Sequence[NDArray[np.float32]], row: NDArray[np.float32]) -> NDArray[np.float32]:
    """Largest difference over three channels, each of shape (n, m), from one colour of each row (n, 3)."""
    first, second, third = (np.abs(c - row[:, k, None]) for k, c in enumerate(channels))
    return np.asarray(cv2.max(cv2.max(first, second), third))


def _steps(rgb: NDArray[np.float32], width: int) -> NDArray[np.float32]:
    """Mean of the `width` samples outside minus mean of the `width` inside, along the radius; one sample is
    skipped."""
    kernel = np.zeros((1, 2 * width + 1), np.float32)
    kernel[0, :width] = -1 / width
    kernel[0, width + 1 :] = 1 / width
    return cv2.filter2D(rgb, -1, kernel, borderType=cv2.BORDER_REPLICATE)


@dataclass(frozen=True, slots=True)
class RingStep:
    """A step that runs round the plate at one radius: sample index, share of angles, median step in 8-bit
    codes."""

    index: int
    coverage: float
    size: float


def ring_steps(polar: Polar, least_coverage: float) -> list[RingStep]:
    """Steps that run round the plate, smallest radius first."""
    # Bench texture steps everywhere; what runs round the plate must stand out from it.
    usual = polar.step.ravel().take(np.flatnonzero(polar.step > 2))
    limit = float(np.clip(1.7 * middle(usual), MIN_STEP, SURE_STEP)) if usual.size else MIN_STEP
    significant = polar.step > limit
    band = max(2, round(0.012 * polar.radius[-1]))
    joined = cv2.dilate(significant.astype(np.uint8), np.ones((1, 2 * band + 1), np.uint8))
    coverage = joined.mean(axis=0)
    strength = (np.minimum(polar.step, 60) * significant).sum(axis=0)
    weight = cv2.GaussianBlur(strength[None].astype(np.float32), (2 * band + 1, 1), 0)[0]
    peak = (weight == cv2.dilate(weight[None], np.ones((1, 4 * band + 1), np.uint8))[0]) & (
        coverage >= least_coverage
    )
    found: list[RingStep] = []
    for i in np.flatnonzero(peak):
        near = polar.step[:, max(0, i - band) : i + band + 1].max(axis=1)
        if not found or i - found[-1].index > band:
            found.append(RingStep(int(i), float(coverage[i]), middle(near[near > limit])))
    return found


@dataclass(frozen=True, slots=True, eq=False)
class Rim:
    """A fitted rim.

    Attributes
    ----------
    ellipse : Ellipse
        In working-copy pixels.
    seen : ndarray of bool, shape (ANGLES,)
        Angles at which the edge was found on the ellipse.
    radius : float
        On the bench plane; working-copy pixels.
    """

    ellipse: Ellipse
    seen: NDArray[np.bool_]
    radius: float

    @property
    def coverage(self) -> float:
        """Share of the rim that was seen."""
        return float(self.seen.mean())


def fit_rim(polar: Polar, index: int, towards_face: int) -> Rim | None:
    """The ellipse through the edges near one ring.

    Parameters
    ----------
    polar : Polar
    index : int
        Radius sample of the ring.
    towards_face : int
        -1 when the face lies at smaller radius (its outer rim), +1 when at larger (its inner rim). Of two
        edges at one angle the one nearer to the face is taken unless it is far weaker.

    Returns
    -------
    Rim or None
        None when fewer than a quarter of the angles show an edge that an ellipse can follow.
    """
    expected = np.full(ANGLES, float(index))
    window = max(4.0, 0.035 * polar.radius[index])
    ellipse: Ellipse | None = None
    where = np.full(ANGLES, np.nan)
    for shrink in (1.0, 0.6, 0.35, 0.25):
        reach = max(2.5, window * shrink)
        where = _nearest_edges(polar, expected, reach, towards_face)
        on = np.isfinite(where)
        if on.mean() < 0.2:
            return None
        points = _points_at(polar, where)[on]
        ellipse = robust_ellipse(points)
        if ellipse is None:
            return None
        expected = _radius_index(polar, ellipse, expected)
    assert ellipse is not None
    distance = np.abs(where - expected)
    seen = np.isfinite(where) & (distance < max(1.5, 0.008 * polar.radius[index]))
    if seen.mean() < 0.25:
        return None
    return Rim(ellipse, seen, float(polar.radius[index]))


def _nearest_edges(
    polar: Polar, expected: NDArray[np.float64], reach: float, towards_face: int
) -> NDArray[np.float64]:
    """Sub-sample radius index of the chosen edge at each angle, NaN where there is none."""
    half = math.ceil(reach)
    offsets = np.arange(-half, half + 1)[:, None]  # angles along the rows of what follows, for speed
    count = polar.step.shape[1]
    columns = np.clip(np.rint(expected).astype(int) + offsets, 1, count - 2)
    first = np.arange(ANGLES) * count
    step = polar.step.ravel().take(first + columns)
    strongest = step.max(axis=0)
    usable = (step > MIN_STEP) & (step > 0.4 * strongest)
    # The cost prefers the face's side: an edge further from the face must be clearly closer to the expected
    # radius.
    cost = np.abs(offsets) + 0.35 * np.maximum(0, -offsets * towards_face)
    cost = np.where(usable, cost, np.inf)
    chosen = columns[cost.argmin(axis=0), np.arange(ANGLES)]
    before, at, after = (polar.size.ravel().take(first + chosen + k) for k in (-1, 0, 1))
    bend = before - 2 * at + after
    shift = np.where(bend < -1e-6, 0.5 * (before - after) / np.where(bend < -1e-6, bend, -1), 0.0)
    return np.where(usable.any(axis=0), chosen + np.clip(shift, -0.5, 0.5), np.nan)


def _points_at(polar: Polar, index: NDArray[np.float64]) -> NDArray[np.float64]:
    """Working-copy positions at fractional radius indices, one per angle; NaN rows stay NaN."""
    low = np.clip(np.where(np.isnan(index), 1.0, index).astype(int), 0, polar.step.shape[1] - 2)
    part = (index - low)[:, None]
    return np.asarray(_samples_at(polar, low) * (1 - part) + _samples_at(polar, low + 1) * part)


def _samples_at(polar: Polar, column: NDArray[np.int_]) -> NDArray[np.float32]:
    """Working-copy positions of one sample at each angle, shape (ANGLES, 2)."""
    first = np.arange(ANGLES) * polar.step.shape[1]
    return polar.xy.reshape(-1, 2).take(first + column, axis=0)


def robust_ellipse(points: NDArray[np.float64]) -> Ellipse | None:
    """Direct ellipse fit (A. Fitzgibbon, M. Pilu, R. Fisher, IEEE PAMI 21, 1999), outliers dropped three
    times."""
    single = points.astype(np.float32)
    keep = np.ones(len(points), bool)
    fitted: Ellipse | None = None
    for _ in range(4):
        if np.count_nonzero(keep) < 12:
            return None
        (cx, cy), (d1, d2), angle = cv2.fitEllipseDirect(single[keep])
        if not (d1 > 0 and d2 > 0 and math.isfinite(d1 + d2)):
            return None
        major, minor, angle = (d1, d2, angle) if d1 >= d2 else (d2, d1, angle + 90)
        fitted = Ellipse(cx, cy, major, minor, angle % 180)
        off = (fitted.radius_of(single[:, 0], single[:, 1]) - 1) * (minor / 2)
        kept = off[keep]
        scatter = 1.4826 * _middle_value(np.abs(kept - _middle_value(kept)))
        within = np.abs(off) < max(1.0, 2.5 * scatter)
        if (within == keep).all():
            break
        keep = within
    return fitted


def _middle_value(values: NDArray[np.floating]) -> float:
    """The median but for the mean of two middle values; `np.median` takes five times as long on so few."""
    half = len(values) // 2
    return float(np.partition(values, half)[half])


def _radius_index(polar: Polar, ellipse: Ellipse, near: NDArray[np.float64]) -> NDArray[np.float64]:
    """Fractional radius index at which each angle's ray crosses the ellipse; `near` is where to look."""
    half = max(6, polar.step.shape[1] // 8)
    low = np.clip(np.rint(near).astype(int) - half, 0, polar.step.shape[1] - 2)
    high = np.clip(low + 2 * half, 1, polar.step.shape[1] - 1)
    # A ray is a straight line in the photo, and the rectified radius along it is smooth: a chord step and
    # one more suffice.
    a, b = low.astype(float), high.astype(float)
    radius_a, radius_b = (ellipse.radius_of(*_samples_at(polar, at).T) for at in (low, high))
    at = a + (1 - radius_a) * (b - a) / np.maximum(radius_b - radius_a, 1e-9)
    at = np.clip(at, 0, polar.step.shape[1] - 1.001)
    point = _points_at(polar, at)
    slope = np.maximum((radius_b - radius_a) / (b - a), 1e-9)
    return np.asarray(at + (1 - ellipse.radius_of(point[:, 0], point[:, 1])) / slope)


def possible_faces(steps: list[RingStep], radius: NDArray[np.float64]) -> list[tuple[RingStep, RingStep]]:
    """Pairs of ring steps that may be the inner and the outer rim of the face, at most eight, most likely
    first.

    A lining's two rims run all the way round. A steel's toothed edge shows two rings that share the way:
    tooth roots and tips; the face ends at the roots. The border of a hot band or a groove may run all the way
    round inside a face, so wider pairs come first, and which pair it is, its teeth decide.
    """
    if len(steps) < 2:
        return []
    full = max(s.coverage for s in steps)
    pairs = []
    for i, inner in enumerate(steps):
        for j in range(i + 1, len(steps)):
            outer = steps[j]
            width = 1 - radius[inner.index] / radius[outer.index]
            if not MIN_FACE_WIDTH <= width <= MAX_FACE_WIDTH:
                continue
            strength = (
                min(inner.coverage, outer.coverage)
                / full
                * math.sqrt(min(inner.size, 50) * min(outer.size, 50))
            )
            beyond = sum(s.coverage * min(s.size, 50) for s in steps[:i] + steps[j + 1 :])
            pairs.append((strength * (0.6 + width) - 0.1 * beyond, inner, outer))
    pairs.sort(key=lambda p: -p[0])
    return [(inner, outer) for _, inner, outer in pairs[:MOST_FACES]]
