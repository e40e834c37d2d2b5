"""The bench plane as a pinhole camera sees it: on it every plate is a true circle.

In the photo the rims of one plate are ellipses that share neither centre nor aspect, and over a long row the
aspect changes from plate to plate. One plane normal explains them all, so plates are sought on the plane.
"""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.parts.part import Ellipse

# A phone's main camera is 24 to 28 mm in 35 mm terms; the image diagonal then is 43.27 mm.
DEFAULT_FOCAL_PER_DIAGONAL = 26 / 43.27
LEAST_IN_VIEW = 0.056  # of the long side: the least that a plane shows of a photo; two of the smallest plates
HORIZON = 1e-3  # least depth, in focal lengths: points beyond go far away instead of wrapping round


@dataclass(frozen=True, slots=True)
class Plane:
    """A plane seen through a pinhole, and the map between photo and plane.

    Plane coordinates are those of a virtual camera turned to look straight down, moved and zoomed so that the
    middle of the photo stays where it is and as large as it is, so that lengths in pixels mean the same at
    every slant.

    Attributes
    ----------
    width, height : int
        Size of the image in pixels; its centre is the principal point.
    focal : float
        Focal length in pixels.
    slant : tuple of float
        Rotation vector (x, y) in radians that turns the camera to look straight down; its length is the
        slant.
    """

    width: int
    height: int
    focal: float
    slant: tuple[float, float]

    @property
    def rotation(self) -> NDArray[np.float64]:
        """The rotation from the photo's camera to the one looking straight down."""
        x, y = self.slant
        angle = math.hypot(x, y)
        if angle < 1e-9:
            return np.eye(3)
        kx, ky = x / angle, y / angle
        k = np.array([[0, 0, ky], [0, 0, -kx], [-ky, kx, 0]])
        return np.asarray(np.eye(3) + math.sin(angle) * k + (1 - math.cos(angle)) * k @ k)

    @property
    def _middle(self) -> NDArray[np.float64]:
        return np.array([(self.width - 1) / 2, (self.height - 1) / 2])

    @property
    def _view(self) -> tuple[NDArray[np.float64], float]:
        """Where the turned camera sees the middle of the photo, focal lengths, and its zoom.

        Seen straight down, that spot is larger by 1 / cos^2 along the slant and by 1 / cos across it.
        """
        ray = self.rotation[:, 2]
        return ray[:2] / ray[2], float(ray[2] ** 1.5)

    def _turn(self, rays: NDArray[np.float64], rotation: NDArray[np.float64]) -> NDArray[np.float64]:
        turned = rays @ rotation[:, :2].T + rotation[:, 2]
        return np.asarray(turned[..., :2] / np.maximum(turned[..., 2:], HORIZON))

    def to_plane(self, xy: NDArray[np.floating]) -> NDArray[np.float64]:
        """Photo points (..., 2) on the plane."""
        at, zoom = self._view
        seen = self._turn((np.asarray(xy, float) - self._middle) / self.focal, self.rotation)
        return np.asarray((seen - at) * (zoom * self.focal) + self._middle)

    def to_photo(self, xy: NDArray[np.floating]) -> NDArray[np.float64]:
        """Plane points (..., 2) in the photo."""
        at, zoom = self._view
        seen = (np.asarray(xy, float) - self._middle) / (zoom * self.focal) + at
        return np.asarray(self._turn(seen, self.rotation.T) * self.focal + self._middle)

    @property
    def bounds(self) -> tuple[float, float, float, float] | None:
        """x0, y0, x1, y1 of the photo on the plane; None where the horizon runs through the photo."""
        size = np.array([self.width, self.height])
        last = self.width - 1, self.height - 1
        box = self.to_plane(np.array([[0, 0], [last[0], 0], last, [0, last[1]]], float))
        # Towards the horizon the plane has no end; plates that far off are too small to grade.
        low, high = np.maximum(box.min(axis=0), -size), np.minimum(box.max(axis=0), 2 * size)
        if (high - low).min() < LEAST_IN_VIEW * size.max():
            return None
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])

    def circles_to_photo(
        self,
        centre: tuple[float, float],
        angles: NDArray[np.floating],
        radii: NDArray[np.floating],
        scale: float,
    ) -> NDArray[np.float32]:
        """Points of circles round one centre, shape (angles, radii, 2), in a photo `scale` times as large.

        Along a ray the projection's numerators and depth are linear, so there is no need of a matrix for
        each point.
        """
        at, zoom = self._view
        unit = zoom * self.focal
        rotation = self.rotation.T
        start = rotation[:, :2] @ ((np.array(centre) - self._middle) / unit + at) + rotation[:, 2]
        along = (np.stack([np.cos(angles), np.sin(angles)]).T @ (rotation[:, :2].T / unit)).astype(np.float32)
        turned = [np.float32(start[k]) + along[:, k, None] * radii.astype(np.float32) for k in range(3)]
        size = np.float32(self.focal * scale) / np.maximum(turned[2], np.float32(HORIZON))
        middle = ((self._middle + 0.5) * scale - 0.5).astype(np.float32)
        return np.asarray(cv2.merge([turned[k] * size + middle[k] for k in range(2)]))


def slants_of_ellipse(ellipse: Ellipse, width: int, height: int, focal: float) -> list[tuple[float, float]]:
    """The two plane slants under which a circle is seen as this ellipse.

    Parameters
    ----------
    ellipse : Ellipse
        In pixels of an image of `width` by `height`.
    focal : float
        Focal length in pixels.

    Returns
    -------
    list of tuple
        Rotation vectors as `Plane.slant`.

    Notes
    -----
    The cone through the ellipse, diagonalised: its circular sections are at right angles to one of two
    directions in the plane of the largest and the negative eigenvalue's axes (D. Forsyth and others, IEEE
    PAMI 13, 971-991, 1991; from memory).
    """
    inverse = np.linalg.inv(ellipse.axes / focal)
    centre = np.array([ellipse.cx - (width - 1) / 2, ellipse.cy - (height - 1) / 2]) / focal
    shape = inverse @ inverse
    pull = shape @ centre
    cone = np.block([[shape, -pull[:, None]], [-pull[None, :], np.array([[centre @ pull - 1]])]])
    values, vectors = np.linalg.eigh(cone)  # ascending: one negative, two positive
    low, middle, high = values
    along_high = math.sqrt(max(0.0, (high - middle) / (high - low)))
    along_low = math.sqrt(max(0.0, (middle - low) / (high - low)))
    found = []
    for sign in (1, -1):
        normal = sign * along_high * vectors[:, 2] + along_low * vectors[:, 0]
        if normal[2] < 0:
            normal = -normal
        # Turn `normal` onto the optical axis about an axis that lies in the image plane.
        tilt = math.acos(min(1.0, normal[2]))
        length = math.hypot(normal[0], normal[1])
        found.append((0.0, 0.0) if length < 1e-9 else (normal[1] / length * tilt, -normal[0] / length * tilt))
    return found
