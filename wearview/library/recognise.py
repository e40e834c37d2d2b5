"""Which lining of the library a part carries, told from where heat has changed it least."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearview.colour import delta_e, lab_to_linear, linear_to_lab
from wearview.lining.sheen import without_sheen
from wearview.ranks import median, middle
from wearview.reading import MIN_PIXELS
from wearview.reference import Reference
from wearview.spread import in_quadrature, lab_errors
from wearview.surface import Face

Array = NDArray[np.float64]

# Heat turns any lining brown, then black (common practice, no source). Where its colour may lead: the black
# it ends at, and the brown in between at L* 45, of a chroma from sooty to rich.
_BLACK_L, _BROWN_AB, _RICHNESS = 10.0, (6.0, 14.0), (0.0, 0.4, 0.8, 1.2)
_BROWN_FROM = 0.55  # share of the way to black after which nothing of the clean hue need be left
_STEPS = 26
# Chance that the least heated spot of a part has come this far on that way falls off by 1/e every so much.
_USUAL_HEAT = 0.12
_CELLS = 6, 12  # rings and sectors of a face whose lightest quarter counts as least heated
_LIGHTEST = 0.25
# Light, of a white sheet's, that a shine on the whole face adds at most: more would make tan of grey.
_MOST_SHEEN = 0.05
# Distance, in half widths of the 90 % interval, up to which a colour may be a lining's: of a normal error in
# three dimensions 98 in 100 are nearer.
FARTHEST = 1.26
_SURE = 0.8  # probability from which a lining counts as recognised
# Share of the way to black up to which a part tells its lining by itself: a Delta E of about 5 on a tan one.
# Further on a dark lining and a lighter one, browned, look alike.
_LITTLE = 0.1
# Half width of the light's 90 % interval, Delta E, beyond which every lining looks like some other.
_LIGHT_KNOWN = 5.0
_ROUNDS, _DRAWS, _BANDWIDTH, _LEAST_DOUBT = 12, 8, 1.0, 0.5


@dataclass(frozen=True, slots=True)
class Recognised:
    """What a part's lining was taken for.

    Attributes
    ----------
    lining : Reference or None
        The lining of the library; None when it fits none or several.
    probability : float
        Of the likeliest lining among those that fit, 0..1; 0 when none fits.
    fits : tuple of str
        Names of the linings that its colour allows, the likeliest first.
    """

    lining: Reference | None
    probability: float
    fits: tuple[str, ...]


def measured_cells(face: Face) -> list[NDArray[np.intp]]:
    """Where in a face's colours those of each of its 6 rings by 12 sectors stand that was measured."""
    seen = face.seen
    rings, sectors = _CELLS
    ring = np.clip(face.radius[seen] * rings, 0, rings - 1).astype(np.int16)
    sector = np.clip(face.angle_deg[seen] * sectors / 360, 0, sectors - 1).astype(np.int16)
    cell = ring * np.int16(sectors) + sector
    order = np.argsort(cell, kind="stable")  # of 16 bits: counted, not compared
    ends = np.cumsum(np.bincount(cell, minlength=rings * sectors))[:-1]
    return [one for one in np.split(order, ends) if len(one) >= MIN_PIXELS]


def lightness_of_cells(face: Face, cells: Sequence[NDArray[np.intp]]) -> NDArray[np.float32]:
    """Median L* of each of a face's `measured_cells`."""
    lightness = np.ascontiguousarray(face.colours[:, 0])
    return np.array([middle(lightness.take(cell)) for cell in cells], np.float32)


def least_heated(face: Face) -> Array | None:
    """Lab of the part of a face that heat has changed least; None when too little of it was measured.

    Heat darkens a lining, so it is the lightest quarter of the medians of its cells: medians, so that a clean
    face's fibres do not make it lighter than it is.
    """
    cells = measured_cells(face)
    if not cells:
        return None
    lightest = np.argsort(lightness_of_cells(face, cells))[-max(1, round(_LIGHTEST * len(cells))) :]
    medians = [median(face.colours.take(cells[k], axis=0), 0) for k in lightest]
    return np.asarray(np.median(medians, axis=0), float)


def heated(clean: NDArray[np.floating]) -> tuple[Array, Array]:
    """Colours that heat may give a lining, shape (N, 3), and how far on the way to black each is, 0..1."""
    way, gone, rich = np.meshgrid(
        np.linspace(0, 1, _STEPS), np.linspace(0, 1, 5), np.array(_RICHNESS), indexing="ij"
    )
    lightness = clean[0] + (min(_BLACK_L, float(clean[0])) - clean[0]) * way
    hue_left = 1 - gone * np.clip(way / _BROWN_FROM, 0, 1)
    brown = np.sqrt(np.maximum(lightness, 1) / 45) * rich
    colours = [lightness]
    for own, towards in zip(clean[1:], _BROWN_AB, strict=True):
        colours.append(own * hue_left * (1 - 0.5 * way) + towards * brown * (1 - hue_left))
    return np.stack(colours, axis=-1).reshape(-1, 3), way.ravel()


