"""The mat's plane in a photo: homography and lens distortion from the markers' corners."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]

FEWEST_CORNERS = 8  # of two markers
FOR_THE_LENS = 16  # corners, of four markers: under that, lens and slant cannot be told apart
STRAY = 0.008  # of the photo's diagonal: a corner further off its place is another sheet's, or curled up
_MOST_BENT = 0.25  # of the distortion's coefficient; a phone's main camera stays under 0.05
_UNDO_ROUNDS = 12  # of the fixed point; at 0.25 the last one moves 1e-5 of the half diagonal


@dataclass(frozen=True, slots=True, eq=False)
class Plane:
    """Where the mat's millimetres lie in a photo.

    Attributes
    ----------
    homography : ndarray, shape (3, 3)
        From mm on the mat to places in the photo without its distortion, in half diagonals from the photo's
        middle.
    bend : float
        Radial distortion: a place at radius r (half diagonals) is seen at r (1 + bend r^2).
    middle : ndarray, shape (2,)
        Of the photo in pixels.
    unit : float
        Half diagonal in pixels.
    """

    homography: NDArray[np.float64]
    bend: float
    middle: Points
    unit: float

    def to_px(self, mm: Points) -> Points:
        """Pixels, shape (..., 2), of places on the mat in mm."""
        flat = _projected(self.homography, mm)
        radius2 = (flat**2).sum(axis=-1, keepdims=True)
        return np.asarray(flat * (1 + self.bend * radius2) * self.unit + self.middle)

    def to_mm(self, px: Points) -> Points:
        """Places on the mat in mm, shape (..., 2), of pixels."""
        seen = (np.asarray(px, float) - self.middle) / self.unit
        flat: Points = seen
        for _ in range(_UNDO_ROUNDS):
            flat = np.asarray(seen / (1 + self.bend * (flat**2).sum(axis=-1, keepdims=True)))
        return _projected(np.asarray(np.linalg.inv(self.homography), np.float64), flat)

    def mm_per_px(self, px: Points) -> float:
        """Millimetres per pixel at a place: the root of an area's ratio, so that slant counts evenly."""
        steps = np.array([[-0.5, 0], [0.5, 0], [0, -0.5], [0, 0.5]])
        left, right, up, down = self.to_mm(np.asarray(px, float) + steps)
        return float(np.sqrt(abs(np.linalg.det(np.stack([right - left, down - up])))))

    def scaled(self, factor: float) -> "Plane":
        """The same plane in a photo with `factor` times the pixels each way (pixel centres whole numbers)."""
        middle = (self.middle + 0.5) * factor - 0.5
        return replace(self, middle=middle, unit=self.unit * factor)


def fit_plane(mm: Points, px: Points, size: tuple[int, int]) -> tuple[Plane, NDArray[np.bool_]] | None:
    """The plane on which marker corners lie, and which of them fit it.

    Parameters
    ----------
    mm, px : ndarray, shape (N, 2)
        Corners on the mat and in the photo.
    size : tuple of int
        Width and height of the photo.

    Returns
    -------
    Plane, ndarray of bool, shape (N,); or None where fewer than two markers' corners fit one plane.

    Notes
    -----
    Homography by RANSAC, then all its terms and one radial distortion term together by least squares
    with a robust loss (Zhang 2000, from memory: lens and plane are separable with points enough).
    """
    if len(mm) < FEWEST_CORNERS:
        return None
    middle = (np.array(size, float) - 1) / 2
    unit = float(np.hypot(*size)) / 2
    seen = (px - middle) / unit
    start, fits = cv2.findHomography(mm, seen, cv2.RANSAC, 2 * STRAY, maxIters=2000, confidence=0.999)
    if start is None or fits.sum() < FEWEST_CORNERS:
        return None
    kept = fits.ravel().astype(bool)
    plane = _refined(Plane(start / start[2, 2], 0.0, middle, unit), mm[kept], px[kept])
    kept = np.hypot(*(plane.to_px(mm) - px).T) < 2 * STRAY * unit
    return (plane, kept) if kept.sum() >= FEWEST_CORNERS else None


def _refined(plane: Plane, mm: Points, px: Points) -> Plane:
    bends = len(mm) >= FOR_THE_LENS
    extent = np.abs(mm).max()

    def with_terms(terms: NDArray[np.float64]) -> Plane:
        # In units of the mat's extent all eight terms are of one size.
        shrink = np.diag([1 / extent, 1 / extent, 1.0])
        homography = np.append(terms[:8], 1.0).reshape(3, 3) @ shrink
        return replace(plane, homography=homography, bend=float(terms[8]) if bends else 0.0)

    def off(terms: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray((with_terms(terms).to_px(mm) - px).ravel())

    first = (plane.homography @ np.diag([extent, extent, 1.0])).ravel()[:8]
    if bends:
        first = np.append(first, 0.0)
    from scipy.optimize import least_squares  # a third of a second that photos without a mat save

    # Corners are found to a few tenths of a pixel.
    fitted = least_squares(off, first, loss="soft_l1", f_scale=0.5, x_scale="jac")
    refined = with_terms(fitted.x)
    return refined if abs(refined.bend) <= _MOST_BENT else plane


def _projected(homography: NDArray[np.float64], points: Points) -> Points:
    whole = np.asarray(points, float) @ homography[:, :2].T + homography[:, 2]
    return np.asarray(whole[..., :2] / whole[..., 2:])
