"""What lies beyond the two rims of a face: core, spline teeth, lugs; and whether it is a clutch plate at all.

Every clutch plate has teeth, on one edge or the other; washers, bearing rings, lids and tape rolls have none.
On a steel the teeth grow out of the face; on a friction plate a ring of steel core lies between the lining
and the teeth. Both are read off one signal: at a radius that cuts the teeth, brightness round the plate
alternates metal and bench at the tooth count, shadows and heat tint and all.
"""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.parts.part import Ellipse, radius_ratio
from wearview.parts.rims import ANGLES, TURN, strongest_channel, strongest_off
from wearview.ranks import median, middle, quantile

DEEPEST_TOOTH = 0.16  # of the outer radius
CORE_RING = 0.022  # of the outer radius: less steel than 1.5 mm between lining and tooth root is no core ring
MIN_REGULARITY = 0.16  # rings without teeth stay under 0.1
FEW_LUGS, FEW_SPLINES = 10, 19  # broad lugs sit on outer edges; a hub has more splines (common practice)
FEWEST, MOST = 5, 90  # teeth round a plate
GUARD = 0.010  # of the outer radius: the blur of the rim's own step
PAST_EDGE = 0.02  # of the outer radius: farther from the rim than its own ripple where it is not quite fitted
PAST_RIM = 0.024  # of the outer radius: here the rim's own step has ended


