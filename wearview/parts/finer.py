"""The two rims of a face that was found, made finer: to a fraction of a pixel, and off the lip beside it.

Beside a lining lie its own wall, a lip of steel core, the core's wall and a shadow, each a step of a pixel
or two; the strongest of them, which `rims` follows, is often not the face's. So the picture is read along
rays through each rim, in sectors, and a few weights (`models/rims-1.toml`, made by `tests.training.rims`)
say of each place on a ray how likely it is face. Their sum says where the face ends, to less than the
distance of two places, as grey levels summed across a step do (A. Tabatabai, O. Mitchell, IEEE PAMI 6,
188-201, 1984; from memory); an ellipse is laid through what all sectors say.
"""

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.network import answers, read_layers
from wearview.parts.candidate import Plate
from wearview.parts.part import Ellipse, radius_ratio
from wearview.parts.rims import Rim
from wearview.ranks import median, middle
from wearview.settings import models_folder

FILE = "rims-1.toml"
SECTORS, RAYS = 72, 5  # round a rim, and in each of them; noise averages out over the rays
PLACES = 25
FROM_RIM = np.arange(PLACES) - float(PLACES // 2)  # of the places on a ray, away from the face; in steps
STEP, LEAST_STEP = 0.006, 0.7  # of the outer radius, and working-copy pixels: the lens resolves no less
ON_FACE = 6  # places that are face even where a rim was found a little too far in
# Rounds at least and at most; from the second on they end once neither rim grew or shrank by so many steps.
# Of 1756 tuned faces 12 are off by 1.5 % of their diameter with two rounds and 5 with up to five.
ROUNDS, MOST_ROUNDS, SETTLED = 2, 5, 1.0
NEAR, LITTLE = 3, 1  # sectors to both sides over which brightness and colour are averaged once more
DARK = 8.0  # codes added before a logarithm: noise in the black says nothing
LEAST_GRAIN = 0.003  # log units added before another logarithm: less is no grain
UNSURE = 0.3  # steps squared, added to what a sector is unsure by: neighbours err together
ANGLE = np.arange(SECTORS * RAYS) * (2 * math.pi / (SECTORS * RAYS))
MIDDLE = ANGLE[RAYS // 2 :: RAYS]
# An ellipse that is not quite another: larger, moved in x and y, longer along 0 and along 45 degrees.
CHANGES = np.stack([np.ones(SECTORS), *(f(k * MIDDLE) for k in (1, 2) for f in (np.cos, np.sin))], axis=1)
SIDES = (1, -1)  # away from the face: outwards beyond the outer rim, inwards within the inner one


@dataclass(frozen=True, slots=True)
class Face:
    """The rims of a face and what else is known of it.

    Attributes
    ----------
    outer, inner : Ellipse
        Working-copy pixels.
    lining : float
        Log odds, within 2 of 0, that it is lining; 0 where nobody knows.
    teeth : tuple of float
        How evident teeth are beyond the outer and beyond the inner rim, 0 and up.
    """

    outer: Ellipse
    inner: Ellipse
    lining: float
    teeth: tuple[float, float]

    @property
    def ratio(self) -> float:
        """Inner over outer radius."""
        return radius_ratio(self.outer, self.inner)

    @property
    def radius(self) -> float:
        """Of the outer rim, working-copy pixels, the mean of both axes."""
        return math.sqrt(self.outer.major * self.outer.minor) / 2

    @property
    def step(self) -> float:
        """From place to place on a ray, in units of the outer radius."""
        return max(STEP, LEAST_STEP / self.radius)


def face_of(plate: Plate) -> Face:
    """The face of a plate as it was found."""
    lining = 0.0 if plate.seen is None else plate.seen.lining
    teeth = (plate.outside.evidence, plate.inside.evidence)
    return Face(plate.outer.ellipse, plate.inner.ellipse, lining, teeth)


def finer_rims(working: NDArray[np.uint8], plate: Plate) -> tuple[Rim, Rim]:
    """The outer and the inner rim of a plate's face, made finer.

    Parameters
    ----------
    working : ndarray, shape (H, W, 3), uint8
        The working copy, not smoothed.
    plate : Plate
        As found.

    Raises
    ------
    ModelsError
        The weights are missing or damaged.
    """
    layers = read_layers(models_folder() / FILE)
    face = face_of(plate)
    for done in range(1, MOST_ROUNDS + 1):
        readings, in_view = rim_readings(working, face)
        chance = 1 / (1 + np.exp(-np.clip(answers(layers, readings), -20, 20)))
        ends = chance.sum(axis=0) - (PLACES // 2 + 0.5)
        weight = in_view.ravel() / ((chance * (1 - chance)).sum(axis=0) + UNSURE) ** 2
        out, into = (_change(ends[at], weight[at]) for at in (slice(0, SECTORS), slice(SECTORS, None)))
        outer = changed(face.outer, face.step * out)
        face = replace(face, outer=outer, inner=changed(face.inner, -face.step / face.ratio * into))
        if done >= ROUNDS and max(abs(out[0]), abs(into[0])) < SETTLED:
            break
    return _with(plate.outer, face.outer), _with(plate.inner, face.inner)


def _with(rim: Rim, ellipse: Ellipse) -> Rim:
    """A rim on another ellipse; where an edge was seen says who lies on top, and stays."""
    return replace(rim, ellipse=ellipse, radius=rim.radius * radius_ratio(rim.ellipse, ellipse))


def rays_of(face: Face, angle: NDArray[np.floating], places: NDArray[np.floating]) -> NDArray[np.float32]:
    """Places on rays through both rims, shape (angles, 2 x places, 2): outer rim first.

    As in `teeth.cast_rays` a ray joins equal angles of the two rims. Places are steps away from the face.
    """
    ratio = face.ratio
    across = np.concatenate([1 - ratio + face.step * places, -face.step * places]) / (1 - ratio)
    at_inner, at_outer = (rim.points(angle).astype(np.float32) for rim in (face.inner, face.outer))
    along = across.astype(np.float32)
    planes = [at_inner[:, k, None] + (at_outer - at_inner)[:, k, None] * along for k in range(2)]
    return np.asarray(cv2.merge(planes))


def rim_readings(working: NDArray[np.uint8], face: Face) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """What is read of each sector of both rims, and whether it is in view.

    Returns
    -------
    readings : ndarray, shape (readings, 2 x SECTORS), float32
        The outer rim's sectors first. Logarithms of brightness from the face's own, so that a dimmer lamp
        changes nothing.
    in_view : ndarray of bool, shape (2, SECTORS)
    """
    xy = rays_of(face, ANGLE, FROM_RIM)
    colours = _colours_at(working, xy)
    rgb = np.asarray(cv2.resize(colours, (2 * PLACES, SECTORS), interpolation=cv2.INTER_AREA))
    red, green, blue = cv2.split(cv2.log(rgb + np.float32(DARK)))
    light = (red + green + blue) / np.float32(3)
    grain = _grain(colours)
    ends = xy[:, [0, PLACES - 1, PLACES, -1]].reshape(SECTORS, RAYS, 2, 2, 2)
    high = np.array(working.shape[1::-1], np.float32) - 1
    in_view = np.all((ends >= 0) & (ends <= high), axis=(1, 3, 4)).T
    sides = []
    for k, sign in enumerate(SIDES):
        at = slice(k * PLACES, (k + 1) * PLACES)
        level = _averaged(median(light[:, at][:, :ON_FACE], 1)[:, None], 2)
        off = light[:, at] - level
        hues = [
            hue - _averaged(median(hue[:, :ON_FACE], 1)[:, None], 2)
            for hue in (red[:, at] - green[:, at], blue[:, at] - green[:, at])
        ]
        all_round = median(off, 0)
        scatter = np.log(median(np.abs(off - all_round), 0) + LEAST_GRAIN)
        noise = math.log(middle(np.abs(np.diff(off[:, :ON_FACE], axis=1))) + LEAST_GRAIN)
        teeth = face.teeth if sign > 0 else face.teeth[::-1]
        known = [sign, math.log(face.radius / 150), face.ratio, noise, face.lining, *teeth]
        readings = [
            off,
            _averaged(off, NEAR),
            np.broadcast_to(all_round, off.shape),
            *(_averaged(hue, LITTLE) for hue in hues),
            *(np.broadcast_to(median(hue, 0), off.shape) for hue in hues),
            np.broadcast_to(grain[at], off.shape),
            np.broadcast_to(scatter, off.shape),
            np.broadcast_to(np.array(known, np.float32), (SECTORS, len(known))),
            level - level.mean(),
            level - np.float32(5),
        ]
        sides.append(np.concatenate(readings, axis=1))
    return np.ascontiguousarray(np.concatenate(sides).T, np.float32), in_view


def _colours_at(working: NDArray[np.uint8], xy: NDArray[np.float32]) -> NDArray[np.float32]:
    """Colours between pixels, not rounded to whole codes: a photo upside down would round another way."""
    high = np.array(working.shape[1::-1])[:, None] - 1
    # Rays are straight: none lies beyond its ends.
    ends = np.ascontiguousarray(xy[:, [0, PLACES - 1, PLACES, -1]].reshape(-1, 2).T)
    box = np.stack([np.floor(ends.min(axis=1)), np.ceil(ends.max(axis=1))], axis=1)
    (x0, x1), (y0, y1) = np.clip(box.astype(int), 0, high).tolist()
    piece = working[y0 : y1 + 1, x0 : x1 + 1].astype(np.float32)
    at = cv2.subtract(xy, (x0, y0, 0, 0))
    return np.asarray(cv2.remap(piece, at, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))


def _grain(colours: NDArray[np.float32]) -> NDArray[np.float32]:
    """Logarithm of how much brightness usually changes from one ray to the next, at each place: lining is
    grainy, a ground core smooth, and over teeth it jumps."""
    mean = cv2.transform(colours, np.array([[1 / 3, 1 / 3, 1 / 3, DARK]], np.float32))
    light = np.asarray(cv2.log(mean), np.float32)
    return np.asarray(np.log(median(np.abs(light - np.roll(light, -1, axis=0)), 0) + LEAST_GRAIN))


def _averaged(values: NDArray[np.floating], sectors: int) -> NDArray[np.float32]:
    """Mean over so many sectors to both sides, round the rim; shape (SECTORS, n)."""
    round_again = np.concatenate([values[-sectors:], values, values[:sectors]]).astype(np.float32)
    mean = cv2.blur(round_again, (1, 2 * sectors + 1))
    return np.asarray(mean.reshape(round_again.shape)[sectors:-sectors])


def _change(ends: NDArray[np.floating], weight: NDArray[np.floating]) -> NDArray[np.float64]:
    """The five `CHANGES` that fit where the face ends, in steps; sectors far off weigh less and less.

    Cauchy's weights as in P. Holland and R. Welsch, Communications in Statistics 6, 813-827, 1977 (from
    memory).
    """
    change = np.zeros(CHANGES.shape[1])
    if not (seen := weight > 0).any():
        return change
    kept = weight
    for _ in range(5):
        weighed = CHANGES * kept[:, None]
        change = np.linalg.solve(weighed.T @ CHANGES + 1e-6 * np.eye(len(change)), weighed.T @ ends)
        off = ends - CHANGES @ change
        scatter = 1.4826 * middle(np.abs(off[seen])) + 0.02
        kept = weight / (1 + (off / (2 * scatter)) ** 2)
    return change


def changed(ellipse: Ellipse, change: NDArray[np.float64]) -> Ellipse:
    """An ellipse changed a little by `CHANGES`, in units of its own radius."""
    larger, right, down, along, aslant = change
    axes = ellipse.axes @ np.array([[1 + larger + along, aslant], [aslant, 1 + larger - along]])
    cx, cy = (ellipse.cx, ellipse.cy) + ellipse.axes @ (right, down)
    turn, half, _ = np.linalg.svd(axes)
    angle = math.degrees(math.atan2(turn[1, 0], turn[0, 0])) % 180
    return Ellipse(float(cx), float(cy), 2 * float(half[0]), 2 * float(half[1]), angle)
