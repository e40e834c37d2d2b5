"""The colours of a bench mat as printed, from one photo of it bare beside a chart or a grey card."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearview.light.chart import CHART, chart_light
from wearview.light.field import places
from wearview.light.neutral import REFLECTANCE, find_neutrals
from wearview.light.sheet import CARD, PAPER_REFLECTANCE, SAME_PAPER, sheet_field
from wearview.light.tone import PLAIN, Camera
from wearview.mat import ASKED, PAPER, Mat, Sample
from wearview.mat.chart import find_charts, published_linear

Array = NDArray[np.float64]

_ROUNDS = 3  # light over the sheet, then the chart's camera, in turn; the third moves nothing
# The paper's reflectance by a grey card; office paper has 0.82 to 0.92, and something grey that is no 18 %
# card puts it outside.
_PAPER_BETWEEN = (0.70, 1.02)


@dataclass(frozen=True, slots=True, eq=False)
class MatColours:
    """What a printer made of the mat's colours.

    Attributes
    ----------
    linear : dict of str to ndarray, shape (3,)
        Linear sRGB under D65 of each colour, and of the paper.
    by : str
        "chart" or "card": what they were measured beside.
    residual : float
        Median Delta E of the chart's own squares; NaN by a card.
    twins : float
        Largest difference between two prints of one colour, as a share of its light.
    """

    linear: dict[str, Array]
    by: str
    residual: float
    twins: float


@dataclass(frozen=True, slots=True)
class Refused:
    """Why a photo gives no colours: the problem without a full stop, and the remedy."""

    problem: str
    remedy: str


def calibrate_mat(rgb8: NDArray[np.uint8], mat: Mat, edition: str) -> MatColours | Refused:
    """The colours of a bare mat in a photo that shows a chart or a grey card too.

    Parameters
    ----------
    rgb8 : ndarray, shape (H, W, 3), uint8
        The photo that the mat was found in.
    mat : Mat
    edition : str
        Of the chart, one of `terms.CHART_EDITIONS`.

    Notes
    -----
    Chart or card lies on the mat or close beside it, so that the light seen on the sheet holds for it too. By
    a chart the phone's tone and colour rendering are taken out; by a card they stay in the colours, which
    then belong to that phone.
    """
    size = (rgb8.shape[1], rgb8.shape[0])
    squares = [s for s in mat.squares if s.usable]
    if {s.name for s in squares} != {PAPER, *ASKED}:
        return Refused(
            "not every colour of the mat can be measured",
            "Leave all squares bare, without shine or shadow on them, and take it again",
        )
    if any(s.rolled_off for s in squares):
        return Refused(
            "the paper is so bright that its colour is lost", "Lower the exposure a little and take it again"
        )
    samples = [*squares, *(s for s in mat.room if s.usable)]
    by_chart = _by_chart(rgb8, samples, len(squares), size, edition)
    if by_chart is not None:
        camera, white, field, residual = by_chart
        return _colours(squares, size, camera, white, field, CHART, residual)
    field, _ = sheet_field(samples, len(squares), size, PLAIN)
    card = _card_white(rgb8, mat, field)
    if card is None:
        return Refused(
            "no 24-patch chart or grey card beside the mat fits",
            "Lay one on the mat's middle, clean and dry, without shine on it, and take it again",
        )
    colours = _colours(squares, size, PLAIN, card, field, CARD, np.nan)
    if not _PAPER_BETWEEN[0] < colours.linear[PAPER][1] < _PAPER_BETWEEN[1]:
        return Refused(
            "what looks like a grey card does not fit the paper beside it",
            "Use an 18 % grey card, in the same light as the mat",
        )
    return colours


def _by_chart(
    rgb8: NDArray[np.uint8], samples: Sequence[Sample], printed: int, size: tuple[int, int], edition: str
) -> tuple[Camera, Array, Array, float] | None:
    """Camera, white, field over the sheet and residual by a chart; None without one that fits."""
    charts = find_charts(rgb8)
    published = published_linear(edition)
    camera, found = PLAIN, None
    for _ in range(_ROUNDS):
        field, _ = sheet_field(samples, printed, size, camera)
        light = chart_light(charts, published, field, size)
        if light is None:
            return None
        camera, found = light.camera, (light.camera, light.white, field, light.residual)
    return found


def _card_white(rgb8: NDArray[np.uint8], mat: Mat, field: Array) -> Array | None:
    """White by a grey card in view that is no part of the mat; None without one."""
    size = (rgb8.shape[1], rgb8.shape[0])
    taken = np.zeros(rgb8.shape[:2], bool)
    paper = [s for s in mat.squares if s.usable and s.name == PAPER]
    levels = np.exp(places(np.array([[s.x, s.y] for s in paper]), size) @ field)
    sheet = float(np.median([s.rgb_linear[1] for s in paper] / levels)) / PAPER_REFLECTANCE
    for neutral in find_neutrals(rgb8, taken):
        at = np.array(neutral.centre)
        level = float(np.exp(places(at[None], size) @ field)[0])
        white = neutral.white * REFLECTANCE[neutral.kind] / level / REFLECTANCE["card"]
        # Sheet and squares are neutrals too: a card is what makes the paper white beside it.
        if _is_square_of(mat, at) or abs(np.log(white[1] / sheet)) > 3 * SAME_PAPER:
            continue
        return np.asarray(white, float)
    return None


def _is_square_of(mat: Mat, at: Array) -> bool:
    mm = mat.plane.to_mm(at)
    return any(np.abs(mm - [p.x, p.y]).max() < 10 for p in mat.design.patches)


def _colours(
    squares: Sequence[Sample],
    size: tuple[int, int],
    camera: Camera,
    white: Array,
    field: Array,
    by: str,
    residual: float,
) -> MatColours:
    level = np.exp(places(np.array([[s.x, s.y] for s in squares]), size) @ field)[:, None]
    codes = np.array([s.rgb8 for s in squares]) / 255
    linear = camera.mixed(camera.decoded(codes) / (white * level))
    names = np.array([s.name for s in squares])
    own = {name: linear[names == name] for name in (PAPER, *ASKED)}
    # Twins differ by what the field leaves over and by noise; black ones by stray light alone.
    twins = max(float(np.ptp(v[:, 1]) / (v[:, 1].mean() + 0.02)) for v in own.values())
    return MatColours({name: np.median(v, axis=0) for name, v in own.items()}, by, residual, twins)
