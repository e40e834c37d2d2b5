"""The light of one photo, and of two photos that must be compared."""

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.colour import linear_to_lab
from wearview.light.known import NOTHING_MEASURED, KnownColours, Targets, known_light
from wearview.light.neutral import REFLECTANCE, Neutral, find_neutrals
from wearview.light.tone import USUAL, Camera, KnownLight
from wearview.ranks import middle, quantile

TILES = (12, 9)
ENOUGH_METAL = 80  # pixels of bare steel beside the faces
# Half widths of the 90 % interval, as a factor on all channels (log) and between channels (log), by what
# white was read from; "reference" is one photo's beside the other's. Set on two sets of rendered scenes of
# known colour: of the readings by each, 0.81 to 1.00 lie inside.
LEVEL_ERROR = {"card": 0.06, "paper": 0.1, "metal": 0.6, "reference": 0.22, "none": 1.2}
BALANCE_ERROR = {"card": 0.03, "paper": 0.03, "metal": 0.07, "reference": 0.06, "none": 0.25}
# Of the unevenness of both benches, when they stand for one surface in one light: stains and shine.
BENCH_ERROR = 2.0
# Of one bench in two photos: a* b* apart at most, and log units between the whites that bench and bare steel
# give. 61 of 64 pairs of tuned photos of one bench lie within these units, and the others differ in hue;
# of 24 pairs of two benches 7 do.
SAME_HUE, MOST_APART = 9.0, 1.0
SHOULDER_ERROR = 0.3  # of the log factor by which a phone's shoulder was undone
# A sheet of the other kind makes white 4.8 times as bright or dark. Under these log odds that counts: of 260
# rendered photos one wrong kind and eight right ones lie there.
SURE_KIND, OTHER_KIND = 4.5, 1.6
FIELD_ERROR = 0.45  # of the log factor between where white was read and a part: benches shine
PLACE_ERROR = 0.07  # for each half of the photo's width between the two: what no smooth field shows
# What teeth and core send to a camera away from their sheen, a shade yellow: the middle between unused plates
# (34 rendered photos whose light is known) and used ones (236). Over either the level scatters by a third.
BARE_STEEL = np.array([0.247, 0.223, 0.193])
# Used steel is duller, a shade yellower than a clean plate's: medians of 236 rendered photos of packs beside
# that of their clean plate, the light of both known.
USED_STEEL = np.array([0.80, 0.78, 0.755])
# The same by mat or chart and by what its colours are known from. Set in six lamps, by two sensors, with inks
# and linings that have spectra, so that .95 of the differences between a burnt lining and its clean one in
# another lamp lie inside (tests/accuracy/known_colours.py). The colours themselves are further off, alike.
KNOWN_LEVEL_ERROR = {
    ("mat", "chart"): 0.06,
    ("mat", "card"): 0.09,
    ("mat", "paper"): 0.1,
    ("mat", "bright paper"): 0.16,
    ("chart", "chart"): 0.04,
}
KNOWN_BALANCE_ERROR = {
    ("mat", "chart"): 0.02,
    ("mat", "card"): 0.03,
    ("mat", "paper"): 0.034,
    ("mat", "bright paper"): 0.048,
    ("chart", "chart"): 0.012,
}
RESIDUAL_ERROR = 0.02  # log units of either for each Delta E that known squares are off
MAT_FIELD_ERROR = 0.08  # as FIELD_ERROR, of a field seen on matte paper all round the part
LEAST_SCATTER = 0.03  # log units between tiles of one bench, whatever it is made of
UNSEEN_SCATTER = 0.1  # where too little of a bench is seen to tell
MOST_FALLOFF = 0.9  # log units between two places of one bench; more is a shine or a shadow, not falloff
# How far a bench's fall-off is the light's: by half where its tiles scatter this much off it, as metal does,
# give or take so much; and as far as a matte sheet follows it, whose log level is uneven by so much anyway.
# On 284 rendered faces whose light is known it is then off by 0.033 in the mean, where all of the fall-off is
# off by 0.053 and none by 0.076; 0.1 to 0.3, 0.2 to 0.4 and 0.005 to 0.01 give 0.031 to 0.036.
HALF_BELIEVED, BELIEF_ERROR, SHEET_SLOPE_ERROR = 0.2, 0.3, 0.006


