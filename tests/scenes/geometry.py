"""Exact truth about where things are in a photo: projected circles and masks.

Pixels follow OpenCV: the centre of the top-left pixel is (0, 0), x right, y down. The bench is the plane
z = 0, x right, y away from the viewer, z up, in millimetres.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Pose:
    """A part's frame in the bench's frame: ``bench = rotation @ part + shift``."""

    rotation: Array  # (3, 3)
    shift: Array  # (3,) mm

    def apply(self, points: Array) -> Array:
        """Points (..., 3) of the part's frame, in the bench's frame."""
        return points @ self.rotation.T + self.shift

    def undo(self, points: Array) -> Array:
        """Points (..., 3) of the bench's frame, in the part's frame."""
        return (points - self.shift) @ self.rotation


@dataclass(frozen=True, slots=True, eq=False)
class Pinhole:
    """A distortion-free camera, axes as in OpenCV: x right, y down, z forward."""

    width: int
    height: int
    focal_px: float
    rotation: Array  # (3, 3), bench to camera
    centre: Array  # (3,) mm, in the bench's frame

    @property
    def matrix(self) -> Array:
        """Intrinsics (3, 3); the principal point is the picture's centre."""
        return np.array(
            [
                [self.focal_px, 0, (self.width - 1) / 2],
                [0, self.focal_px, (self.height - 1) / 2],
                [0, 0, 1.0],
            ]
        )

    def project(self, points: Array) -> Array:
        """Pixel positions (..., 2) of bench points (..., 3)."""
        seen = (points - self.centre) @ self.rotation.T @ self.matrix.T
        return seen[..., :2] / seen[..., 2:]

    def plane_homography(self, pose: Pose, z: float) -> Array:
        """The (3, 3) map from (x, y, 1) on the plane z of a part's frame to homogeneous pixels."""
        axes = pose.rotation[:, :2]
        origin = pose.apply(np.array([0.0, 0.0, z])) - self.centre
        return self.matrix @ self.rotation @ np.column_stack([axes, origin])


def look_at(
    target: Array,
    distance: float,
    slant_deg: float,
    turn_deg: float,
    roll_deg: float,
    size: tuple[int, int],
    focal_px: float,
) -> Pinhole:
    """A camera looking at ``target`` from ``distance`` mm, ``slant_deg`` off the bench's normal.

    ``turn_deg`` 0 leans back towards the viewer (-y); positive goes anticlockwise round the target.
    ``roll_deg`` turns the camera about its axis.
    """
    slant, turn, roll = np.deg2rad([slant_deg, turn_deg, roll_deg])
    back = np.array([np.sin(slant) * np.sin(turn), -np.sin(slant) * np.cos(turn), np.cos(slant)])
    right = np.array([np.cos(turn), np.sin(turn), 0.0])
    down = np.cross(-back, right)
    right, down = np.cos(roll) * right + np.sin(roll) * down, -np.sin(roll) * right + np.cos(roll) * down
    rotation = np.stack([right, down, -back])
    return Pinhole(size[0], size[1], focal_px, rotation, np.asarray(target, float) + distance * back)


@dataclass(frozen=True, slots=True)
class Ellipse:
    """Centre, full axes and the major axis's angle clockwise on screen from +x, in [0, 180)."""

    cx: float
    cy: float
    major: float
    minor: float
    angle_deg: float


def projected_circle(camera: Pinhole, pose: Pose, radius: float, z: float) -> Ellipse:
    """The exact image of the circle of ``radius`` mm on the plane ``z`` of a part.

    A pinhole maps a circle in front of it to an ellipse. With H the plane's homography the circle's conic C
    becomes inv(H).T @ C @ inv(H) (R. Hartley, A. Zisserman, Multiple View Geometry, result 2.13; number from
    memory).
    """
    inverse = np.linalg.inv(camera.plane_homography(pose, z))
    conic = inverse.T @ np.diag([1.0, 1.0, -(radius**2)]) @ inverse
    square, linear = conic[:2, :2], conic[:2, 2]
    centre = -np.linalg.solve(square, linear)
    level = -(conic[2, 2] + linear @ centre)
    values, vectors = np.linalg.eigh(square / level)
    if values.min() <= 0:
        raise ValueError("the circle reaches behind the camera")
    major, minor = 2 / np.sqrt(values)
    angle = np.degrees(np.arctan2(vectors[1, 0], vectors[0, 0])) % 180.0
    return Ellipse(float(centre[0]), float(centre[1]), float(major), float(minor), float(angle))


@dataclass(frozen=True, slots=True, eq=False)
class Hits:
    """What the ray through each pixel's centre meets first, (H, W)."""

    owner: NDArray[np.int16]  # index of the part, -1 for anything else
    on_top: NDArray[np.bool_]  # on the part's painted upper side
    point: NDArray[np.float32]  # (H, W, 3) mm, bench frame


def part_mask(hits: Hits, index: int) -> NDArray[np.bool_]:
    """Everything visible of part ``index``, teeth and edges included."""
    return hits.owner == index


def ring_face_mask(
    hits: Hits, index: int, pose: Pose, inner_r: float, outer_r: float, top: float
) -> NDArray[np.bool_]:
    """Visible pixels of a plate's upper surface between its face's two edges; grooves belong to it."""
    local = pose.undo(hits.point.astype(float))
    r = np.hypot(local[..., 0], local[..., 1])
    level = np.abs(local[..., 2] - top) < 0.05
    return (hits.owner == index) & hits.on_top & level & (r >= inner_r) & (r <= outer_r)


def level_mask(hits: Hits, index: int, pose: Pose, top: float) -> NDArray[np.bool_]:
    """Visible pixels of part ``index`` on its plane z = ``top``: a band's lining."""
    local = pose.undo(hits.point.astype(float))
    return (hits.owner == index) & hits.on_top & (np.abs(local[..., 2] - top) < 0.05)


def seen_in_map(
    camera: Pinhole, pose: Pose, mask: NDArray[np.bool_], map_xy: Array, top: float
) -> NDArray[np.bool_]:
    """Which map pixels (at ``map_xy`` (..., 2), part frame, y up) project into ``mask``."""
    points = np.concatenate([map_xy, np.full((*map_xy.shape[:-1], 1), top)], axis=-1)
    xy = np.rint(camera.project(pose.apply(points))).astype(int)
    inside = (
        (xy[..., 0] >= 0) & (xy[..., 0] < camera.width) & (xy[..., 1] >= 0) & (xy[..., 1] < camera.height)
    )
    seen = np.zeros(map_xy.shape[:-1], bool)
    seen[inside] = mask[xy[inside][:, 1], xy[inside][:, 0]]
    return seen
