"""`Part`: one plate or band in a photo, however it was found, and `Ellipse`, its rims."""

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Ellipse:
    """An ellipse in the contract's form.

    Attributes
    ----------
    cx, cy : float
        Centre in pixels of the upright photo; the centre of the top-left pixel is (0, 0).
    major, minor : float
        Full axis lengths in pixels, major >= minor > 0.
    angle_deg : float
        Direction of the major axis, clockwise on screen from the x axis, in [0, 180).
    """

    cx: float
    cy: float
    major: float
    minor: float
    angle_deg: float

    @property
    def axes(self) -> NDArray[np.float64]:
        """The symmetric 2 x 2 matrix that takes the unit circle to this one, without turning it.

        Symmetric, so that a direction seen on the rectified plate is as near as an affine map allows to
        the direction in the photo.
        """
        t = math.radians(self.angle_deg)
        u = np.array([math.cos(t), math.sin(t)])
        v = np.array([-math.sin(t), math.cos(t)])
        return np.asarray(self.major / 2 * np.outer(u, u) + self.minor / 2 * np.outer(v, v))

    def points(self, angles_rad: NDArray[np.floating]) -> NDArray[np.float64]:
        """Rim points (N, 2), x and y, at angles of the rectified circle, clockwise on screen from +x."""
        circle = np.stack([np.cos(angles_rad), np.sin(angles_rad)], axis=-1)
        return np.asarray(circle @ self.axes + [self.cx, self.cy])

    def radius_of(self, x: NDArray[np.floating], y: NDArray[np.floating]) -> NDArray[np.floating]:
        """Rectified radius of points: 1 on the rim, below 1 inside. Single precision stays single."""
        t = math.radians(self.angle_deg)
        c, s = math.cos(t), math.sin(t)
        dx, dy = x - self.cx, y - self.cy
        along, across = (dx * c + dy * s) * (2 / self.major), (dy * c - dx * s) * (2 / self.minor)
        return np.sqrt(along * along + across * across)

    def scaled(self, factor: float) -> "Ellipse":
        """The same ellipse in an image resized by `factor`, pixel centres at whole numbers in both."""
        shift = (factor - 1) / 2
        return Ellipse(
            self.cx * factor + shift,
            self.cy * factor + shift,
            self.major * factor,
            self.minor * factor,
            self.angle_deg,
        )


def radius_ratio(outer: Ellipse, inner: Ellipse) -> float:
    """Inner over outer radius of a face, 0..1, the same at any slant."""
    return math.sqrt(inner.major * inner.minor / (outer.major * outer.minor))


def in_view(xy: NDArray[np.floating], size: tuple[int, int]) -> NDArray[np.bool_]:
    """Which points (..., 2) lie in an image of this width and height."""
    x, y = xy[..., 0], xy[..., 1]
    return np.asarray((x >= 0) & (y >= 0) & (x <= size[0] - 1) & (y <= size[1] - 1))


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """One plate or band in one photo. Coordinates are pixels of the upright full-size photo.

    Attributes
    ----------
    kind : str
        One of `terms.KINDS`.
    kind_confidence : float
        0..1; 1 when a person stated the kind.
    outer, inner : Ellipse or None
        Edges of the face on its upper surface, hidden stretches included, teeth never. Both None for a band;
        of a plate seen from its edge `outer` is about what is seen of it and `inner` None.
    spine : ndarray, shape (N, 2), or None
        For a band: the middle line of its lining, x, y, from its left or upper end. None for a plate.
    width : float
        For a band: width of the lining across the spine in pixels; NaN for a plate.
    origin : tuple of int
        x, y of the top-left working-copy pixel of the two masks.
    part_mask, face_mask : ndarray of bool, shape (h, w)
        In pixels of the working copy, cropped at `origin`. Part: everything visible of it, teeth included,
        holes left out. Face: between the edges; teeth, holes and whatever covers it left out.
    metal_mask : ndarray of bool, shape (h, w)
        Bare steel of the part outside the face (core and teeth); all False where none is seen.
    scale : float
        Full-size pixels per working-copy pixel.
    problems : tuple of str
        Names from `terms.PROBLEMS`.
    outline_stated : bool
        Whether a person set its rims.
    """

    kind: str
    kind_confidence: float
    outer: Ellipse | None
    inner: Ellipse | None
    spine: NDArray[np.float64] | None
    width: float
    origin: tuple[int, int]
    part_mask: NDArray[np.bool_]
    face_mask: NDArray[np.bool_]
    metal_mask: NDArray[np.bool_]
    scale: float
    problems: tuple[str, ...] = ()
    outline_stated: bool = False
    evidence: dict[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if not self.part_mask.shape == self.face_mask.shape == self.metal_mask.shape:
            raise ValueError(
                f"masks of one shape expected, got part {self.part_mask.shape}, face {self.face_mask.shape}, "
                f"metal {self.metal_mask.shape}"
            )