@dataclass(frozen=True, slots=True, eq=False)
class Light:
    """The light of one photo.

    Attributes
    ----------
    method : str
        One of `terms.LIGHT_METHODS`.
    white : ndarray, shape (3,)
        Linear RGB of a perfect white where `field` is 0.
    field : ndarray, shape (6,)
        Coefficients of 1, x, y, x^2, xy, y^2 of the log light level; x and y run over [-1, 1] across the
        photo.
    level_error, balance_error : float
        Half widths of the 90 % interval, natural log: all channels together, and one channel against another.
    bench, metal : ndarray, shape (3,), or None
        Median linear RGB of the bench and of the parts' bare steel with the field taken out: what two photos
        may share.
    read_at : tuple of float, or None
        x, y of the sheet that white was read from, as -1..1 across the photo; None where it was read all
        over the photo.
    camera : Camera
        How codes become linear light.
    known : KnownLight or None
        What mat or chart told, where one of them is the method.
    problems : tuple of str
        Names from `terms.PROBLEMS`: why a mat or chart in view was not used, or how far.
    bench_scatter : float
        Log units that the bench lies off `field` from place to place.
    shared : bool
        White was taken over from another photo: whatever that one's is off by is in both.
    sheet_odds : float
        Natural log of how much likelier the sheet is of the kind that `method` names, paper or card, than of
        the other; infinite where no sheet was read or nothing is left to doubt.
    """

    method: str
    white: NDArray[np.float64]
    field: NDArray[np.float64]
    level_error: float
    balance_error: float
    bench: NDArray[np.float64] | None
    metal: NDArray[np.float64] | None
    read_at: tuple[float, float] | None = None
    camera: Camera = USUAL
    known: KnownLight | None = None
    problems: tuple[str, ...] = ()
    bench_scatter: float = 0.0
    shared: bool = False
    sheet_odds: float = math.inf

    @property
    def sheet_open(self) -> bool:
        """Whether the sheet that white was read from may be of the other kind."""
        return self.sheet_odds < SURE_KIND

    def relative(
        self, rgb8: NDArray[np.uint8], x: NDArray[np.floating], y: NDArray[np.floating]
    ) -> NDArray[np.float32]:
        """Linear sRGB of codes at places given as -1..1 across the photo, the light taken out: white is 1."""
        decoded = self.camera.decoded8(rgb8).reshape(1, -1, 3)
        even = np.asarray(cv2.transform(decoded, (self.camera.matrix / self.white).astype(np.float32)))
        under = np.asarray(self.level(x, y), np.float32).reshape(1, -1)
        return np.asarray(cv2.divide(even, cv2.merge([under] * 3))).reshape(rgb8.shape)

    def level(self, x: NDArray[np.floating], y: NDArray[np.floating]) -> NDArray[np.floating]:
        """Factor of the light at places given as -1..1 across the photo. Single precision stays single."""
        return np.asarray(np.exp(_log_level(self.field, x, y)))

    def uncertainty(self, lab: NDArray[np.floating], x: float, y: float) -> float:
        """Half width of the 90 % interval of the light's share in Delta E for a surface of this colour at a
        place.

        L* is a cube root of light, so a log error e moves L* + 16 by e / 3 of itself; a* and b* move by the
        balance.
        """
        from_x, from_y = self.read_at or (x, y)
        here, there = (
            float(_terms(np.array(u), np.array(v)) @ self.field) for u, v in ((x, y), (from_x, from_y))
        )
        field_error = MAT_FIELD_ERROR if self.method == "mat" else FIELD_ERROR
        falloff = field_error * abs(here - (there if self.read_at else 0.0))
        place = PLACE_ERROR * math.hypot(x - from_x, y - from_y)
        other_kind = OTHER_KIND if self.sheet_open else 0.0
        level = math.hypot(self.level_error, falloff, place, other_kind)
        root = (float(lab[0]) + 16) / 3
        # Below about L* 20 CIEDE2000 weighs lightness less, above 80 too; 0.8 is its mean weight between.
        return math.hypot(0.8 * root * level, 1.6 * root * self.balance_error)


