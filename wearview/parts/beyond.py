"""Where a plate ends: which places beside a rim are still the plate, teeth, core, walls and all.

Shadows, the wall of a thick plate, core that shows beyond a lining and teeth as bright as the bench leave no
single edge to follow. So each place beside the rim is set beside the bench, the face and what lies half a
tooth further round, and a few weights (`models/edges-1.toml`, made by `tests.training.edges`) say how likely
it belongs to the plate; at each angle the plate then ends once. The rims themselves stay ellipses fitted to
edges.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.network import log_odds, read_layers
from wearview.parts.rims import ANGLES, strongest_channel, strongest_off
from wearview.parts.teeth import Rays, Teeth
from wearview.ranks import median, middle
from wearview.settings import models_folder

FILE = "edges-1.toml"
WITHIN, REACH = 0.05, 0.17  # of the outer radius: from this far within a face to beyond the longest tooth
COLUMNS = 44
EVERY = 2  # one in so many of the angles cast; with all of them tuned masks' IoU is 0.0006 higher
ROWS = ANGLES // EVERY
OFFSETS = np.linspace(-WITHIN, REACH, COLUMNS)  # away from the face; of the outer radius
BENCH_AT = (1.19, 1.27)  # radius of what must be bench: beyond teeth and most shadows
HOLE_AT = (0.30, 0.18)  # the same within the hole, inwards from the inner rim
FACE_ABOUT = -0.02  # offsets under this are face
BLOCK = 4  # angles; bench and face change slowly round a plate
SHARE_UNIT, STEP_UNIT, CHROMA_UNIT = 0.05, 0.25, 0.2  # bring readings to about 1
DARK = 8.0  # codes added before a logarithm: noise in the black says nothing


@dataclass(frozen=True, slots=True, eq=False)
class Beyond:
    """What lies beside one rim.

    Attributes
    ----------
    chance : ndarray, shape (ROWS, COLUMNS), float32
        That a place is the plate, at `OFFSETS` from the rim; over a half up to where the plate ends at that
        angle and under a half from there on.
    """

    chance: NDArray[np.float32]

    @property
    def farthest(self) -> float:
        """How far beyond the rim the plate reaches at most, in units of the outer radius."""
        some = np.flatnonzero((self.chance > 0.5).any(axis=0))
        return float(OFFSETS[min(some[-1] + 1, COLUMNS - 1)]) if len(some) else 0.0

    def within(self, most: float) -> "Beyond":
        """The same, ending at most so far beyond the rim, in units of the outer radius."""
        return Beyond(
            np.where(most < OFFSETS, np.minimum(self.chance, 0.499), self.chance).astype(np.float32)
        )

    def covers(self, offset: NDArray[np.floating], angle: NDArray[np.floating]) -> NDArray[np.bool_]:
        """Whether places (N,) at an offset from the rim and an angle in radians are the plate."""
        column = (offset + WITHIN) * ((COLUMNS - 1) / (WITHIN + REACH))
        row = np.mod(angle * (ROWS / (2 * math.pi)), ROWS)
        round_again = np.vstack([self.chance, self.chance[:1]])
        at = (np.asarray(values, np.float32) for values in (column, row))
        return np.asarray(_read(round_again, *at) > 0.5)


def _read(
    values: NDArray[np.float32], column: NDArray[np.float32], row: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Values between samples; places (N,) in rows of a width that OpenCV takes."""
    count, width = len(column), 1024
    padded = [np.zeros((-(-count // width), width), np.float32) for _ in range(2)]
    for target, source in zip(padded, (column, row), strict=True):
        target.ravel()[:count] = source
    read = cv2.remap(values, padded[0], padded[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(read.ravel()[:count])


def nothing_beyond() -> Beyond:
    """A plate that ends at its rim."""
    chance = np.clip(0.5 - OFFSETS / (OFFSETS[1] - OFFSETS[0]), 0, 1).astype(np.float32)
    return Beyond(np.repeat(chance[None], ROWS, axis=0))


def find_beyond(rays: Rays, teeth: Teeth, *, outward: bool) -> Beyond:
    """Where a plate ends beyond one rim of its face.

    Parameters
    ----------
    rays : Rays
    teeth : Teeth
        What was read of teeth beyond this rim.
    outward : bool
        True for the outer rim, False for the side of the hole.

    Raises
    ------
    ModelsError
        The weights are missing or damaged.
    """
    values = edge_readings(rays, teeth, outward=outward).reshape(-1, ROWS * COLUMNS)
    odds = log_odds(read_layers(models_folder() / FILE), values)
    return Beyond(_ends_once(odds.reshape(ROWS, COLUMNS)))


def _ends_once(odds: NDArray[np.float32]) -> NDArray[np.float32]:
    """Chances from log odds, the likeliest end at each angle kept."""
    end = np.cumsum(odds, axis=1).argmax(axis=1)[:, None]
    chance = 1 / (1 + np.exp(-np.clip(odds, -8, 8)))
    kept = np.arange(COLUMNS) <= end
    return np.where(kept, np.maximum(chance, 0.501), np.minimum(chance, 0.499)).astype(np.float32)


def edge_readings(rays: Rays, teeth: Teeth, *, outward: bool) -> NDArray[np.float32]:
    """What is read at each place beside a rim, shape (readings, ROWS, COLUMNS).

    Brightness is a logarithm, so that a dimmer lamp changes nothing; differences of colour are told in how
    much the bench varies by itself.
    """
    sign = 1 if outward else -1
    strip = _strip(rays, sign)
    bench = _bench(rays, sign)
    level = _middle_round(median(bench, 1), 4)
    noise = middle(strongest_off(cv2.split(bench), level)) + 2.0
    face = _middle_round(median(strip[:, OFFSETS < FACE_ABOUT], 1), 2)
    light = _light(strip)
    from_bench, from_face = light - _light(level[:, None]), light - _light(face[:, None])
    channels, chroma = cv2.split(strip), cv2.split(_chroma(strip))
    off_bench, off_face = _off(channels, level, noise), _off(channels, face, noise)
    steps = np.gradient(light, axis=1) / np.float32(STEP_UNIT)
    same_off_bench = off_bench
    turn: list[float | NDArray[np.float32]]
    if teeth.count:
        # What lies whole teeth away, up to two, and what lies half a tooth further.
        same = _mean_at(strip, teeth.count, (-2, -1, 0, 1, 2))
        other = _mean_at(strip, teeth.count, (-1.5, -0.5, 0.5, 1.5))
        same_light, same_channels = _light(same), cv2.split(same)
        same_off_bench = _off(same_channels, level, noise)
        turn = [
            same_light - _light(other),
            _times(strongest_channel(same - other), noise),
            same_off_bench,
            same_light - _light(level[:, None]),
            _off(cv2.split(other), level, noise),
            _off(same_channels, face, noise),
        ]
    else:
        turn = [0.0, 0.0, off_bench, from_bench, off_bench, off_face]
    readings = [
        from_bench,
        from_face,
        strongest_off(chroma, _chroma(level[:, None])[:, 0]) / np.float32(CHROMA_UNIT),
        strongest_off(chroma, _chroma(face[:, None])[:, 0]) / np.float32(CHROMA_UNIT),
        off_bench,
        off_face,
        steps,
        *turn,
        OFFSETS / SHARE_UNIT,
        np.maximum(0, -OFFSETS / 0.02),
        teeth.evidence,
        float(teeth.count > 0),
        min(teeth.count, 60) / 30,
        float(sign),
        _further(off_bench, 2),
        _further(off_bench, 5),
        _further(off_bench, -2),
        _further(off_face, -3),
        _further(from_bench, 3),
        _further(from_bench, -3),
        _further(same_off_bench, -3),
        _further(same_off_bench, 3),
        math.log(noise),
        np.minimum.accumulate(off_bench, axis=1),
        np.maximum.accumulate(np.abs(steps), axis=1),
    ]
    values = np.empty((len(readings), ROWS, COLUMNS), np.float32)
    for target, reading in zip(values, readings, strict=True):
        target[...] = reading
    return values


def _strip(rays: Rays, sign: int) -> NDArray[np.float32]:
    """Colour beside a rim, shape (ROWS, COLUMNS, 3)."""
    rho = (1.0 if sign > 0 else rays.ratio) + sign * OFFSETS
    column = (rho - rays.rho[0]) * (len(rays.rho) - 1) / (rays.rho[-1] - rays.rho[0])
    at = np.broadcast_to(column.astype(np.float32), (ROWS, COLUMNS))
    row = np.broadcast_to(np.arange(0, ANGLES, EVERY, dtype=np.float32)[:, None], (ROWS, COLUMNS))
    at, row = np.ascontiguousarray(at), np.ascontiguousarray(row)
    return np.asarray(cv2.remap(rays.rgb, at, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))


def _bench(rays: Rays, sign: int) -> NDArray[np.float32]:
    """Colour of the bench on this side, shape (ROWS, n, 3)."""
    if sign > 0:
        return rays.rgb[::EVERY, rays.column(BENCH_AT[0]) : rays.column(BENCH_AT[1]) + 1]
    low, high = (rays.ratio - far for far in HOLE_AT)
    first = rays.column(max(rays.rho[0], low))
    last = rays.column(max(rays.rho[0] + 0.03, high))
    return rays.rgb[::EVERY, first : max(last, first + 2)]


def _middle_round(colour: NDArray[np.float32], blocks: int) -> NDArray[np.float32]:
    """Running median round the plate of colours (ROWS, 3), over so many blocks both ways."""
    blocked = median(colour.reshape(ROWS // BLOCK, BLOCK, 3), 1)
    near = np.stack([np.roll(blocked, k, axis=0) for k in range(-blocks, blocks + 1)])
    return np.repeat(median(near, 0), BLOCK, axis=0).astype(np.float32)


def _light(colour: NDArray[np.float32]) -> NDArray[np.float32]:
    """Logarithm of brightness, shape (n, m), of colours (n, m, 3)."""
    mean = cv2.transform(colour, np.array([[1 / 3, 1 / 3, 1 / 3, DARK]], np.float32))
    return np.asarray(cv2.log(mean), np.float32).reshape(colour.shape[:2])


def _off(
    channels: Sequence[NDArray[np.float32]], row: NDArray[np.float32], noise: float
) -> NDArray[np.float32]:
    """How far three channels, each of shape (n, m), are off one colour of each row (n, 3), as `_times`."""
    return _times(strongest_off(channels, row), noise)


def _times(apart: NDArray[np.float32], noise: float) -> NDArray[np.float32]:
    """Logarithm of how often differences are the bench's own variation."""
    return np.asarray(cv2.log(apart / np.float32(noise) + np.float32(1)), np.float32)


def _chroma(colour: NDArray[np.float32]) -> NDArray[np.float32]:
    """Each channel over their mean, about 1; shape (n, m, 3)."""
    total = cv2.transform(colour, np.array([[1 / 3, 1 / 3, 1 / 3, 10]] * 3, np.float32))
    return np.asarray(cv2.divide(colour, np.asarray(total).reshape(colour.shape)), np.float32)


def _mean_at(strip: NDArray[np.float32], count: int, teeth: tuple[float, ...]) -> NDArray[np.float32]:
    total = np.zeros_like(strip)
    for away in teeth:
        turn = away * ROWS / count
        low = math.floor(turn)
        share = np.float32(turn - low)
        rows = (np.arange(ROWS) - low) % ROWS
        total += strip[rows] * (1 - share)
        if share:
            total += strip[rows - 1] * share
    return total / np.float32(len(teeth))


def _further(values: NDArray[np.float32], columns: int) -> NDArray[np.float32]:
    """Values so many columns further from the face, the last repeated at the end; nearer when negative."""
    at = np.clip(np.arange(COLUMNS) + columns, 0, COLUMNS - 1)
    return values[:, at]