def fit(colour: Array, doubt: float, lining: Reference) -> tuple[float, float]:
    """How far a colour is from what heat may have made of a lining, and how far that is on the way to black.

    Parameters
    ----------
    colour : ndarray, shape (3,)
        Of the least heated area.
    doubt : float
        Half width of the 90 % interval of that photo's light, Delta E.
    lining : Reference

    Returns
    -------
    distance : float
        In half widths of the 90 % interval of light, of the clean colour's own light and of its spread.
    way : float
        0 clean, 1 black.
    """
    assert lining.lab_median is not None
    colours, way = heated(lining.lab_median)
    off = delta_e(colours, _without_sheen(colour, lining))
    nearest = int(np.argmin(off + 1e-3 * way))
    return float(off[nearest]) / _within(doubt, lining), float(way[nearest])


def fits(face: Face, lining: Reference) -> bool:
    """Whether a face may be of a lining, clean or heated; True where its light or colour is not known."""
    colour = least_heated(face)
    if colour is None or not np.isfinite(face.light_uncertainty):
        return True
    return fit(colour, face.light_uncertainty, lining)[0] <= FARTHEST


def recognise(faces: Sequence[Face], linings: Sequence[Reference]) -> list[Recognised]:
    """The library's lining of every face of a pack.

    Parameters
    ----------
    faces : sequence of Face
        Of the lined parts of one pack. Plates of a pack mostly carry one lining, so what most of them carry
        is likelier for each of them.
    linings : sequence of Reference

    Returns
    -------
    list of Recognised
        One for each face.

    Notes
    -----
    Open set: a colour farther from a lining, and from all that heat makes of it, than light and spread allow
    is not that lining's, however alone it stands; a face that fits none fits none. Among those that fit, the
    chance comes from densities of colours drawn from each lining heated a little, within the uncertainty
    (kernel density estimate: B. W. Silverman, Density Estimation for Statistics and Data Analysis, 1986;
    from memory). A part that is burnt everywhere tells no lining: it takes that of the pack's other parts,
    where these have one and its colour allows it.
    """
    able = np.zeros((len(faces), len(linings)), bool)
    density, clear = np.zeros(able.shape), np.zeros(able.shape, bool)
    for i, face in enumerate(faces):
        colour, doubt = least_heated(face), face.light_uncertainty
        if colour is None or not np.isfinite(doubt):
            continue
        for k, lining in enumerate(linings):
            distance, way = fit(colour, doubt, lining)
            able[i, k] = distance <= FARTHEST
            clear[i, k] = able[i, k] and way <= _LITTLE and doubt <= _LIGHT_KNOWN
            if able[i, k]:
                density[i, k] = _density(colour, doubt, lining)
    chance = _chances(density)
    told = [np.flatnonzero(clear[i] & (chance[i] >= _SURE)) for i in range(len(faces))]
    of_pack = {int(k) for sure in told for k in sure}
    out = []
    for i, sure in enumerate(told):
        able_here = [int(k) for k in np.argsort(-chance[i], kind="stable") if able[i, k]]
        if not len(sure) and len(of_pack) == 1 and of_pack <= set(able_here):
            sure = np.array(sorted(of_pack))
        taken = linings[sure[0]] if len(sure) else None
        likeliest = [*sure, *able_here][:1]
        probability = max((float(chance[i, k]) for k in likeliest), default=0.0)
        out.append(Recognised(taken, probability, tuple(str(linings[k].lining) for k in able_here)))
    return out


def _density(colour: Array, doubt: float, lining: Reference) -> float:
    """How likely a lining heated a little looks like this."""
    from sklearn.neighbors import KernelDensity  # half a second to load, so only where there is a library

    assert lining.lab_median is not None
    colours, way = heated(lining.lab_median)
    errors = np.tile(lab_errors(lining.lab_median, _within(doubt, lining)), (_DRAWS, 1))
    chance = np.cumsum(np.exp(-way / _USUAL_HEAT))
    even = (np.arange(len(errors)) + 0.5) / len(errors)
    places = np.searchsorted(chance / chance[-1], even)
    mixed = np.random.default_rng(0).permutation(len(places))  # so that errors and heat do not go together
    model = KernelDensity(bandwidth=_BANDWIDTH).fit(colours[places[mixed]] + errors)
    return float(np.exp(model.score_samples(_without_sheen(colour, lining)[None])[0]))


def _chances(density: Array) -> Array:
    """Chance of each lining for each face, the shares of the linings in the pack found along with it."""
    shares = np.full(density.shape[1], 1 / max(1, density.shape[1]))
    chance = np.zeros_like(density)
    for _ in range(_ROUNDS):
        joint = density * shares
        total = joint.sum(axis=1, keepdims=True)
        chance = np.divide(joint, total, out=np.zeros_like(joint), where=total > 0)
        told = chance.sum(axis=0) + 0.5  # half a plate of every lining is always thinkable
        shares = told / told.sum()
    return chance


def _without_sheen(colour: Array, lining: Reference) -> Array:
    assert lining.lab_median is not None
    bare = without_sheen(colour.astype(np.float32)[None], lining.lab_median)[0]
    shiny, dull = lab_to_linear(np.stack([colour, bare])).astype(float)
    share = min(1.0, _MOST_SHEEN / max(float((shiny - dull).max()), 1e-6))
    return np.asarray(linear_to_lab(shiny - share * (shiny - dull)), float)


def _within(doubt: float, lining: Reference) -> float:
    return max(in_quadrature(doubt, lining.light_uncertainty, lining.spread), _LEAST_DOUBT)