def estimate_light(
    small: NDArray[np.uint8],
    taken: NDArray[np.bool_],
    metal_mask: NDArray[np.bool_],
    targets: Targets | None = None,
    colours: KnownColours = NOTHING_MEASURED,
) -> Light:
    """The light of a photo from what is of known colour in view, else from the best neutral.

    Parameters
    ----------
    small : ndarray, shape (H, W, 3), uint8
        A small copy of the photo.
    taken : ndarray of bool, shape (H, W)
        Where parts lie, with a margin for their shadows.
    metal_mask : ndarray of bool, shape (H, W)
        Bare steel of the parts outside their faces: teeth and core.
    targets : Targets or None
        Mat and charts, found in a copy of any size.
    colours : KnownColours
        What is known of theirs.
    """
    linear = USUAL.decoded8(small)
    enough_metal = np.count_nonzero(metal_mask) > ENOUGH_METAL
    teeth = middle(linear[..., 1][metal_mask]) if enough_metal else None
    # The mat's own squares would pass for cards.
    sheets = np.zeros(taken.shape, bool) if targets is None else targets.sheet(taken.shape)
    neutrals = find_neutrals(small, taken | sheets, teeth)
    for neutral in neutrals:
        sheets |= cv2.dilate(neutral.mask.astype(np.uint8), np.ones((9, 9), np.uint8)).astype(bool)
    field, scatter = _falloff(linear[..., 1], taken | sheets)
    field = field * _share_of_light(field, scatter, linear[..., 1], neutrals)
    bench_at = np.zeros(taken.shape, bool)
    bench_at[::3, ::3] = ~(taken | sheets)[::3, ::3]
    bench = _flat_median(linear, bench_at, field) if np.count_nonzero(bench_at) > 60 else None
    metal = _flat_median(linear, metal_mask, field) if enough_metal else None
    problems: tuple[str, ...] = ()
    if targets is not None:
        known, problems = known_light(targets, colours, field)
        if known is not None:
            return replace(_by_known(known, bench, metal), bench_scatter=scatter, problems=problems)
    light = _by_neutral(linear, taken, neutrals, field, bench, metal)
    return replace(light, bench_scatter=scatter, problems=problems)


def _by_known(
    known: KnownLight, bench: NDArray[np.float64] | None, metal: NDArray[np.float64] | None
) -> Light:
    residual = 0.0 if math.isnan(known.residual) else known.residual
    level, balance = (
        math.hypot(errors[known.method, known.by], RESIDUAL_ERROR * residual)
        for errors in (KNOWN_LEVEL_ERROR, KNOWN_BALANCE_ERROR)
    )
    return Light(
        known.method,
        known.white,
        known.field,
        level,
        balance,
        bench,
        metal,
        read_at=known.read_at,
        camera=known.camera,
        known=known,
    )


