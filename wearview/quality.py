"""Whether a whole photo can be graded at all: a photo on a page, too dark, blown out, grey, too small, or
blurred beyond doubt.

Only what nobody would dispute is refused here. Glare on metal is not blown highlights, a smooth glazed face
is not blur, so the face of a part says nothing: exposure is judged over the whole picture, and focus on its
strongest edges alone. What needs the part (glare on it, cut off, covered, its own rim out of focus) is judged
where the part is known.
"""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.colour import SRGB_TO_XYZ, srgb_to_linear
from wearview.photo import Photo
from wearview.pieces import pieces
from wearview.ranks import middle, quantile
from wearview.terms import PROBLEMS

Float32 = NDArray[np.float32]

LEAST_SIDE = 300  # px: a plate across all of it has some 50 pixels in a 10 degree sector of its face
LEAST_LIGHT = 0.03  # linear, of the brightest 5 %: at a third of it, one 8-bit step is a Delta E of 1
# Share of the picture; and luminance that half of it must pass besides, as a large sheet of paper that is
# blown out spoils no plate (tuned photos: 0.82 and 1.0 where too bright, 0.2 with such a sheet).
MOST_CLIPPED, BRIGHT = 0.25, 0.4
# Working px. On 58 rendered bench photos (tuned ones): sharp up to 5.5; blurred afterwards by a Gaussian of
# sigma 4 px from 8.3 on, of 10 from 19; shaken over 20 px from 9.6, over 38 from 10.8. From 6 to 9 nothing of
# this moves.
WIDEST_EDGE = 8.0

# A screenshot or a scan: a page of one colour with a picture on it. Of half the working copy: 8-bit steps
# that JPEG leaves between a page's pixels, and pixels that it smears along an edge; least share of the frame
# and of the whole that the page takes, of what lies around the picture (words and buttons lie there too), and
# of each of the picture's edges (a chat rounds its corners). No bench is of one colour, and what is blown out
# ends along no straight line on two sides.
ONE_COLOUR, SMEARED = 3, 5
PAGE_FRAME, LEAST_PAGE, PAGE_AROUND, EDGE_HELD = 0.3, 0.05, 0.8, 0.9
LEAST_EDGES = 2
# A page above or below alone: px between the thirds of its edge. Of 985 rendered photos none; of 40 with a
# sheet blown out along all of the lower side 30 at a slant of 0.1 degrees, 4 at 0.3 and none at 0.5.
MOST_TILT = 1
LEAST_PICTURE = 100  # px of it each way

LUMINANCE = SRGB_TO_XYZ[1].astype(np.float32)
_EVERY = 4  # pixels each way for exposure: 100,000 of them are enough
_CLIPPED = 250  # 8-bit; a phone bends its highlights, so that the last steps hold nearly all that is lost
# 8-bit: what JPEG leaves of colour in a grey picture. Bare steel on a steel bench has ten times that.
_GREY, _GREY_SHARE = 3, 0.999
_COLOURLESS = 12  # 8-bit; nearly all on the straight foot of the sRGB curve, where noise outweighs colour

# Rise of an edge in widths of a Gaussian between 10 % and 90 %: twice the 0.9 quantile of the normal
# distribution.
RISE_PER_SIGMA = 2.5631
_SMOOTHING = 1.0  # px, sigma; taken off again in quadrature
_REACH = 24  # px each way that an edge is followed
_STEP = 0.5  # px between samples across an edge
_LOOKED_AT = 60_000  # pixels, about; only every so many rows of a picture full of edges
_DIRECTIONS = 8  # of edges over half a turn; a shaken photo stays sharp along the shake
_PER_DIRECTION = 160  # edges looked at in each
_ENOUGH = 24  # edges of a direction before it has a say
_SLOPE_END = 0.1  # an edge ends where its slope has fallen to this share of the steepest
# Without the tails beyond that end a Gaussian edge measures short by this (normal distribution, worked out).
_TAILS = 1.0574
_LEAST_CONTRAST = 20.0  # 8-bit steps; below it, noise and grain look like edges


