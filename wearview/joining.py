"""Photos that show the same parts again: one reading and one grade for each part."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from wearview.grade import grade_lining, grade_steel
from wearview.layout import Order, surest_way, ways_to_lie
from wearview.record import GradedPart, GradedPhoto
from wearview.reference import Reference
from wearview.settings import Settings
from wearview.shots import join_linings, join_steels
from wearview.terms import BAND, SHOTS_DISAGREE, SHOTS_DO_NOT_FIT, SHOTS_EITHER_WAY

# What a single shot may leave open and several may settle.
SETTLED = ("uncertainty spans grades",)


def standing(photos: Sequence[GradedPhoto]) -> list[GradedPart]:
    """The parts that stand for themselves: another shot of one does not."""
    return [part for photo in photos for part in photo.parts if part.shot_of is None]


def shot_again(photo: GradedPhoto, first: GradedPhoto) -> GradedPhoto:
    """The photo with its parts as shots of those of the first one, and in their order; without any, where
    which is which cannot be told."""
    order = _which_is_which(photo, first)
    if isinstance(order, str):
        return replace(photo, parts=(), problems=(*photo.problems, order))
    parts: list[GradedPart] = []
    for n, one in zip(order, first.parts, strict=True):
        part = photo.parts[n]
        kind = replace(part.part, kind=one.part.kind) if one.part.kind_confidence == 1 else part.part
        called = f"{photo.sha256[:12]}-{len(parts) + 1}"
        shot = replace(part, id=called, part=kind, position=one.position, side=one.side, shot_of=one.id)
        parts.append(shot)
    return replace(photo, parts=tuple(parts))


def _which_is_which(photo: GradedPhoto, first: GradedPhoto) -> Order | str:
    """Which part of a photo each of the first one's is, or the problem that keeps it from being told."""
    here, there = ([one.part for one in each.parts] for each in (first, photo))
    if len(here) != len(there):
        return SHOTS_DO_NOT_FIT
    ways = ways_to_lie(here, there) if len(here) > 1 else {(0,): np.eye(3)}
    fitting = {
        order: warp
        for order, warp in ways.items()
        if all((there[n].kind == BAND) == (part.kind == BAND) for n, part in zip(order, here, strict=True))
    }
    if not fitting:
        return SHOTS_DO_NOT_FIT
    surest = surest_way(fitting, (first.working, first.scale), (photo.working, photo.scale))
    return SHOTS_EITHER_WAY if surest is None else surest


def join_shots(photos: list[GradedPhoto], shared: Reference, settings: Settings) -> list[GradedPhoto]:
    """The photos with one reading and one grade for each part, carried by its first measured shot."""
    groups: dict[str, list[GradedPart]] = {}
    for part in (part for photo in photos for part in photo.parts):
        groups.setdefault(part.shot_of or part.id, []).append(part)
    joined = {
        part.id: part
        for group in groups.values()
        if len(group) > 1
        for part in _joined(group, shared, settings)
    }
    if not joined:
        return photos
    return [replace(p, parts=tuple(joined.get(part.id, part) for part in p.parts)) for p in photos]


def _joined(group: list[GradedPart], shared: Reference, settings: Settings) -> list[GradedPart]:
    """The shots of one part: the first that was measured with the joined reading, the others as its shots."""
    measured = [p for p in group if p.grade is not None and _is_measured(p)]
    first = (measured or group)[0]
    alike = [p for p in measured if p.part.kind == first.part.kind and _lining_of(p) == _lining_of(first)]
    carrier, strange = replace(first, shot_of=None), len(measured) > len(alike)
    if len(alike) > 1:
        ids = [p.id for p in alike]
        if first.lining is not None:
            lining, told = join_linings(ids, [p.lining for p in alike if p.lining is not None])
            reference = first.chosen.reference if first.chosen is not None else shared
            carrier = replace(carrier, lining=lining, grade=grade_lining(lining, reference, settings.rules))
        else:
            steel, told = join_steels(ids, [p.steel for p in alike if p.steel is not None])
            carrier = replace(carrier, steel=steel, grade=grade_steel(steel, settings.rules))
        assert carrier.grade is not None
        grade = replace(carrier.grade, because=(*carrier.grade.because, told.said))
        strange = strange or not told.agree
        problems = [name for p in alike for name in _unsettled(p.problems)]
        carrier = replace(carrier, shots=told, grade=grade, problems=(*problems, *grade.problems))
    if strange:
        carrier = replace(carrier, problems=(*carrier.problems, SHOTS_DISAGREE))
    carrier = replace(carrier, problems=tuple(dict.fromkeys(carrier.problems)))
    others = [
        replace(p, shot_of=first.id, grade=carrier.grade, problems=_unsettled(p.problems)) for p in group
    ]
    return [carrier, *(p for p in others if p.id != first.id)]


def _unsettled(problems: Sequence[str]) -> tuple[str, ...]:
    return tuple(name for name in problems if name not in SETTLED)


def _is_measured(part: GradedPart) -> bool:
    if part.lining is not None:
        return part.lining.delta_e00_median.known
    return part.steel is not None and all(area.known for area in part.steel.areas)


def _lining_of(part: GradedPart) -> tuple[str | None, str | None] | None:
    return None if part.chosen is None else (part.chosen.reference.file, part.chosen.reference.lining)