def _by_neutral(
    linear: NDArray[np.float32],
    taken: NDArray[np.bool_],
    neutrals: list[Neutral],
    field: NDArray[np.float64],
    bench: NDArray[np.float64] | None,
    metal: NDArray[np.float64] | None,
) -> Light:
    """The light from paper, card or bare steel."""
    height, width = taken.shape
    if neutrals:
        best = neutrals[0]
        cx, cy = 2 * best.centre[0] / (width - 1) - 1, 2 * best.centre[1] / (height - 1) - 1
        here = float(np.exp(_terms(np.array(cx), np.array(cy)) @ field))
        unsure = SHOULDER_ERROR * best.unrolled
        return Light(
            best.kind,
            best.white / here,
            field,
            math.hypot(LEVEL_ERROR[best.kind], unsure),
            math.hypot(BALANCE_ERROR[best.kind], unsure),
            bench,
            metal,
            read_at=(cx, cy),
            sheet_odds=best.odds,
        )
    if metal is not None:
        return Light(
            "metal", metal / BARE_STEEL, field, LEVEL_ERROR["metal"], BALANCE_ERROR["metal"], bench, metal
        )
    top = np.percentile(linear[~taken], 98, axis=0) if (~taken).any() else np.ones(3)
    white = np.full(3, max(0.05, float(top.max())))
    return Light("none", white, field, LEVEL_ERROR["none"], BALANCE_ERROR["none"], bench, metal)


def of_other_sheet(light: Light) -> Light:
    """`light` read as if its sheet were a card where it was taken for paper, and the other way round."""
    other = {"paper": "card", "card": "paper"}[light.method]
    return replace(light, method=other, white=light.white * (REFLECTANCE[light.method] / REFLECTANCE[other]))


def match_light(light: Light, reference: Light) -> Light:
    """`light` with its white set so that what both photos share looks alike.

    Used where one of two photos has no neutral. The bench is taken when it has one colour in both, else the
    bare steel.
    """
    clean_metal = None if reference.metal is None else reference.metal * USED_STEEL
    for own, other, method in (
        (light.bench, reference.bench, "reference"),
        (light.metal, clean_metal, "metal"),
    ):
        if own is None or other is None:
            continue
        # A common surface differs by one factor of exposure and a little balance; another surface differs in
        # hue.
        own_lab, other_lab = (
            linear_to_lab((colour / white).astype(np.float32))
            for colour, white in ((own, _greyed(light.white)), (other, _greyed(reference.white)))
        )
        white = reference.white * own / other
        if method == "reference":
            off_hue = float(np.hypot(*(own_lab - other_lab)[1:]))
            if off_hue > SAME_HUE or _is_far_off(white, light.metal, reference.white, clean_metal):
                continue
        uneven = math.hypot(light.bench_scatter, reference.bench_scatter) if method == "reference" else 0.0
        # The other photo's own error is in both whites and counts once, with the clean colour.
        return replace(
            light,
            method=method,
            white=white,
            level_error=math.hypot(LEVEL_ERROR[method], BENCH_ERROR * uneven),
            balance_error=BALANCE_ERROR[method],
            read_at=None,
            camera=reference.camera,  # one phone takes both, as a rule
            known=None,
            shared=True,
            sheet_odds=math.inf,
        )
    return light


def _is_far_off(
    white: NDArray[np.float64],
    metal: NDArray[np.float64] | None,
    other_white: NDArray[np.float64],
    other_metal: NDArray[np.float64] | None,
) -> bool:
    """Whether bare steel in both photos says that this white cannot be, so that the bench is another one."""
    if metal is None or other_metal is None:
        return False
    return abs(float(np.log(white * other_metal / (other_white * metal)).mean())) > MOST_APART


