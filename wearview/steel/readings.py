"""Heat tint of a steel or reaction plate: the share of each colour family, and hot spots."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearview.reading import MIN_PIXELS, Reading, missing
from wearview.reference import Reference
from wearview.settings import Settings, Tints
from wearview.spread import ERROR_LIKELIHOOD, SIGMAS_90, half_width, in_quadrature, lab_errors
from wearview.steel.bare import Bare, find_bare
from wearview.steel.codes import (
    BARE,
    BLUE,
    BROWN,
    DULL,
    GREEN,
    GREY,
    OTHER,
    PALE,
    RUST,
    STRAW,
    Codes,
    pale_below,
    tint_codes,
)
from wearview.steel.families import NOT_MEASURED, find_families, turn_grey_against_clean
from wearview.steel.spots import HotSpots, find_hot_spots
from wearview.surface import Face
from wearview.terms import TINTS

_METHOD = "colour and surroundings"
# Face pixels that stand for all when the colour is varied.
_SAMPLE = 1500
# Share of a face that may be varnish or heat colour, from which it is said; and how likely the less likely of
# the two is beside the other.
_OPEN_SHARE, _OPEN_CHANCE = 0.05, 0.5


@dataclass(frozen=True, slots=True, eq=False)
class SteelReadings:
    """What was measured on one steel or reaction plate.

    Attributes
    ----------
    areas : tuple of Reading
        Share of the measured face, 0..1, in the order of `terms.TINTS`; they sum to 1.
    hot_spots : HotSpots
    bare : Bare or None
        The plate's bare metal; None when nothing was measured.
    uncertainty : float
        Half width of the 90 % interval of a tint's colour against bare metal, in Delta E; NaN when unknown.
    area_draws : ndarray, shape (N, 7), float64
        The areas under N errors of the colour; N is 0 when the uncertainty is unknown.
    draw_likelihood : ndarray, shape (N,), float64
        How likely each of these errors is beside none at all, 0..1.
    family_map : ndarray, shape (H, W), uint8
        Place in `terms.TINTS` of every measured face pixel, `NOT_MEASURED` elsewhere.
    spot_map : ndarray of bool, shape (H, W)
        The hot spots.
    problems : tuple of str
        Names from `terms.PROBLEMS`.
    """

    areas: tuple[Reading, ...]
    hot_spots: HotSpots
    bare: Bare | None
    uncertainty: float
    area_draws: NDArray[np.float64]
    draw_likelihood: NDArray[np.float64]
    family_map: Codes
    spot_map: NDArray[np.bool_]
    problems: tuple[str, ...]

    def area(self, tint: str) -> Reading:
        """Share of the face in one of `terms.TINTS`."""
        return self.areas[TINTS.index(tint)]


def read_steel(face: Face, clean: Reference | None, settings: Settings) -> SteelReadings:
    """Tint families and hot spots of a steel face.

    Parameters
    ----------
    face : Face
        Rectified, light taken out, Lab already averaged over the contract's disc.
    clean : Reference or None
        A clean steel of the same make; without one the plate's own bare metal is the measure.
    settings : Settings

    Returns
    -------
    SteelReadings

    Notes
    -----
    A family of colours, never a temperature: time and alloy move the colours, straw returns in the
    second order, and varnish can look like straw. Sheen and grinding marks change lightness and not
    hue, so lightness alone never makes a tint.
    """
    rules, tints = settings.rules, settings.tints
    seen = face.seen
    n = int(np.count_nonzero(seen))
    if n < MIN_PIXELS:
        return _all_missing(face, n)
    lab = face.colours
    light = face.light_uncertainty
    clean_lab = None if clean is None or clean.lab_median is None else np.asarray(clean.lab_median, float)
    if clean is not None and clean_lab is not None:
        light = in_quadrature(light, clean.light_uncertainty, clean.spread)

    bare = find_bare(lab, clean_lab, light, tints, face.metal_lab)
    families, instead = find_families(face, seen, lab, bare, tints)
    if (
        better := _bare_beside_straw(families, face.lab, clean_lab, light, tints, face.metal_lab)
    ) is not None:
        bare = better
        families, instead = find_families(face, seen, lab, bare, tints)
    turn_grey_against_clean(families, face.lab, clean_lab, light, tints)

    chosen = families[seen]
    shares = np.bincount(chosen, minlength=len(TINTS))[: len(TINTS)] / n
    uncertainty = in_quadrature(bare.uncertainty, SIGMAS_90 * face.noise)
    draws = _area_draws(lab, chosen, shares, bare, uncertainty, tints)
    likelihood = ERROR_LIKELIHOOD[: len(draws)]
    problems = face.problems
    if np.count_nonzero(open_ := (instead != families) & seen) >= _OPEN_SHARE * n:
        problems = (*problems, "varnish or heat colour")
        turned = np.bincount(instead[open_], minlength=len(TINTS)) - np.bincount(
            families[open_], minlength=len(TINTS)
        )
        other_way = np.clip(draws + turned / n, 0, 1)
        draws = np.concatenate([draws, other_way / other_way.sum(axis=1, keepdims=True)])
        likelihood = np.concatenate([likelihood, _OPEN_CHANCE * likelihood])
    spreads = half_width(draws)
    spot_map, hot_spots = find_hot_spots(face, families, rules)
    families.flags.writeable = spot_map.flags.writeable = False
    return SteelReadings(
        areas=tuple(
            Reading(float(share), "fraction", _METHOD, n, float(spread))
            for share, spread in zip(shares, spreads, strict=True)
        ),
        hot_spots=hot_spots,
        bare=bare,
        uncertainty=uncertainty,
        area_draws=draws,
        draw_likelihood=likelihood,
        family_map=families,
        spot_map=spot_map,
        problems=problems,
    )


def _bare_beside_straw(
    families: Codes,
    lab: NDArray[np.float32],
    clean_lab: NDArray[np.float64] | None,
    light: float,
    tints: Tints,
    teeth: NDArray[np.float64] | None,
) -> Bare | None:
    """Bare metal looked for again without the oxide grey, where much of the neutral was grey."""
    grey, bare = families == GREY, families == BARE
    n_grey, n_bare = int(grey.sum()), int(bare.sum())
    if n_grey < 0.2 * (n_grey + n_bare) or n_bare < MIN_PIXELS:
        return None
    again = find_bare(lab[bare], clean_lab, light, tints, teeth)
    return again if again.found else None


def _area_draws(
    lab: NDArray[np.float32],
    chosen: Codes,
    shares: NDArray[np.float64],
    bare: Bare,
    uncertainty: float,
    tints: Tints,
) -> NDArray[np.float64]:
    """Areas, shape (N, 7), when the whole face's colour is off by each of the equally likely errors.

    Surroundings are not read again: what they settled stays as long as the colour still leaves it open.
    """
    if not math.isfinite(uncertainty):
        return np.empty((0, len(TINTS)))
    every = max(1, len(lab) // _SAMPLE)
    sample, settled = lab[::every], chosen[::every]
    errors = lab_errors(np.array(bare.lab), uncertainty)
    limit = pale_below(lab, bare, tints)

    def areas_of(colours: NDArray[np.float32]) -> NDArray[np.float64]:
        codes = tint_codes(colours, bare, limit, tints)
        was_grey, was_other = settled == GREY, settled == OTHER
        codes = np.where(np.isin(codes, (BARE, PALE, GREEN)) & was_grey, GREY, codes)
        codes = np.where(np.isin(codes, (STRAW, BROWN, RUST, DULL, GREEN)) & was_other, OTHER, codes)
        codes = np.where(codes == PALE, BLUE, codes)
        codes = np.where((codes == RUST) | (codes == DULL), BROWN, codes)
        codes = np.where(codes == GREEN, OTHER, codes)
        return np.stack([(codes == family).mean(axis=-1) for family in range(len(TINTS))], axis=-1)

    draws = areas_of(sample[None] + errors[:, None]) - areas_of(sample) + shares
    draws = np.clip(draws, 0, 1)
    return np.asarray(draws / draws.sum(axis=1, keepdims=True))


def _all_missing(face: Face, n: int) -> SteelReadings:
    flag = "too few pixels"
    share = missing("fraction", _METHOD, flag, n_pixels=n)
    families = np.full(face.mask.shape, NOT_MEASURED, dtype=np.uint8)
    spots = np.zeros(face.mask.shape, dtype=bool)
    families.flags.writeable = spots.flags.writeable = False
    return SteelReadings(
        areas=(share,) * len(TINTS),
        hot_spots=HotSpots(missing("count", _METHOD, flag, n_pixels=n), share, ()),
        bare=None,
        uncertainty=math.nan,
        area_draws=np.empty((0, len(TINTS))),
        draw_likelihood=np.empty(0),
        family_map=families,
        spot_map=spots,
        problems=tuple(dict.fromkeys((*face.problems, flag))),
    )
