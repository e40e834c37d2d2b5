"""The clean colour a lining or a steel is compared with."""

import math
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearview.colour import delta_e
from wearview.errors import CleanReferenceError, ModelsError
from wearview.settings import Settings
from wearview.surface import Face

# Half width of the 90 % interval between clean plates of one lining, in Delta E: paper is made in batches.
# Estimate, not measured on real plates.
BATCH_SPREAD = 1.2
OF_A_PHOTO = ("photo", "cleanest part")  # sources whose light may be the graded photo's own
DEMO = "demo-"  # begins the names of the shipped linings, and no other
# Under three parts of one lining, or all of them alike, "cleanest" says nothing (contract).
FEWEST_FOR_CLEANEST, ALL_ALIKE = 3, 5.0


@dataclass(frozen=True, slots=True, eq=False)
class Reference:
    """Clean lining (or clean steel) of the same material.

    Attributes
    ----------
    source : str
        One of `terms.REFERENCE_SOURCES`.
    file : str or None
        The reference photo as typed.
    lining : str or None
        The named lining.
    lab_median : ndarray, shape (3,), or None
        Median clean colour, CIELAB D65 2 degrees. None when there is no reference.
    spread : float
        Half width of the 90 % interval of the clean colour in Delta E.
    grain : float
        Of the clean lining, as in `surface.Face`; NaN when unknown.
    wet : bool or None
        Whether the clean lining was photographed wet; None when unknown.
    light_uncertainty : float
        The reference photo's own light, half width of the 90 % interval in Delta E.
    """

    source: str
    file: str | None
    lining: str | None
    lab_median: NDArray[np.float64] | None
    spread: float
    grain: float
    wet: bool | None
    light_uncertainty: float

    @property
    def relative(self) -> bool:
        """Whether grades against it are relative to the cleanest part only."""
        return self.source == "cleanest part"


NO_REFERENCE = Reference("none", None, None, None, math.nan, math.nan, None, math.nan)


def reference_from_face(
    face: Face, source: str, file: str | None = None, lining: str | None = None
) -> Reference | None:
    """The clean reference that a face gives, or None when too little of it could be measured."""
    seen = face.seen
    if seen.sum() < 500:
        return None
    lab = face.usual.astype(float)
    spread = math.hypot(BATCH_SPREAD, 1.64 * face.noise)
    return Reference(source, file, lining, lab, spread, face.grain, None, face.light_uncertainty)


def cleanest_part(faces: Sequence[Face]) -> Reference:
    """The lightest lining of a pack as its own reference; `NO_REFERENCE` where that would say nothing.

    Heat darkens a lining, so the lightest of several of one lining is the cleanest. When all lie within
    Delta E 5 of each other nobody knows whether all are clean or all are burnt.
    """
    references = [r for face in faces if (r := reference_from_face(face, "cleanest part")) is not None]
    if len(references) < FEWEST_FOR_CLEANEST:
        return NO_REFERENCE
    labs = np.array([r.lab_median for r in references])
    best = references[int(labs[:, 0].argmax())]
    assert best.lab_median is not None
    if float(delta_e(labs.astype(np.float32), best.lab_median).max()) <= ALL_ALIKE:
        return NO_REFERENCE
    return best


def named_lining(name: str, settings: Settings, own: Sequence[str] = ()) -> Reference:
    """A shipped clean lining by its name in `models/linings.toml`; `own` names others that a user may mean.

    Raises
    ------
    CleanReferenceError
        When there is no lining of that name.
    ModelsError
        When the file is damaged.
    """
    path = settings.models / "linings.toml"
    try:
        linings = tomllib.loads(path.read_text("utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise ModelsError(path.name, f"cannot be read ({error})", "Install the program again") from error
    if name not in linings:
        known = ", ".join([*own, *sorted(linings)]) or "none"
        raise CleanReferenceError(name, "no such lining", f"Known linings: {known}")
    entry = linings[name]
    try:
        lightness, a, b = (float(v) for v in entry["lab"])
        spread, grain, light = (float(entry[key]) for key in ("spread", "grain", "light_uncertainty"))
    except (KeyError, TypeError, ValueError) as error:
        raise ModelsError(path.name, f"{name} is not complete", "Install the program again") from error
    lab = np.array([lightness, a, b])
    if not np.isfinite([*lab, spread, light]).all():
        raise ModelsError(path.name, f"{name} has a value that is no number", "Install the program again")
    return Reference("library", None, name, lab, spread, grain, None, light)
