"""Two rails at an even distance make a ribbon; the ribbon laid out straight is what a band is judged on."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.parts.rails import Rail

MOST_RAILS, MOST_PAIRS = 24, 60
NARROWEST, WIDEST = 12, 0.3  # pixels of the small copy; share of the length
PARALLEL = 0.93  # cosine between chords: perspective and clutter that lengthens one stay within 20 degrees
TAPER = 0.3  # change of the width along the ribbon by which perspective can explain it
SHARED = 0.55  # of the longer rail's length along which both must run
MIN_CONTRAST = 6.0  # 8-bit codes between inside and outside; pairs of ribs, cracks and grain stay under 5
FULL_CONTRAST = 20.0  # codes; beyond it the longer ribbon is looked at first, not the one with more contrast
SAME_PLACE = 0.3  # of the width by which two ribbons must differ
REACH = 1.6  # half widths to either side of the middle line that are laid out


@dataclass(frozen=True, slots=True, eq=False)
class Ribbon:
    """A strip between two smooth rails.

    Attributes
    ----------
    origin, along, across : ndarray, shape (2,)
        Frame: a point and two unit vectors; u runs right (or down), v 90 degrees clockwise on screen from it.
    upper, lower : ndarray, shape (3,) or more
        v of the two rails as polynomials of u, highest power first; upper has the smaller v.
    low, high : float
        Range of u.
    """

    origin: NDArray[np.float64]
    along: NDArray[np.float64]
    across: NDArray[np.float64]
    upper: NDArray[np.float64]
    lower: NDArray[np.float64]
    low: float
    high: float

    def at(self, u: NDArray[np.float64], t: NDArray[np.floating]) -> NDArray[np.float64]:
        """x, y of points; t is -1 on the upper rail and 1 on the lower, measured square to the middle line.

        `u` and `t` broadcast against each other; the result has one more axis, of length 2.
        """
        middle, slope, half = self._cut(u)
        length = np.hypot(1, slope)
        shift = t * (half / length)
        forward, sideways = u - shift * slope, middle + shift
        return self.origin + forward[..., None] * self.along + sideways[..., None] * self.across

    def half_width(self, u: NDArray[np.float64]) -> NDArray[np.floating]:
        """Half the distance between the rails, square to the middle line."""
        return self._cut(u)[2]

    def _cut(
        self, u: NDArray[np.float64]
    ) -> tuple[NDArray[np.floating], NDArray[np.floating], NDArray[np.floating]]:
        """v and slope of the middle line, and half the width square to it."""
        middle = (self.upper + self.lower) / 2
        slope = np.polyval(np.polyder(middle), u)
        return np.polyval(middle, u), slope, np.polyval((self.lower - self.upper) / 2, u) / np.hypot(1, slope)

    @property
    def width(self) -> float:
        """In its middle."""
        return 2 * float(self.half_width(np.array((self.low + self.high) / 2)))

    def scaled(self, factor: float) -> "Ribbon":
        """The same ribbon in a picture `factor` times as large; pixel centres are whole numbers."""

        def larger(curve: NDArray[np.float64]) -> NDArray[np.float64]:
            return curve * factor ** (1.0 - np.arange(len(curve))[::-1])

        return Ribbon(
            (self.origin + 0.5) * factor - 0.5,
            self.along,
            self.across,
            larger(self.upper),
            larger(self.lower),
            self.low * factor,
            self.high * factor,
        )


@dataclass(frozen=True, slots=True, eq=False)
class Layout:
    """A ribbon laid out straight.

    Attributes
    ----------
    rgb8 : ndarray, shape (len(t), len(u), 3), uint8
        Outside the photo its border's colours go on.
    u, t : ndarray
        Where columns and rows lie on the ribbon.
    rows : int
        Rows, and columns, to one width of the ribbon.
    inside : ndarray of bool, shape (len(u),)
        Columns whose middle is in the photo.
    """

    rgb8: NDArray[np.uint8]
    u: NDArray[np.float64]
    t: NDArray[np.floating]
    rows: int
    inside: NDArray[np.bool_]


def lay_out(rgb8: NDArray[np.uint8], ribbon: Ribbon, rows: int, beyond: float) -> Layout:
    """The ribbon and its surroundings straightened, each width sampled by `rows` rows.

    Parameters
    ----------
    rgb8 : ndarray, shape (H, W, 3), uint8
    ribbon : Ribbon
        In pixels of `rgb8`.
    rows : int
        Rows to one width.
    beyond : float
        Share of the length that is added at each end.
    """
    extra = beyond * (ribbon.high - ribbon.low)
    u = np.arange(ribbon.low - extra, ribbon.high + extra, ribbon.width / rows)
    half = round(REACH * rows / 2)
    t = np.arange(-half, half + 1) * (2 / rows)
    # Rails that were seen on a short stretch can cross when drawn out far.
    u = u[ribbon.half_width(u) > 0.25 * ribbon.width]
    # Points on one cut across lie evenly on a line, so its two ends give them all.
    ends = ribbon.at(u, np.array([[-REACH], [REACH]])).astype(np.float32)
    share = ((t + REACH) / (2 * REACH)).astype(np.float32)[:, None, None]
    xy = ends[0] + share * (ends[1] - ends[0])
    x, y = xy[..., 0], xy[..., 1]
    picture = cv2.remap(rgb8, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    middle = xy[half]
    size = np.array([rgb8.shape[1], rgb8.shape[0]])
    return Layout(
        np.asarray(picture, np.uint8), u, t, rows, ((middle >= 0) & (middle <= size - 1)).all(axis=1)
    )


def find_ribbons(small: NDArray[np.uint8], rails: list[Rail], most: int) -> list[Ribbon]:
    """Ribbons between rails; long ones that differ from what lies beside them first.

    Parameters
    ----------
    small : ndarray, shape (H, W, 3), uint8
        The picture that the rails were found in.
    rails : list of Rail
        Best first.
    most : int
        How many to return at most.
    """
    pairs = []
    rails = rails[:MOST_RAILS]
    for i, first in enumerate(rails):
        for second in rails[i + 1 :]:
            worth = _pair_worth(first, second)
            if worth is not None:
                pairs.append((worth, first, second))
    pairs.sort(key=lambda p: -p[0])
    average = np.asarray(cv2.blur(small, (5, 5)), np.uint8)
    rated = []
    for _, first, second in pairs[:MOST_PAIRS]:
        ribbon = _between(first, second)
        contrast = _contrast(average, ribbon)
        if contrast >= MIN_CONTRAST:
            rated.append((min(contrast, FULL_CONTRAST) * (ribbon.high - ribbon.low), ribbon))
    chosen: list[Ribbon] = []
    for _, ribbon in sorted(rated, key=lambda r: -r[0]):
        if len(chosen) < most and not any(_same_place(ribbon, other) for other in chosen):
            chosen.append(ribbon)
    return chosen


def _pair_worth(first: Rail, second: Rail) -> float | None:
    """Length on which edges were seen less what is missing; None where the two do not run side by side."""
    longer, shorter = (first, second) if first.length >= second.length else (second, first)
    if abs(longer.along @ shorter.along) < PARALLEL or shorter.length < SHARED * longer.length:
        return None
    u, apart = longer.frame(shorter.points(np.linspace(shorter.low, shorter.high, 9)))
    beside = (u > longer.low - 20) & (u < longer.high + 20)
    if beside.mean() < 0.6:
        return None
    apart = apart[beside]
    width = abs(float(apart.mean()))
    low, high = min(longer.low, float(u.min())), max(longer.high, float(u.max()))
    shared = min(longer.high, float(u.max())) - max(longer.low, float(u.min()))
    if not NARROWEST < width < WIDEST * (high - low) or np.abs(apart - apart.mean()).max() > TAPER * width:
        return None
    return longer.covered + shorter.covered - 0.7 * (high - low) if shared >= SHARED * (high - low) else None


def _between(first: Rail, second: Rail) -> Ribbon:
    points = [r.points(np.linspace(r.low, r.high, 25)) for r in (first, second)]
    along = first.along + second.along * np.sign(first.along @ second.along)
    along /= np.hypot(*along)
    # From the left end, or from the upper one of a strip that stands rather than lies.
    if along[int(abs(along[1]) > abs(along[0]))] < 0:
        along = -along
    across = np.array([-along[1], along[0]])
    origin = (points[0].mean(axis=0) + points[1].mean(axis=0)) / 2
    u = [(p - origin) @ along for p in points]
    upper, lower = (np.polyfit(u[k], (points[k] - origin) @ across, 2) for k in (0, 1))
    if upper[2] > lower[2]:
        upper, lower = lower, upper
    low, high = min(float(x.min()) for x in u), max(float(x.max()) for x in u)
    return Ribbon(origin, along, across, upper, lower, low, high)


def _contrast(average: NDArray[np.uint8], ribbon: Ribbon) -> float:
    """Colour step across the weaker rail, 8-bit codes: three tenths of its length have less."""
    u = np.linspace(ribbon.low, ribbon.high, 28)[2:-2]
    xy = ribbon.at(u, np.array([[-1.32], [-0.7], [0.7], [1.32]]))
    height, width = average.shape[:2]
    x, y = np.rint(xy[..., 0]).astype(int), np.rint(xy[..., 1]).astype(int)
    inside = (x >= 0) & (y >= 0) & (x < width) & (y < height)
    colour = average[np.clip(y, 0, height - 1), np.clip(x, 0, width - 1)].astype(float)
    steps = []
    for a, b in ((0, 1), (3, 2)):
        seen = inside[a] & inside[b]
        difference = np.abs(colour[a] - colour[b]).max(axis=1)[seen]
        steps.append(float(np.sort(difference)[int(0.3 * len(difference))]) if len(difference) >= 8 else 0.0)
    return min(steps)


def _same_place(a: Ribbon, b: Ribbon) -> bool:
    ends = [r.at(np.linspace(r.low, r.high, 9), np.array([[-1.0], [1.0]])) for r in (a, b)]
    return float(np.abs(ends[0] - ends[1]).max()) < SAME_PLACE * a.width