@dataclass(frozen=True, slots=True)
class Quality:
    """What can be said of a photo before a part is found.

    Attributes
    ----------
    gradeable : bool
        False when one of `problems` refuses.
    problems : tuple of str
        Names from `terms.PROBLEMS`.
    median_luminance : float
        Median of the luminance, 0..1 linear.
    clipped : float
        Share of pixels with a channel at or next to the top of the scale, 0..1.
    dark : float
        Share of pixels too dark to have a colour, 0..1.
    edge_width : float
        10-90 % rise of the strongest edges in working pixels, in the worst direction; NaN without strong
        edges.
    """

    gradeable: bool
    problems: tuple[str, ...]
    median_luminance: float
    clipped: float
    dark: float
    edge_width: float


def judge(photo: Photo) -> Quality:
    """Whether the photo as a whole can be graded.

    Parameters
    ----------
    photo : Photo
        Looked at on its working copy.

    Returns
    -------
    Quality
        With "too small", "too dark", "blown highlights", "no colour" or "blurred" where nobody would dispute
        it; with "photo on a page" alone where that is what it is, as the page spoils what is said of light.
    """
    sample = np.ascontiguousarray(photo.working[::_EVERY, ::_EVERY])
    luminance = srgb_to_linear(sample) @ LUMINANCE
    brightest = np.maximum(np.maximum(sample[..., 0], sample[..., 1]), sample[..., 2])
    clipped = float(np.mean(brightest >= _CLIPPED))
    dark = float(np.mean(brightest <= _COLOURLESS))
    half = _half(photo)
    width = 2 * edge_width(np.asarray(cv2.cvtColor(half, cv2.COLOR_RGB2GRAY), dtype=np.uint8))
    if width > WIDEST_EDGE:
        # Edges between colours of one lightness are not there in grey, and soft stains then speak for their
        # directions. What is blurred is blurred in every channel.
        width = min(width, *(2 * edge_width(np.ascontiguousarray(half[..., c])) for c in (0, 2)))
    median_luminance = middle(luminance)
    too_dark = quantile(luminance, 0.95) < LEAST_LIGHT
    on_page = _is_on_a_page(half)
    found = {
        "too small": max(photo.width, photo.height) < LEAST_SIDE,
        "too dark": too_dark,
        "blown highlights": clipped > MOST_CLIPPED and median_luminance > BRIGHT,
        "no colour": not too_dark and _is_grey(sample, brightest),
        "blurred": width > WIDEST_EDGE,  # never true of NaN: without strong edges nothing is known
    }
    problems = ("photo on a page",) if on_page else tuple(name for name, holds in found.items() if holds)
    return Quality(
        gradeable=not any(PROBLEMS[name].refuses for name in problems),
        problems=problems,
        median_luminance=median_luminance,
        clipped=clipped,
        dark=dark,
        edge_width=width,
    )


def in_focus(photo: Photo, rims: NDArray[np.bool_]) -> bool:
    """Whether the edges along the rims of parts are sharp, on a bench whose own edges are not.

    Parameters
    ----------
    photo : Photo
    rims : ndarray of bool, shape (H, W)
        Of the working copy: where the rims lie.

    Notes
    -----
    Of 12 blurred tuned photos plates are found in five, their rims 22 pixels wide and more.
    """
    half = _half(photo)
    shape = half.shape[1::-1]
    along = cv2.resize(rims.astype(np.uint8), shape, interpolation=cv2.INTER_AREA) > 0
    return 2 * edge_width(np.asarray(cv2.cvtColor(half, cv2.COLOR_RGB2GRAY), np.uint8), along) <= WIDEST_EDGE


