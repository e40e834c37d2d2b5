"""What a phone made of known colours, undone: a tone curve and a 3 x 3 matrix in linear light.

A phone multiplies the light by its white balance, mixes the channels, bends the highlights and shadows and
encodes. The other way round: the bend is straightened on the encoded values, decoded, and mixed back.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.colour import delta_e, linear_to_lab, srgb_to_linear

Array = NDArray[np.float64]

FEWEST = 12  # squares that must fit; half of a chart
MOST_RESIDUAL = 3.0  # median Delta E of the squares that fit; right charts in scenes have 0.3 to 1.2
STRAY, STRAY_LEAST = 3.5, 2.5  # standard deviations, and Delta E, beyond which a square is hidden or wet
# A square under oil gets darker the darker it is, as by a strange curve. Phones in scenes: up to 0.1 and 0.2.
MOST_TONE = np.array([0.25, 0.4])
_ROUNDS = 4
_STEP = 1e-3  # of every term, for slopes
_LOOSE = 1.5  # Delta E from which a square weighs less while fitting
# How far the terms may lie from "nothing bent": standard deviations, as of phones seen (from memory), so that
# few squares do not make wild curves. They weigh like one square off by one Delta E.
_TONE_SPREAD, _MATRIX_SPREAD, _FIELD_SPREAD, _BOW_SPREAD = 0.25, 0.25, 0.5, 0.3


@dataclass(frozen=True, slots=True, eq=False)
class Camera:
    """How a phone's codes become light.

    Attributes
    ----------
    tone : ndarray, shape (2,)
        Bend of the encoded values u in 0..1: u + u (1 - u) (tone[0] + tone[1] (2 u - 1)); one for all
        channels, ends fixed.
    matrix : ndarray, shape (3, 3)
        Mixes linear channels of which white is 1; rows sum to 1, so that greys stay grey.
    """

    tone: Array
    matrix: Array

    def decoded(self, codes: NDArray[np.floating]) -> Array:
        """Linear light of encoded values 0..1, any shape, the phone's bend straightened."""
        u = np.asarray(codes, np.float64)
        bent = u + u * (1 - u) * (self.tone[0] + self.tone[1] * (2 * u - 1))
        return srgb_to_linear(np.clip(bent, 0, 1)).astype(np.float64)

    def decoded8(self, rgb8: NDArray[np.uint8]) -> NDArray[np.float32]:
        """Linear light of 8-bit codes, any shape."""
        if not rgb8.size:
            return rgb8.astype(np.float32)
        table = self.decoded(np.arange(256) / 255).astype(np.float32)
        flat = np.ascontiguousarray(rgb8).reshape(1, -1)
        return np.asarray(cv2.LUT(flat, table)).reshape(rgb8.shape)

    def mixed(self, relative: NDArray[np.floating]) -> Array:
        """Linear sRGB of channels divided by their white, shape (..., 3)."""
        return np.asarray(relative @ self.matrix.T)


PLAIN = Camera(np.zeros(2), np.eye(3))
"""sRGB taken at its word: what a fit to known colours starts from."""

USUAL = Camera(np.array([0.0, -0.06]), np.eye(3))
"""A phone that nothing known in view tells of: it deepens shadows and lifts lights a little.

Cameras seldom keep to a plain gamma (M. D. Grossberg and S. K. Nayar, IEEE Trans. Pattern Analysis and
Machine Intelligence 26, 1272-1282, 2004; from memory). How much is chosen on rendered phones, whose contrast
varies from none to 2.5 times this: with a plain curve linings come out 4 % darker beside a sheet than they
are.
"""


@dataclass(frozen=True, slots=True, eq=False)
class CameraFit:
    """A camera, its light, and how well known colours come out.

    Attributes
    ----------
    camera : Camera
    white : ndarray, shape (3,)
        Decoded light of a perfect white where the field is 0.
    field : ndarray, shape (6,)
        Coefficients of 1, x, y, x^2, xy, y^2 of the log light level, as `Light.field`.
    kept : ndarray of bool, shape (N,)
        Squares that fit.
    residuals : ndarray, shape (N,)
        Delta E of each square.
    residual : float
        Median of the kept squares' Delta E.
    """

    camera: Camera
    white: Array
    field: Array
    kept: NDArray[np.bool_]
    residuals: Array
    residual: float

    @property
    def holds(self) -> bool:
        """Whether enough squares fit well enough to correct colours by, and by a curve that a phone has."""
        fits = self.kept.sum() >= FEWEST and self.residual <= MOST_RESIDUAL
        return bool(fits and (np.abs(self.camera.tone) <= MOST_TONE).all())

    def corrected(self, known: "Known") -> Array:
        """Linear sRGB, shape (N, 3), of squares as this camera and light have it."""
        level = (known.level * np.exp(known.terms @ self.field))[:, None]
        return self.camera.mixed(self.camera.decoded(known.codes) / (self.white * level))

    def off(self, known: "Known") -> Array:
        """Delta E, shape (N,), of squares from what they are."""
        return np.asarray(
            delta_e(linear_to_lab(self.corrected(known)), linear_to_lab(known.linear)), np.float64
        )


