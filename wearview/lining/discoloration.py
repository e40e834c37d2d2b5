"""How far a lining's colour has changed from clean, over its face and along it."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearview.colour import delta_e
from wearview.lining.glazing import read_glazing
from wearview.lining.heat_colours import beside_heat
from wearview.lining.lightest import AS_LIGHT_AS_CLEAN, dimmed
from wearview.lining.sheen import without_sheen
from wearview.ranks import middle
from wearview.reading import MIN_PIXELS, Reading, missing, quantile, share_over
from wearview.reference import OF_A_PHOTO, Reference
from wearview.settings import Rules, Settings
from wearview.spread import ERROR_LIKELIHOOD, SIGMAS_90, half_width, in_quadrature, lab_errors
from wearview.surface import Face

RADIAL_STEPS, SECTORS = 12, 36
AREAS = ("area_over_5", "area_over_10", "area_over_20", "area_char")
LIMITS = (5.0, 10.0, 20.0)

_METHOD = "against clean"
# L* over which the belief in a face lighter than that fades. 0 to 3 do as well.
_LIGHTER = 2.0
# Face pixels that stand for all when the colour is varied, evenly spaced in order of Delta E: no chance
# of a level comes out more than 0.02 off what 8000 pixels give, mean 0.003 (40 faces). A table of
# binned colours was tried and is worse: whole cells cross a limit at once.
_SAMPLE = 768


@dataclass(frozen=True, slots=True, eq=False)
class LiningReadings:
    """What was measured on one lining. Deltas are part minus clean: darker is negative.

    Attributes
    ----------
    delta_e00_median, delta_e00_p90 : Reading
        CIEDE2000 from the clean lining.
    delta_l_median : Reading
        L* against the clean lining.
    area_over_5, area_over_10, area_over_20, area_char : Reading
        Shares of the measured face, 0..1.
    radial_delta_l : tuple of Reading
        12 medians in equal steps of radius, inner to outer; across a band.
    angular_delta_l : tuple of Reading
        36 medians in sectors of 10 degrees from +x, clockwise; along a band.
    gradient_radial : Reading
        Outer third minus inner third, L*.
    gradient_angular : Reading
        Largest minus smallest sector, L*.
    uncertainty : float
        Half width of the 90 % interval of `delta_e00_median`; NaN when unknown.
    glazing : Reading
        Index 0..100.
    area_draws : ndarray, shape (N, 4), float64
        The four areas under N errors of the colour; N is 0 when the uncertainty is unknown.
    draw_likelihood : ndarray, shape (N,), float64
        How likely each of these errors is beside none at all, 0..1.
    delta_e_map : ndarray, shape (H, W), float32
        Delta E of every measured face pixel, NaN elsewhere.
    problems : tuple of str
        Names from `terms.PROBLEMS`.
    too_bright : float
        Natural log of the factor by which the light was taken down, as in `read_too_bright`.
    beside_heat : float
        Delta E between the face's usual colour and the nearest that heat can give the clean lining.
    """

    delta_e00_median: Reading
    delta_e00_p90: Reading
    delta_l_median: Reading
    area_over_5: Reading
    area_over_10: Reading
    area_over_20: Reading
    area_char: Reading
    radial_delta_l: tuple[Reading, ...]
    angular_delta_l: tuple[Reading, ...]
    gradient_radial: Reading
    gradient_angular: Reading
    uncertainty: float
    glazing: Reading
    area_draws: NDArray[np.float64]
    draw_likelihood: NDArray[np.float64]
    delta_e_map: NDArray[np.float32]
    problems: tuple[str, ...]
    too_bright: float = 0.0
    beside_heat: float = 0.0

    @property
    def areas(self) -> tuple[Reading, Reading, Reading, Reading]:
        """The four areas, in the order of the levels they decide."""
        return self.area_over_5, self.area_over_10, self.area_over_20, self.area_char


def read_lining(
    face: Face,
    reference: Reference,
    settings: Settings,
    too_bright: float = 0.0,
    glazing: Reading | None = None,
) -> LiningReadings:
    """Discoloration and glazing of a face against the clean lining.

    Parameters
    ----------
    face : Face
        Rectified, light taken out, Lab already averaged over the contract's disc.
    reference : Reference
        Clean lining of the same material; with source "none" every reading is missing ("no clean reference").
    settings : Settings
    too_bright : float
        What `read_too_bright` says of the face's photo. Glazing is read without it, as sheen may be a part of
        it.
    glazing : Reading or None
        Where it was read by two lights; else it is read from this face.

    Returns
    -------
    LiningReadings

    Notes
    -----
    A colour change, not a temperature and not wear. An evenly darkened plate and a darker exposure look
    alike: that is in `uncertainty`, which joins the light of both photos, the spread of the clean
    lining and the sensor's noise.
    """
    if reference.lab_median is None:
        return _all_missing(face, ("no clean reference",))
    clean = np.asarray(reference.lab_median, dtype=np.float64)
    seen = face.seen
    n = int(np.count_nonzero(seen))
    if n < MIN_PIXELS:
        return _all_missing(face, ("too few pixels",), n)

    glazing = glazing or read_glazing(face, reference)
    glaze = glazing.value / 100 if glazing.known else None
    lab = dimmed(without_sheen(face.colours, clean, glaze, face.usual), too_bright)
    difference = delta_e(lab, clean)
    delta_l = lab[:, 0] - np.float32(clean[0])
    everywhere = np.ones(n, dtype=bool)
    clean_light = reference.light_uncertainty
    if face.light_shared and reference.source in OF_A_PHOTO:
        clean_light *= _left_of_shared_error(middle(difference), clean)
    clean_share = (clean_light, reference.spread, SIGMAS_90 * face.noise)
    uncertainty = in_quadrature(face.light_uncertainty, *clean_share)

    areas = [share_over(difference, everywhere, limit, _METHOD) for limit in LIMITS]
    areas.append(_area_char(lab, difference, clean, settings.rules))
    draws = _area_draws(lab, difference, clean, areas, uncertainty, face.light_uncertainty, settings.rules)
    spreads = half_width(draws)
    areas = [_with_spread(area, float(s)) for area, s in zip(areas, spreads, strict=True)]

    radius, angle = face.radius[seen], face.angle_deg[seen]
    sectors = _medians_by_step(delta_l, angle / np.float32(360), SECTORS)
    problems = dict.fromkeys((*face.problems, *areas[3].flags))
    difference_map = np.full(face.mask.shape, np.nan, dtype=np.float32)
    difference_map[seen] = difference
    difference_map.flags.writeable = False
    return LiningReadings(
        delta_e00_median=_with_spread(quantile(difference, everywhere, 0.5, "dE00", _METHOD), uncertainty),
        delta_e00_p90=_with_spread(quantile(difference, everywhere, 0.9, "dE00", _METHOD), uncertainty),
        delta_l_median=_with_spread(quantile(delta_l, everywhere, 0.5, "L*", _METHOD), uncertainty),
        area_over_5=areas[0],
        area_over_10=areas[1],
        area_over_20=areas[2],
        area_char=areas[3],
        radial_delta_l=_medians_by_step(delta_l, radius, RADIAL_STEPS),
        angular_delta_l=sectors,
        gradient_radial=_radial_gradient(delta_l, radius),
        gradient_angular=_angular_gradient(sectors),
        uncertainty=uncertainty,
        glazing=glazing,
        area_draws=draws,
        draw_likelihood=_draw_likelihood(delta_l, clean, uncertainty)[: len(draws)],
        delta_e_map=difference_map,
        problems=tuple(problems),
        too_bright=too_bright,
        beside_heat=beside_heat(face.usual, clean),
    )


def _left_of_shared_error(delta_e: float, clean: NDArray[np.float64]) -> float:
    """What is left of an error of light that is in the face's colour and in the clean one's alike, 0..1.

    CIELAB above its linear part: L* + 16, a* and b* of both grow by one factor, and so does their difference.
    0.8 is the mean weight of lightness in CIEDE2000, as in `Light.uncertainty`.
    """
    return min(1.0, delta_e / (0.8 * (float(clean[0]) + 16)))


def _area_char(
    lab: NDArray[np.float32], difference: NDArray[np.float32], clean: NDArray[np.float64], rules: Rules
) -> Reading:
    if clean[0] < rules.too_dark_below:
        return missing("fraction", _METHOD, "lining too dark to show heat", n_pixels=len(lab))
    charred = _is_char(lab[:, 0], difference, float(clean[0]), rules)
    return Reading(float(charred.mean()), "fraction", _METHOD, len(lab))


def _is_char(
    lightness: NDArray[np.floating], difference: NDArray[np.floating], clean_l: float, rules: Rules
) -> NDArray[np.bool_]:
    limit = rules.char_delta_e_dark if clean_l < rules.char_dark_below else rules.char_delta_e
    return np.asarray((lightness <= rules.char_lightness_share * clean_l) & (difference > limit))


def _area_draws(
    lab: NDArray[np.float32],
    difference: NDArray[np.float32],
    clean: NDArray[np.float64],
    areas: list[Reading],
    uncertainty: float,
    light_uncertainty: float,
    rules: Rules,
) -> NDArray[np.float64]:
    """The four areas, shape (N, 4), when the whole face's colour is off by each of the errors.

    An error of this photo's light is a factor, so it moves a dark pixel's L* less than the clean
    colour's; an error of the clean colour moves every difference alike.
    """
    if not math.isfinite(uncertainty):
        return np.empty((0, len(AREAS)))
    order = _order(difference)
    k = min(_SAMPLE, len(order))
    sample = lab[order[((np.arange(k) + 0.5) * len(order) / k).astype(int)]]
    errors = lab_errors(clean, uncertainty)
    share = light_uncertainty**2 / uncertainty**2 if uncertainty > 0 else 0.0
    reach = (sample[:, 0] + 16) / np.float32(clean[0] + 16)
    weight = np.sqrt(share * reach * reach + (1 - share)).astype(np.float32)

    def areas_of(colours: NDArray[np.float32]) -> NDArray[np.float64]:
        off = delta_e(colours, clean)
        over = [(off > limit).mean(axis=-1) for limit in LIMITS]
        return np.stack(
            [*over, _is_char(colours[..., 0], off, float(clean[0]), rules).mean(axis=-1)], axis=-1
        )

    varied = np.stack([sample[:, k] + errors[:, k, None] * weight for k in range(3)])
    draws = areas_of(np.moveaxis(varied, 0, -1))
    measured = np.array([area.value for area in areas])  # NaN for char on a dark lining, and so are its draws
    # The sample stands for the face up to 1 / 512; what it is off by without any error is taken off
    # every draw.
    return np.clip(draws - areas_of(sample) + measured, 0, 1)


def _order(values: NDArray[np.float32]) -> NDArray[np.intp]:
    """Indices that sort values of 0 and up, equal ones in their order.

    The bits of such a float rise with it. Sorted by their lower half and then by their upper one they take a
    quarter of the time of NumPy's stable argsort, as it counts what has 16 bits instead of comparing it.
    """
    bits = (values + np.float32(0)).view(np.uint32)
    by_low = np.argsort(bits.astype(np.uint16), kind="stable")
    high = (bits >> np.uint32(16)).astype(np.uint16)
    return by_low.take(np.argsort(high.take(by_low), kind="stable"))


def _draw_likelihood(
    delta_l: NDArray[np.float32], clean: NDArray[np.float64], uncertainty: float
) -> NDArray[np.float64]:
    """How likely each error of the colour is, shape (N,).

    One that would leave the face lighter than clean lining is hardly to be believed: heat darkens.
    """
    if not math.isfinite(uncertainty):
        return np.empty(0)
    lighter = middle(delta_l) + lab_errors(clean, uncertainty)[:, 0] - AS_LIGHT_AS_CLEAN
    believed = np.exp(-np.square(np.maximum(lighter, 0) / _LIGHTER) / 2)
    return np.asarray(ERROR_LIKELIHOOD * believed)


def _with_spread(reading: Reading, spread: float) -> Reading:
    return Reading(reading.value, reading.unit, reading.method, reading.n_pixels, spread, reading.flags)


def _median(values: NDArray[np.floating]) -> Reading:
    if values.size < MIN_PIXELS:
        return missing("L*", _METHOD, "too few pixels", n_pixels=int(values.size))
    return Reading(middle(values), "L*", _METHOD, int(values.size))


def _medians_by_step(
    values: NDArray[np.float32], place: NDArray[np.float32], steps: int
) -> tuple[Reading, ...]:
    """Medians in `steps` equal steps of `place` (0..1, ends included)."""
    step = np.clip((place * steps).astype(np.int16), 0, steps - 1)
    order = np.argsort(step, kind="stable")
    ends = np.cumsum(np.bincount(step, minlength=steps))[:-1]
    return tuple(_median(group) for group in np.split(values[order], ends))


def _radial_gradient(delta_l: NDArray[np.float32], radius: NDArray[np.float32]) -> Reading:
    outer, inner = _median(delta_l[radius > 2 / 3]), _median(delta_l[radius < 1 / 3])
    n = outer.n_pixels + inner.n_pixels
    if not (outer.known and inner.known):
        return missing("L*", _METHOD, "too few pixels", n_pixels=n)
    return Reading(outer.value - inner.value, "L*", _METHOD, n)


def _angular_gradient(sectors: tuple[Reading, ...]) -> Reading:
    known = [s for s in sectors if s.known]
    n = sum(s.n_pixels for s in known)
    if 2 * len(known) < len(sectors):  # over less than half the way round it would say more than was seen
        return missing("L*", _METHOD, "too few pixels", n_pixels=n)
    values = [s.value for s in known]
    return Reading(max(values) - min(values), "L*", _METHOD, n)


def _all_missing(face: Face, flags: tuple[str, ...], n: int = 0) -> LiningReadings:
    def none(unit: str, method: str = _METHOD) -> Reading:
        return missing(unit, method, *flags, n_pixels=n)

    nothing = np.full(face.mask.shape, np.nan, dtype=np.float32)
    nothing.flags.writeable = False
    return LiningReadings(
        delta_e00_median=none("dE00"),
        delta_e00_p90=none("dE00"),
        delta_l_median=none("L*"),
        area_over_5=none("fraction"),
        area_over_10=none("fraction"),
        area_over_20=none("fraction"),
        area_char=none("fraction"),
        radial_delta_l=(none("L*"),) * RADIAL_STEPS,
        angular_delta_l=(none("L*"),) * SECTORS,
        gradient_radial=none("L*"),
        gradient_angular=none("L*"),
        uncertainty=math.nan,
        glazing=none("index 0-100", "one photo"),
        area_draws=np.empty((0, len(AREAS))),
        draw_likelihood=np.empty(0),
        delta_e_map=nothing,
        problems=tuple(dict.fromkeys((*face.problems, *flags))),
    )