def _half(photo: Photo) -> NDArray[np.uint8]:
    """The working copy at half its size: a blur that spoils a photo is many pixels wide, and noise is half as
    strong there."""
    height, across = (max(1, side // 2) for side in photo.working.shape[:2])
    return np.asarray(cv2.resize(photo.working, (across, height), interpolation=cv2.INTER_AREA), np.uint8)


def _is_grey(rgb8: NDArray[np.uint8], brightest: NDArray[np.uint8]) -> bool:
    """Whether hardly a pixel has a colour among those neither too dark nor too bright to have one."""
    able = (brightest > _COLOURLESS) & (brightest < _CLIPPED)
    chroma = (brightest - np.minimum(np.minimum(rgb8[..., 0], rgb8[..., 1]), rgb8[..., 2]))[able]
    return bool(chroma.size and quantile(chroma, _GREY_SHARE) <= _GREY)


def _is_on_a_page(rgb8: NDArray[np.uint8]) -> bool:
    """Whether the picture is a page of one colour that holds a photo."""
    frame = np.concatenate([rgb8[0], rgb8[-1], rgb8[:, 0], rgb8[:, -1]])[np.newaxis]
    for colour in (rgb8[0, 0], rgb8[0, -1], rgb8[-1, 0], rgb8[-1, -1]):
        # Of a bench never so much of the frame, so that the rest is hardly ever worked out.
        if np.count_nonzero(_of_colour(frame, colour)) < PAGE_FRAME * frame.shape[1]:
            continue
        if _holds_a_picture(_of_colour(rgb8, colour)):
            return True
    return False


def _of_colour(rgb8: NDArray[np.uint8], colour: NDArray[np.uint8]) -> NDArray[np.bool_]:
    middle = colour.astype(np.float64)
    return np.asarray(cv2.inRange(rgb8, middle - ONE_COLOUR, middle + ONE_COLOUR)) > 0


def _holds_a_picture(page: NDArray[np.bool_]) -> bool:
    """Whether what a page leaves free is a picture with straight edges."""
    height, width = page.shape
    _, stats = pieces(~page)
    if len(stats) < 2:
        return False
    largest = stats[1 + int(stats[1:, cv2.CC_STAT_AREA].argmax())]
    left, top, across, down = (int(v) for v in largest[: cv2.CC_STAT_AREA])
    picture = page[top : top + down, left : left + across]
    around = page.size - picture.size
    flat = np.count_nonzero(page) - np.count_nonzero(picture)
    if min(across, down) < LEAST_PICTURE or flat < max(LEAST_PAGE * page.size, PAGE_AROUND * around):
        return False
    # From the page inwards, each free side of the picture laid along the top.
    sides = [
        (top, picture[:SMEARED]),
        (height - top - down, picture[: -SMEARED - 1 : -1]),
        (left, picture[:, :SMEARED].T),
        (width - left - across, picture[:, : -SMEARED - 1 : -1].T),
    ]
    free = [strip for margin, strip in sides if margin]
    if not free or any(np.mean(strip.all(axis=0)) >= 1 - EDGE_HELD for strip in free):
        return False
    return len(free) >= LEAST_EDGES or (down < height and _is_level(free[0]))


def _is_level(strip: NDArray[np.bool_]) -> bool:
    """Whether an edge runs along the frame to a pixel, as a screen draws it and hardly a sheet lies."""
    begins = strip.argmin(axis=0)
    return bool(np.ptp([np.median(third) for third in np.array_split(begins, 3)]) <= MOST_TILT)


def edge_width(gray: NDArray[np.uint8] | Float32, mask: NDArray[np.bool_] | None = None) -> float:
    """10-90 % rise of the strongest edges in pixels, in the direction where they are widest.

    Parameters
    ----------
    gray : ndarray, shape (H, W)
        Encoded grey, 0..255.
    mask : ndarray of bool, shape (H, W), optional
        Where edges may lie, for example along a rim.

    Returns
    -------
    float
        Pixels, 0 to about 35. NaN where there are too few strong edges to tell, or only wider ones.

    Notes
    -----
    The lower quartile of each direction: what is sharp in a sharp photo is its best edges, while soft shadows
    and rounded parts have wide ones in any photo. Then the worst direction, since a shaken photo keeps the
    edges along the shake sharp; a shake also widens the directions beside its own, so no direction counts for
    more than the wider one beside it (where that has edges). A Gaussian blur of sigma s gives 2.563 s, a
    shake over n pixels 0.8 n. Grain, noise and highlights play no part as long as their contrast stays under
    20 steps or a third of the picture's strong edges.
    """
    smooth = np.asarray(cv2.GaussianBlur(np.asarray(gray, np.float32), (0, 0), _SMOOTHING), np.float32)
    rows, cols, angle = _edge_points(smooth, mask)
    if rows.size < _ENOUGH:
        return math.nan
    width, contrast = _rises(smooth, rows, cols, angle)
    ended = np.isfinite(width)
    if np.count_nonzero(ended) < _ENOUGH:
        return math.nan
    strong = ended & (contrast >= max(_LEAST_CONTRAST, quantile(contrast[ended], 0.9) / 3))
    sector = _sector(angle)
    widths = np.full(_DIRECTIONS, np.nan)
    for k in range(_DIRECTIONS):
        chosen = strong & (sector == k)
        if np.count_nonzero(chosen) >= _ENOUGH:
            widths[k] = quantile(width[chosen], 0.25)
    beside = np.fmax(np.roll(widths, 1), np.roll(widths, -1))
    return float(np.fmax.reduce(np.where(np.isnan(beside), widths, np.fmin(widths, beside))))


def _sector(angle: Float32) -> NDArray[np.int_]:
    return np.floor(angle / np.pi * _DIRECTIONS + 0.5).astype(int) % _DIRECTIONS


def _edge_points(
    smooth: Float32, mask: NDArray[np.bool_] | None
) -> tuple[NDArray[np.int_], NDArray[np.int_], Float32]:
    """Rows, columns and directions (radians, of the rise) of the steepest points, so many per direction."""
    dx = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, scale=1 / 8)
    dy = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, scale=1 / 8)
    slope = cv2.magnitude(dx, dy)
    keep = slope > _LEAST_CONTRAST / (2 * _REACH)
    keep[:2], keep[-2:], keep[:, :2], keep[:, -2:] = False, False, False, False  # these lack a neighbour
    if mask is not None:
        keep &= mask
    every = 1 + np.count_nonzero(keep) // _LOOKED_AT
    flat_slope, width = slope.ravel(), slope.shape[1]
    at = np.flatnonzero(keep[::every])
    if every > 1:
        at += at // width * ((every - 1) * width)
    steep, angle = flat_slope.take(at), np.arctan2(dy.ravel().take(at), dx.ravel().take(at))
    # Steepest along its own direction: neither neighbour that way is steeper.
    ahead = (np.rint(np.cos(angle)) + np.rint(np.sin(angle)) * np.float32(width)).astype(int)
    crest = np.flatnonzero((steep >= flat_slope.take(at + ahead)) & (steep > flat_slope.take(at - ahead)))
    at, steep, angle = at.take(crest), steep.take(crest), angle.take(crest)
    rows, cols = np.divmod(at, width)
    chosen = []
    sector = _sector(angle)
    for k in range(_DIRECTIONS):
        members = np.flatnonzero(sector == k)
        if members.size:
            members = members[steep[members] >= 0.3 * quantile(steep[members], 0.995)]
            # Evenly over the picture, so that no single object decides.
            chosen.append(
                members[np.linspace(0, members.size - 1, min(_PER_DIRECTION, members.size)).astype(int)]
            )
    picked = np.concatenate(chosen) if chosen else np.zeros(0, int)
    return rows[picked], cols[picked], angle[picked]