@dataclass(frozen=True, slots=True, eq=False)
class KnownLight:
    """What known colours tell of a photo's light.

    Attributes
    ----------
    method : str
        "mat" or "chart".
    camera : Camera
        `PLAIN` where only neutrals are known.
    white : ndarray, shape (3,)
        Decoded light of a perfect white where `field` is 0.
    field : ndarray, shape (6,)
        Coefficients of 1, x, y, x^2, xy, y^2 of the log light level, as `Light.field`.
    residual : float
        Median Delta E of the squares used; NaN where only neutrals are known.
    used, of : int
        Squares that fit, and squares there are.
    by : str
        "chart", "card", "paper" or "bright paper": how well the colours themselves are known.
    read_at : tuple of float, or None
        x, y of the chart, as -1..1 across the photo; None for the mat, which lies all round the part.
    """

    method: str
    camera: Camera
    white: Array
    field: Array
    residual: float
    used: int
    of: int
    by: str
    read_at: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """Squares of known colour in a photo.

    Attributes
    ----------
    codes : ndarray, shape (N, 3)
        Encoded, 0..1.
    linear : ndarray, shape (N, 3)
        What they are: linear sRGB under D65.
    terms : ndarray, shape (N, 6)
        1, x, y, x^2, xy, y^2 of their places, from where the light's level is to be told.
    level : ndarray, shape (N,)
        How the light is known to fall there, as a factor; ones where nothing is known.
    """

    codes: Array
    linear: Array
    terms: Array
    level: Array

    def chosen(self, which: NDArray[np.bool_]) -> "Known":
        """Only some of the squares."""
        return Known(self.codes[which], self.linear[which], self.terms[which], self.level[which])


def fit_camera(known: Known, bows: bool, bends: bool = True) -> CameraFit:
    """The camera and light under which known squares come out right, hidden squares left out.

    Parameters
    ----------
    known : Known
    bows : bool
        Whether the light may bow over the squares, and not only slope: for squares spread over the photo.
    bends : bool
        Whether the tone curve may bend and the channels mix: for squares of many colours.

    Notes
    -----
    Least squares in CIELAB, each axis weighted as CIEDE2000 does at the known colour, with a soft loss; then
    squares far off are left out, until none is. The scatter is judged by the median, so that a third of the
    squares may be hidden.
    """
    shape = _Shape(bows, bends)
    kept = np.ones(len(known.codes), bool)
    terms = shape.start(known)
    for _ in range(_ROUNDS):
        terms = _solved(terms, shape, known, kept)
        off = shape.unpacked(terms).off(known)
        spread = 1.4826 * float(np.median(off[kept]))
        now = off <= max(STRAY_LEAST, STRAY * spread)
        if now.sum() < min(FEWEST, len(now)) or (now == kept).all():
            break
        kept = now
    fit = shape.unpacked(terms)
    off = fit.off(known)
    return replace(fit, kept=kept, residuals=off, residual=float(np.median(off[kept])))


@dataclass(frozen=True, slots=True)
class _Shape:
    """Which terms are free; in order 3 whites (log), 2 or 5 of the field, 2 of the tone, 6 of the matrix."""

    bows: bool
    bends: bool

    @property
    def fields(self) -> int:
        return 5 if self.bows else 2

    def start(self, known: Known) -> Array:
        # The median holds while fewer than half of the squares are hidden.
        decoded = PLAIN.decoded(known.codes) / known.level[:, None]
        white = np.median(decoded / np.maximum(known.linear, 0.02), axis=0)
        rest = self.fields + (8 if self.bends else 0)
        return np.append(np.log(np.maximum(white, 1e-3)), np.zeros(rest))

    def unpacked(self, terms: Array) -> CameraFit:
        field = np.zeros(6)
        field[1 : 1 + self.fields] = terms[3 : 3 + self.fields]
        camera = PLAIN
        if self.bends:
            at = 3 + self.fields
            off = np.zeros((3, 3))
            off[~np.eye(3, dtype=bool)] = terms[at + 2 :]
            camera = Camera(terms[at : at + 2], np.eye(3) + off - np.diag(off.sum(axis=1)))
        none = np.zeros(0)
        return CameraFit(camera, np.exp(terms[:3]), field, none.astype(bool), none, np.nan)

    def drawn_to(self) -> Array:
        """How strongly each term is drawn to nothing."""
        field = [_FIELD_SPREAD] * 2 + [_BOW_SPREAD] * (self.fields - 2)
        bends = [_TONE_SPREAD] * 2 + [_MATRIX_SPREAD] * 6 if self.bends else []
        return 1 / np.array([*field, *bends])


def _solved(terms: Array, shape: _Shape, known: Known, kept: NDArray[np.bool_]) -> Array:
    wanted = linear_to_lab(known.linear[kept])
    weight = _weights(wanted)
    part = known.chosen(kept)
    drawn = shape.drawn_to()

    def off(now: Array) -> Array:
        seen = linear_to_lab(shape.unpacked(now).corrected(part))
        return np.append(((seen - wanted) * weight).ravel(), drawn * now[3:])

    def slopes(now: Array) -> Array:
        # Own differences: those of the solver are relative, and for a term that is 0 drown in the rounding
        # of float32 colours.
        here = off(now)
        steps = _STEP * np.eye(len(now))
        return np.stack([(off(now + step) - here) / _STEP for step in steps], axis=1)

    from scipy.optimize import least_squares  # a third of a second that photos without known colours save

    fitted = least_squares(off, terms, slopes, loss="soft_l1", f_scale=_LOOSE, max_nfev=40)
    return np.asarray(fitted.x)


def _weights(lab: NDArray[np.floating]) -> Array:
    """Weight of a difference along L*, a* and b* at each colour: S_L and S_C of CIEDE2000."""
    light = (lab[:, 0] - 50.0) ** 2
    s_light = 1 + 0.015 * light / np.sqrt(20 + light)
    s_chroma = 1 + 0.045 * np.hypot(lab[:, 1], lab[:, 2])
    return np.asarray(1 / np.stack([s_light, s_chroma, s_chroma], axis=1), np.float64)
