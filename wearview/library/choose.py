"""The clean lining that each lined part of a pack is compared with."""

from collections.abc import Sequence
from dataclasses import dataclass

from wearview.library.recognise import Recognised, fits, recognise
from wearview.reference import NO_REFERENCE, Reference, cleanest_part
from wearview.surface import Face
from wearview.terms import FITS_NONE, NOT_CERTAIN


@dataclass(frozen=True, slots=True, eq=False)
class Chosen:
    """What a part is compared with, and why.

    Attributes
    ----------
    reference : Reference
    recognised : Recognised or None
        None where nobody had to recognise anything: the lining was stated and fits.
    problems : tuple of str
        Names from `terms.PROBLEMS`.
    """

    reference: Reference
    recognised: Recognised | None
    problems: tuple[str, ...]


def choose(faces: Sequence[Face], stated: Reference | None, own: Sequence[Reference]) -> list[Chosen]:
    """The clean lining of every lined part of a pack.

    Parameters
    ----------
    faces : sequence of Face
        Of the pack's lined parts.
    stated : Reference or None
        The lining a person named for the pack. A part that it cannot be, however heated, gets the lining of
        the library that it surely is, else none.
    own : sequence of Reference
        The shop's library. Where nothing was stated each part gets the lining it is recognised as, and those
        that are not recognised are compared with the cleanest of them.

    Returns
    -------
    list of Chosen
        One for each face.
    """
    if stated is not None:
        strange = [k for k, face in enumerate(faces) if not fits(face, stated)]
        others = [lining for lining in own if lining.lining != stated.lining]
        chosen = [Chosen(stated, None, ())] * len(faces)
        for k, one in zip(strange, recognise([faces[k] for k in strange], others), strict=True):
            chosen[k] = _chosen(one, NO_REFERENCE)
        return chosen
    found = recognise(faces, own)
    instead = cleanest_part([face for face, one in zip(faces, found, strict=True) if one.lining is None])
    return [_chosen(one, instead) for one in found]


def main_reference(chosen: Sequence[Chosen]) -> Reference:
    """The reference that most parts of a pack have, the first one's where several have as many."""
    if not chosen:
        return NO_REFERENCE
    counts: dict[int, int] = {}
    for one in chosen:
        counts[id(one.reference)] = counts.get(id(one.reference), 0) + 1
    return max((one.reference for one in chosen), key=lambda reference: counts[id(reference)])


def _chosen(found: Recognised, instead: Reference) -> Chosen:
    if found.lining is not None:
        return Chosen(found.lining, found, ())
    why = NOT_CERTAIN if found.fits else FITS_NONE
    return Chosen(instead, found, (why,) if instead is NO_REFERENCE else ())