def _rises(
    smooth: Float32, rows: NDArray[np.int_], cols: NDArray[np.int_], angle: Float32
) -> tuple[Float32, Float32]:
    """10-90 % width in pixels and height in 8-bit steps of the edge through each point.

    The width is NaN where the slope goes on beyond the reach: a gradient of the light, or a very wide edge.
    """
    along = np.arange(-_REACH, _REACH + _STEP / 2, _STEP, dtype=np.float32)
    x, y = (
        at.astype(np.float32)[:, None] + turn(angle)[:, None] * along
        for at, turn in ((cols, np.cos), (rows, np.sin))
    )
    profile = cv2.remap(smooth, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    slope = np.diff(profile, axis=1)
    middle = slope.shape[1] // 2
    low = _SLOPE_END * slope[:, middle - 1 : middle + 1].max(axis=1, keepdims=True)
    flat = slope < low
    ends = flat[:, middle:].any(axis=1) & flat[:, :middle].any(axis=1)
    # Steps from the middle to the first flat one, each way.
    up, down = flat[:, middle:].argmax(axis=1), flat[:, :middle][:, ::-1].argmax(axis=1)
    each = np.arange(len(profile))
    bottom, top = profile[each, middle - down], profile[each, middle + up]
    contrast = top - bottom
    step = np.arange(slope.shape[1], dtype=np.int16)
    first, last = ((middle + by).astype(np.int16)[:, None] for by in (-down, up))
    inside = (step >= first) & (step < last)
    share = (profile - bottom[:, None]) / np.maximum(contrast, 1e-6)[:, None]
    # How much of each step between samples lies between the two levels, summed.
    rise = np.maximum(np.diff(share, axis=1), 1e-6)
    between = np.diff(np.clip(share, 0.1, 0.9), axis=1) / rise
    measured = _TAILS * _STEP * (between * inside).sum(axis=1)
    own = RISE_PER_SIGMA * _SMOOTHING
    width = np.sqrt(np.maximum(measured**2 - own**2, 0))
    return np.where(ends, width, np.nan).astype(np.float32), contrast