def _share_of_light(
    field: NDArray[np.float64], scatter: float, level: NDArray[np.float32], neutrals: list[Neutral]
) -> float:
    """How much of the bench's fall-off is the light's, 0..1; the rest is the bench's own shine.

    Of two estimates, by how far the bench scatters off its field and by how far the level inside the sheet
    follows it, each counts by its error.
    """
    believed, weight = 1 / (1 + (scatter / HALF_BELIEVED) ** 2), BELIEF_ERROR**-2
    if neutrals and neutrals[0].unrolled == 0:
        height, width = level.shape
        rows, columns = (at[::4] for at in np.nonzero(neutrals[0].mask))
        bench = _log_level(field, 2 * columns / (width - 1) - 1, 2 * rows / (height - 1) - 1)
        bench = bench - bench.mean()
        sheet = np.log(np.maximum(level[rows, columns], 1e-4))
        follows, varies = float((bench * sheet).mean()), float((bench * bench).mean())
        believed = (believed * weight + follows / SHEET_SLOPE_ERROR**2) / (
            weight + varies / SHEET_SLOPE_ERROR**2
        )
    return min(1.0, max(0.0, believed))


def _flat_median(
    linear: NDArray[np.float32], mask: NDArray[np.bool_], field: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Median colour under a mask, the fall-off of the light taken out."""
    height, width = mask.shape
    places = np.flatnonzero(mask)
    rows, columns = np.divmod(places, width)
    x, y = (
        at.astype(np.float32) * np.float32(2 / (side - 1)) - 1
        for at, side in ((columns, width), (rows, height))
    )
    level = np.exp(_log_level(field, x, y))
    return np.array([middle(channel / level) for channel in linear.reshape(-1, 3).take(places, axis=0).T])


def _greyed(white: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.full(3, float(white.mean()))


def _log_level(
    field: NDArray[np.float64], x: NDArray[np.floating], y: NDArray[np.floating]
) -> NDArray[np.floating]:
    plain, along, down, along2, across, down2 = (float(term) for term in field)
    return np.asarray(plain + x * (along + along2 * x + across * y) + y * (down + down2 * y))


def _terms(x: NDArray[np.floating], y: NDArray[np.floating]) -> NDArray[np.float64]:
    return np.stack([np.ones_like(x, float), x, y, x * x, x * y, y * y], axis=-1)


def _falloff(level: NDArray[np.float32], taken: NDArray[np.bool_]) -> tuple[NDArray[np.float64], float]:
    """Quadratic in position of the bench's log level, tiles that stand out left out, and how far the tiles
    usually lie off it; zero where no bench is seen.

    The field is normed to average 0 over the photo, so that `white` is the light of its middle.
    """
    height, width = level.shape
    across, down = TILES if width >= height else TILES[::-1]
    places, values = [], []
    for row in range(down):
        for column in range(across):
            ys = slice(row * height // down, (row + 1) * height // down)
            xs = slice(column * width // across, (column + 1) * width // across)
            free = ~taken[ys, xs]
            if free.size and np.count_nonzero(free) / free.size > 0.35:
                places.append(((column + 0.5) / across * 2 - 1, (row + 0.5) / down * 2 - 1))
                # The lower part of a tile's values: shine adds light, and only adds.
                values.append(math.log(max(1e-4, quantile(level[ys, xs][free], 0.4))))
    if len(places) < 20:
        return np.zeros(6), UNSEEN_SCATTER
    at, value = np.array(places), np.array(values)
    design = _terms(at[:, 0], at[:, 1])
    weight = np.ones(len(value))
    field: NDArray[np.float64] = np.zeros(6)
    for _ in range(8):
        # Ridge on the quadratic terms: a bench seen in few places must not bend the field.
        ridge = np.diag([0, 0.3, 0.3, 1.5, 1.5, 1.5])
        normal = design.T @ (design * weight[:, None]) + ridge
        field = np.asarray(np.linalg.solve(normal, design.T @ (value * weight)), np.float64)
        off = value - design @ field
        scatter = 1.4826 * float(np.median(np.abs(off)))
        weight = 1 / (1 + (off / (2 * max(LEAST_SCATTER, scatter))) ** 2)
    field[0] = 0.0
    span = float(np.ptp(design @ field))
    if span > MOST_FALLOFF:
        field *= MOST_FALLOFF / span
    off = value - design @ field
    return field, 1.4826 * float(np.median(np.abs(off - np.median(off))))