# Shading and stray edges fall off with frequency, tooth rows do not: weigh so that the former are flat.
_RISING = np.arange(ANGLES // 2 + 1, dtype=np.float32)[:, None] ** np.float32(1.5)


@dataclass(frozen=True, slots=True, eq=False)
class Rays:
    """A plate sampled along rays from inside its hole to beyond its lugs.

    Attributes
    ----------
    rgb : ndarray, shape (ANGLES, R, 3), float32
        8-bit codes.
    rho : ndarray, shape (R,)
        Radius over the outer rim's radius.
    ratio : float
        Inner over outer radius of the face.
    step : ndarray, shape (ANGLES, R), float32
        Colour step across each sample, 8-bit codes.
    """

    rgb: NDArray[np.float32]
    rho: NDArray[np.float64]
    ratio: float
    step: NDArray[np.float32]

    @property
    def grey(self) -> NDArray[np.float32]:
        """Mean of the three channels, shape (ANGLES, R)."""
        return np.asarray(cv2.transform(self.rgb, np.full((1, 3), 1 / 3)), np.float32)

    def column(self, rho: float) -> int:
        """Index of the sample nearest to a radius."""
        return int(np.clip(np.searchsorted(self.rho, rho), 0, len(self.rho) - 1))


def cast_rays(working: NDArray[np.uint8], outer: Ellipse, inner: Ellipse) -> Rays:
    """Sample along the rays that join the two rims, extended both ways.

    The rims are not concentric in the photo; joining equal angles follows the plane's perspective to first
    order.
    """
    ratio = radius_ratio(outer, inner)
    radius = math.sqrt(outer.major * outer.minor) / 2
    rho = np.arange(max(0.3, 0.55 * ratio), 1 + DEEPEST_TOOTH + 0.12, 1 / max(radius, 60.0))
    t = ((rho - ratio) / (1 - ratio)).astype(np.float32)
    at_inner, at_outer = (rim.points(TURN).astype(np.float32) for rim in (inner, outer))
    x, y = (at_inner[:, k, None] + (at_outer - at_inner)[:, k, None] * t for k in range(2))
    rgb = cv2.remap(working, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).astype(np.float32)
    width = max(2, round(0.012 * radius))
    kernel = np.zeros((1, 2 * width + 1), np.float32)
    kernel[0, :width], kernel[0, width + 1 :] = -1 / width, 1 / width
    step = strongest_channel(cv2.filter2D(rgb, -1, kernel, borderType=cv2.BORDER_REPLICATE))
    return Rays(rgb, rho, ratio, step)


@dataclass(frozen=True, slots=True, eq=False)
class Teeth:
    """What lies beyond one rim of a face.

    Attributes
    ----------
    count : int
        Number of teeth, 0 when there are none.
    regularity : float
        0..1: share of the brightness ripple round the plate that this count explains.
    lock : float
        0..1: how well the depth of the edge keeps step with the count; what merely ripples in brightness does
        not.
    spill : float
        0..1: share of the ripple at this count that lies within the face; near 1 the rim was laid along the
        tips of the teeth instead of their roots.
    root, tip : float
        Where the teeth begin and end, in units of the outer rim's radius; both the rim's when there are none.
    """

    count: int
    regularity: float
    lock: float
    spill: float
    root: float
    tip: float

    @property
    def surety(self) -> float:
        """Regularity, which a few lugs must also keep step for: five of anything ripple now and then."""
        if not self.count:
            return 0.0
        sure = self.regularity if self.count >= FEW_LUGS else min(self.regularity, self.lock)
        return sure * (1 - self.spill)

    @property
    def evidence(self) -> float:
        """How sure these are teeth, 0 and up."""
        return self.regularity + 0.5 * self.lock if self.count else 0.0


def find_teeth(rays: Rays, outward: bool, hidden: NDArray[np.bool_], count_known: int | None = None) -> Teeth:
    """Teeth beyond one rim of a face.

    Parameters
    ----------
    rays : Rays
    outward : bool
        True for the outer side, False for the side of the hole.
    hidden : ndarray of bool, shape (ANGLES,)
        Angles at which another part lies over this edge.
    count_known : int, optional
        How many they are, known of another plate of the pack: however little of them shows.
    """
    rim = 1.0 if outward else rays.ratio
    if hidden.mean() > 0.6 and count_known is None:
        return no_teeth(rim)
    sign = 1 if outward else -1
    if sign * (rays.column(rim + sign * DEEPEST_TOOTH) - rays.column(rim + sign * PAST_RIM)) < 2:
        return no_teeth(rim)  # in a hole so small no ray is sampled
    into_face = min(DEEPEST_TOOTH, 0.45 * (1 - rays.ratio))
    near = np.arange(rays.column(rim - sign * into_face), rays.column(rim + sign * DEEPEST_TOOTH), sign)
    power_near, wide_near = _ripple(rays, near, hidden)
    past = sign * (rays.rho[near] - rim)
    columns, power, wide = (
        near[past >= 0.5 * GUARD],
        *(p[:, past >= 0.5 * GUARD] for p in (power_near, wide_near)),
    )
    counts = np.arange(FEWEST, MOST + 1) if count_known is None else np.array([count_known])
    total = np.maximum(power[FEWEST : 3 * MOST].sum(axis=0), 1e-9)
    fundamental = wide[counts] / total
    harmonics = sum(wide[np.minimum(k * counts, len(wide) - 1)] / total for k in (2, 3))
    # The fundamental of a tooth row outweighs its harmonics; half the true count would have no fundamental.
    plain = fundamental > 0.6 * harmonics if count_known is None else True
    share = np.where(plain, fundamental + harmonics, 0)
    share = cv2.blur(share, (max(3, len(columns) // 12), 1))
    row, column = np.unravel_index(int(share.argmax()), share.shape)
    regularity = float(share[row, column])
    if regularity < MIN_REGULARITY and count_known is None:
        return no_teeth(rim)
    count = int(counts[row])
    within, without = (_high(wide_near[count, far]) for far in (past < -PAST_EDGE, past > PAST_EDGE))
    depth = _depth_of_first_step(rays, rim, sign)
    solid, lock = _solid_angles(np.where(hidden, middle(depth), depth), count)
    margin = max(1, round(0.15 * ANGLES / count))
    beyond = columns[sign * (rays.rho[columns] - rim) > PAST_RIM]
    gaps, teeth = inner_part(~solid & ~hidden, margin), inner_part(solid & ~hidden, margin)
    root = rays.column(rim)
    if _metal_in_gaps(rays, gaps, teeth, beyond):
        root = _first_edge(rays, gaps, beyond)
    tip = _first_edge(rays, teeth, beyond[sign * (beyond - root) > 2])
    spill = within / (within + without + 1e-9)
    return Teeth(count, regularity, lock, spill, float(rays.rho[root]), float(rays.rho[tip]))


def _high(power: NDArray[np.floating]) -> float:
    return float(power.max()) if power.size else 0.0


def _ripple(
    rays: Rays, columns: NDArray[np.int64], hidden: NDArray[np.bool_]
) -> tuple[NDArray[np.floating], NDArray[np.floating]]:
    """Power of the brightness ripple round the plate at these radii, (count, radius), plain and with each
    line's wings.

    Perspective smears a line over its neighbours.
    """
    grey = rays.grey[:, columns]
    slow = cv2.blur(np.vstack([grey[-90:], grey, grey[:90]]), (1, 145))[90:-90]  # shading round the plate
    grey = grey - slow
    scale = median(np.abs(grey), 0) * 3 + 1e-3
    grey = np.clip(grey, -scale, scale)  # a glint or a stray chip weighs no more than a tooth
    grey[hidden] = 0
    waves = cv2.dft(np.ascontiguousarray(grey.T), flags=cv2.DFT_ROWS | cv2.DFT_COMPLEX_OUTPUT)
    half = waves.view(np.complex64)[:, : ANGLES // 2 + 1, 0].T
    power = np.ascontiguousarray(half.real**2 + half.imag**2) * _RISING
    return power, power + np.vstack([power[1:], power[-1:]]) + np.vstack([power[:1], power[:-1]])


def _depth_of_first_step(rays: Rays, rim: float, sign: int) -> NDArray[np.float64]:
    """How far beyond the rim the next step lies at each angle, 0 where none follows; whichever side is
    brighter."""
    columns = np.arange(rays.column(rim + sign * PAST_RIM), rays.column(rim + sign * DEEPEST_TOOTH), sign)
    step = rays.step[:, columns]
    strongest = step.max(axis=1)
    limit = np.maximum(6.0, 0.5 * np.minimum(strongest, middle(strongest)))[:, None]
    hit = (step > limit) & (step >= cv2.dilate(step, np.ones((1, 5), np.uint8)))
    depth = np.abs(rays.rho[columns[hit.argmax(axis=1)]] - rim)
    return np.where(hit.any(axis=1), depth, 0.0)


def _solid_angles(depth: NDArray[np.float64], count: int) -> tuple[NDArray[np.bool_], float]:
    """Angles with a tooth, where the edge reaches deep in step with the tooth count, and how well it keeps
    step.

    The phase may drift slowly round the plate, as perspective makes it; it is averaged over six teeth.
    """
    turn = np.exp(-2j * np.pi * count * np.arange(ANGLES) / ANGLES)
    depth = np.minimum(depth, quantile(depth, 0.95))
    spread = 3 * ANGLES / count
    kernel = np.exp(-0.5 * ((np.arange(ANGLES) - ANGLES // 2) / spread) ** 2)
    signal = (depth - depth.mean()) * turn
    slow = np.fft.ifft(np.fft.fft(signal) * np.fft.fft(np.fft.ifftshift(kernel / kernel.sum())))
    lock = float(np.abs(slow).mean() * math.sqrt(2) / (depth.std() + 1e-9))
    return (slow * np.conj(turn)).real > 0, lock


def _metal_in_gaps(
    rays: Rays, gaps: NDArray[np.bool_], teeth: NDArray[np.bool_], columns: NDArray[np.int64]
) -> bool:
    """Whether the ring next to the rim is as metallic between the teeth as on them: a core ring."""
    if len(columns) < 4 or not gaps.any() or not teeth.any():
        return False
    near, between = columns[:2], columns[len(columns) // 6 : len(columns) // 4 + 1]
    ring = median(rays.rgb[gaps][:, near].reshape(-1, 3), 0)
    on_teeth = median(rays.rgb[teeth][:, near].reshape(-1, 3), 0)
    in_gaps = median(rays.rgb[gaps][:, between].reshape(-1, 3), 0)
    return bool(np.abs(ring - on_teeth).max() < 0.5 * np.abs(ring - in_gaps).max())


def bench_in_face(rays: Rays) -> float:
    """Share of the face's most bench-like ring that looks like the bench just outside the plate, 0..1.

    A ring set that took tooth gaps or the hole for face shows bench there.
    """
    near, far = rays.column(1.18), rays.column(1.27)
    bench = median(rays.rgb[:, near : far + 1], 1)
    texture = strongest_off(cv2.split(rays.rgb[:, near : far + 1]), bench)
    limit = 10.0 + 1.5 * middle(texture)
    face = rays.rgb[:, rays.column(rays.ratio + 0.02) : rays.column(0.98)]
    if face.shape[1] < 3:
        return 1.0
    alike = (strongest_off(cv2.split(face), bench) < limit).mean(axis=0)
    return quantile(alike, 0.9)


def no_teeth(rim: float) -> Teeth:
    """A plain edge."""
    return Teeth(0, 0.0, 0.0, 0.0, rim, rim)


def inner_part(solid: NDArray[np.bool_], margin: int) -> NDArray[np.bool_]:
    """The middles of the True runs round the circle, `margin` angles taken off both sides."""
    round_again = np.concatenate([solid[-margin:], solid, solid[:margin]]).astype(np.uint8)
    window = np.ones((1, 2 * margin + 1), np.uint8)
    shrunk = cv2.erode(round_again[None], window)[0, margin:-margin].astype(bool)
    return shrunk if shrunk.any() else solid


def _first_edge(rays: Rays, angles: NDArray[np.bool_], columns: NDArray[np.int64]) -> int:
    """Column of the first clear step at these angles, going along `columns`.

    The wall below an edge and its shadow step again further on, often more strongly.
    """
    if not angles.any() or len(columns) < 3:
        return int(columns[0]) if len(columns) else 0
    profile = median(rays.step[angles][:, columns], 0)
    peak = profile >= cv2.dilate(profile[None], np.ones((1, 5), np.uint8))[0]
    clear = np.flatnonzero(peak & (profile > 0.55 * profile.max()))
    return int(columns[clear[0]])
