"""The stages run over the photos of a pack: every face first, then readings and grades against the
reference, then the pack."""

import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from types import MappingProxyType

import numpy as np

from wearview.errors import PhotoError
from wearview.grade import grade_lining, grade_steel
from wearview.joining import join_shots, shot_again, standing
from wearview.library import choose, main_reference
from wearview.light import Light, known_colours, match_light
from wearview.lining import clean_in_photo, read_lining, read_too_bright, read_two_lights, settle_sheet
from wearview.look import (
    Clean,
    Seen,
    Source,
    centre_of,
    clean_from_photo,
    in_row,
    is_refused,
    look_ahead,
    mm_per_px_of,
    name_of,
    read_source,
    take_faces,
    with_faces,
)
from wearview.pack import Pack, PackEntry, profile_pack
from wearview.parts import Corrections, Part, behind_gap, lie_in_rows
from wearview.photo import Photo, read_in_full
from wearview.record import Graded, GradedPart, GradedPhoto, Place, SecondLight, Shows
from wearview.reference import NO_REFERENCE, Reference, cleanest_part
from wearview.relight import look_again
from wearview.settings import Settings
from wearview.steel import read_steel
from wearview.surface import Face, diameter_of
from wearview.terms import (
    BAND,
    FRICTION,
    GAP,
    LINED_KINDS,
    NO_NEUTRAL,
    PAPER_OR_CARD,
    REACTION,
    ROWS,
    SHOTS_DO_NOT_FIT,
    STATED_DO_NOT_FIT,
    STEEL,
    WEAK_LIGHT,
)

Progress = Callable[[int, int, str], None]
Known = Callable[[Source, int], GradedPhoto | None]
Finish = Callable[[GradedPhoto], GradedPhoto]
BY_PLACE = 0.6  # confidence in a reaction plate known by its place alone
NO_CORRECTIONS: Mapping[str, Corrections] = MappingProxyType({})


def grade_photos(
    sources: Sequence[Source],
    settings: Settings,
    *,
    reference: Source | Clean | None = None,
    lining: Reference | None = None,
    own: Sequence[Reference] = (),
    seconds: Sequence[Source | None] = (),
    apply_end: str | None = None,
    first: str = "apply",
    kinds: Sequence[str] | None = None,
    places: Sequence[Place] | None = None,
    shows: Sequence[Shows] | None = None,
    corrections: Mapping[str, Corrections] = NO_CORRECTIONS,
    begins: int = 1,
    known: Known | None = None,
    finish: Finish = lambda photo: photo,
    workers: int = 1,
    progress: Progress = lambda done, total, text: None,
) -> Graded:
    """Grade the photos of one pack.

    Parameters
    ----------
    sources : sequence of str, PhotoFile, PhotoBytes or Photo
        Photos in position order: paths, bytes of files, or photos already read. Of paths and bytes only one
        photo is held in memory at a time, and one more for each worker from two on.
    settings : Settings
    reference : str, PhotoBytes, Photo, Clean or None
        A photo of a clean plate of the same lining, or what `clean_from_photo` made of one.
    lining : Reference or None
        A clean lining by name, already looked up; used when no reference photo is given.
    own : sequence of Reference
        The shop's library, from which a part without a reference photo gets the lining it is recognised as.
    seconds : sequence of str, PhotoFile, PhotoBytes, Photo or None
        For each photo, the same taken again, the phone left where it was and the lamp moved; None, or nothing
        for those at the end, where there is none.
    apply_end : str or None
        Where the apply end lies in photos that hold several parts: "left", "right", "top", "bottom".
    first : str
        "apply" when the photos begin at the apply piston, "reaction" when at the reaction end.
    kinds : sequence of str or None
        Kinds in the order found, from `terms.KINDS`, when a person states them.
    places : sequence of Place or None
        Positions in the order found; counted from `begins` without.
    shows : sequence of Shows or None
        Which parts each photo shows, and which side of them; parts of its own without. Photos of the same
        parts follow each other, those of one side first. Shots of one side are joined into one reading,
        `kinds` and `places` being those of the first; each side has its own, and the worse one counts.
    corrections : mapping of str to Corrections
        What a person put right in a photo, by its sha256.
    begins : int
        The first position, where `places` says nothing.
    known : callable or None
        Gives a photo that was graded before, with the same settings, reference photo, corrections and apply
        end, and with this position as its first; None where it was not. Asked only where neither kinds nor
        places are stated, for photos that show parts of their own.
    finish : callable
        Called once with each photo as soon as it and other shots of its parts are graded; what it returns
        stands in its place from then on. One that draws the photo and gives it back `without_pictures` keeps
        a long pack in little memory. Where a reference photo is given, the shots of some parts are finished
        before the next photo is read.
    workers : int
        From two on, so many threads read and look at the photos that come next, unless `known` may have them;
        the result is the same to the last digit.
    progress : callable
        Called with steps done, steps in all, and what is being done.

    Returns
    -------
    Graded

    Raises
    ------
    CleanReferenceError
        When the reference photo cannot be read or holds no lining that can serve.
    """
    order = list(sources)
    lights = [*seconds, *[None] * (len(order) - len(seconds))]
    shown = list(shows) if shows is not None else [Shows(n) for n in range(len(order))]
    times = Counter(one.parts for one in shown)
    if first == "reaction":
        for each in (order, lights, shown):
            each.reverse()
    total = len(order) + (reference is not None)
    anchor, clean = None, None
    unread: list[PhotoError] = []
    repeated: list[str] = []
    seen_hashes: set[str] = set()
    photos: list[GradedPhoto] = []
    begun = [0]  # where in `photos` the shots of each face begin
    count = _Count(begins, places)
    stated = list(kinds or [])
    alone = kinds is None and places is None
    done_before = known if known is not None and alone else lambda source, position: None
    ahead = workers if known is None else 1

    def and_then(seen: Seen) -> Seen:
        return seen if kinds else with_faces(seen, apply_end, settings)

    with look_ahead(order, corrections, known_colours(settings), ahead, and_then) as look:
        if isinstance(reference, Clean):
            anchor, clean = reference.light, reference.reference
        elif reference is not None:
            progress(0, total, name_of(reference))
            found = clean_from_photo(reference, settings)
            anchor, clean = found.light, found.reference
        for done, source in enumerate(order):
            if count.turn_to(shown[done]):
                if clean is not None:
                    photos[begun[-1] :] = _settled(photos[begun[-1] :], clean, settings, finish)
                begun.append(len(photos))
            progress(done + (reference is not None), total, name_of(source))
            before = done_before(source, count.next) if times[shown[done].parts] == 1 else None
            if before is not None and before.sha256 not in seen_hashes:
                seen_hashes.add(before.sha256)
                photos.append(count.number(before))
                begun.append(len(photos))  # it is graded and finished
                continue
            try:
                seen = look(done)
            except PhotoError as error:
                unread.append(error)
                continue
            if seen.photo.sha256 in seen_hashes:
                repeated.append(seen.photo.file)
                continue
            seen_hashes.add(seen.photo.sha256)
            if stated and count.again is None:
                seen = replace(seen, parts=_with_kinds(seen.parts, stated, apply_end))
            if anchor is None:
                anchor = seen.light
            taken = count.number(_faces(seen, anchor, clean or lining, apply_end, settings))
            if (second := lights[done]) is not None:
                try:
                    again = read_source(second, least_side=None)
                    taken = _seen_again(taken, read_in_full(seen.photo), again, settings)
                except PhotoError as error:
                    unread.append(error)
            photos.append(taken)
    if clean is None:
        if lining is not None or own:
            photos, shared = _with_linings(photos, lining, own)
        else:
            shared = cleanest_part(_linings(photos))
        for begin, end in pairwise([*begun, len(photos)]):
            # In their places, so that nothing holds on to their pictures.
            photos[begin:end] = _settled(photos[begin:end], shared, settings, finish)
    else:
        photos[begun[-1] :] = _settled(photos[begun[-1] :], clean, settings, finish)
        shared = clean
    progress(total, total, "")
    photos = _with_reaction_plate(_doubt_count(photos, kinds, places))
    return Graded(tuple(photos), tuple(unread), shared, _pack(photos), tuple(repeated))


def _with_kinds(parts: tuple[Part, ...], stated: list[str], apply_end: str | None) -> tuple[Part, ...]:
    """The parts in row order with kinds a person stated; those used up are taken off `stated`."""
    out = []
    for part in in_row(parts, apply_end):
        if stated:
            part = replace(part, kind=stated.pop(0), kind_confidence=1.0)
        out.append(part)
    return tuple(out)


def _faces(
    seen: Seen, anchor: Light | None, clean: Reference | None, apply_end: str | None, settings: Settings
) -> GradedPhoto:
    """Parts in row order with their faces, the light matched to `anchor` where one of the two is weak, and
    its sheet told by the clean lining where that is known."""
    photo, light = seen.photo, seen.light
    if light is not None and anchor is not None and anchor is not light and _needs_match(light, anchor):
        light = match_light(light, anchor)
    problems = list(photo.problems)
    if seen.no_part is not None:
        problems.append(seen.no_part)
    if light is not None and light.method in WEAK_LIGHT:
        problems.append(NO_NEUTRAL)
    if seen.light is not None:
        problems.extend(seen.light.problems)
    found = in_row(seen.parts, apply_end)
    taken: dict[int, tuple[Part, Face]] = {}
    if light is not None:
        able = [k for k, part in enumerate(found) if not is_refused(part)]
        if seen.faces is not None and light is seen.light:
            faces = list(seen.faces)
        else:
            faces = take_faces(photo, [found[k] for k in able], light, seen.targets, settings)
        linings = [face for part, face in faces if part.kind in LINED_KINDS]
        surer = light if clean is None else settle_sheet(light, linings, clean)
        if surer is not light:
            light = surer
            faces = take_faces(photo, [found[k] for k in able], light, seen.targets, settings)
        beside_clean = anchor if clean is not None and clean.source == "photo" else None
        if light.sheet_open or (beside_clean is not None and beside_clean.sheet_open):
            faces = [_of_open_sheet(part, face) for part, face in faces]
        taken = dict(zip(able, faces, strict=True))
    parts = []
    for n, part in enumerate(found, start=1):
        settled, face = taken.get(n - 1, (part, None))
        parts.append(
            GradedPart(f"{photo.sha256[:12]}-{n}", 0, None, settled, face, None, None, None, part.problems)
        )
    known = [p.face.light_uncertainty for p in parts if p.face is not None]
    return GradedPhoto(
        photo.file,
        photo.stem,
        photo.sha256,
        photo.width,
        photo.height,
        photo.taken_at,
        photo.working,
        photo.scale,
        seen.quality,
        tuple(dict.fromkeys((*seen.quality.problems, *problems))),
        light,
        max(known, default=math.nan),
        tuple(parts),
        mm_per_px_of(seen),
    )


def _of_open_sheet(part: Part, face: Face) -> tuple[Part, Face]:
    """A lining whose colour may be 4.8 times as bright or dark: that is no error around what was read."""
    if part.kind in LINED_KINDS:
        face = replace(face, problems=(*face.problems, PAPER_OR_CARD))
    return part, face


def _seen_again(taken: GradedPhoto, photo: Photo, second: Photo, settings: Settings) -> GradedPhoto:
    """The photo with what a second light shows of its linings, or the reason why it shows nothing."""
    taken = replace(taken, second_light=SecondLight(second.file, second.sha256))
    lined = {
        part.id: (part.part, part.face)
        for part in taken.parts
        if part.face is not None and part.part.kind in LINED_KINDS
    }
    if not lined or taken.light is None:
        return taken
    found, problems = look_again(photo, second, list(lined.values()), taken.light, settings)
    relit = dict(zip(lined, found, strict=True))
    parts = tuple(replace(part, relit=relit.get(part.id)) for part in taken.parts)
    return replace(taken, parts=parts, problems=tuple(dict.fromkeys((*taken.problems, *problems))))


def _needs_match(light: Light, anchor: Light) -> bool:
    """Whether two photos must be compared through what both show, one of them having no neutral."""
    return light.method in WEAK_LIGHT or anchor.method in WEAK_LIGHT


def _linings(photos: Sequence[GradedPhoto]) -> list[Face]:
    return [
        p.face for photo in photos for p in photo.parts if p.face is not None and p.part.kind in LINED_KINDS
    ]


def _with_linings(
    photos: Sequence[GradedPhoto], stated: Reference | None, own: Sequence[Reference]
) -> tuple[list[GradedPhoto], Reference]:
    """The photos with every lined part's own clean lining, and the one that most have."""
    chosen = iter(choose(_linings(photos), stated, own))
    out = []
    for photo in photos:
        parts = []
        for part in photo.parts:
            if part.face is not None and part.part.kind in LINED_KINDS:
                one = next(chosen)
                if one.problems:
                    part = replace(
                        part, face=replace(part.face, problems=(*part.face.problems, *one.problems))
                    )
                part = replace(part, chosen=one)
            parts.append(part)
        out.append(replace(photo, parts=tuple(parts)))
    used = [part.chosen for photo in out for part in photo.parts if part.chosen is not None]
    return out, main_reference(used) if used else stated or NO_REFERENCE


def _doubt_count(
    photos: list[GradedPhoto], kinds: Sequence[str] | None, places: Sequence[Place] | None
) -> list[GradedPhoto]:
    """The photos, marked where another number of parts may lie in them than was found.

    One part missed, or one too many, shifts the positions, and what was stated, of all that follow. Where a
    person stated more or fewer, nothing tells which it is; where he stated as many, he has counted them; and
    where he stated nothing, a gap in an even row tells, and more rows than one leave the order open.
    """
    found = sum(part.shot_of is None for photo in photos for part in photo.parts)
    counted = [len(stated) == found for stated in (kinds, places) if stated is not None]
    if all(counted):
        return photos if counted else [_with_order_doubts(photo) for photo in photos]
    return [replace(p, problems=(*p.problems, STATED_DO_NOT_FIT)) if p.parts else p for p in photos]


def _with_order_doubts(photo: GradedPhoto) -> GradedPhoto:
    """The photo, marked where it shows more than one row; else with the plate marked that has room for one
    more before it in the row."""
    plates = [part for part in photo.parts if part.part.outer is not None]
    centres = np.array([centre_of(plate.part) for plate in plates])
    diameters = np.array([diameter_of(plate.part) for plate in plates])
    if lie_in_rows(centres, diameters):
        return replace(photo, problems=(*photo.problems, ROWS))
    behind = behind_gap(centres, diameters)
    if behind is None:
        return photo
    marked = plates[behind]
    return replace(
        photo,
        parts=tuple(
            replace(part, problems=tuple(dict.fromkeys((*part.problems, GAP)))) if part is marked else part
            for part in photo.parts
        ),
    )


class _Count:
    """Positions in the order found; after the stated ones have run out, counting goes on from the last.

    `again` is the photo whose parts the next one shows again, the first of its face with any part.
    """

    def __init__(self, begins: int, places: Sequence[Place] | None) -> None:
        self._given = list(places or [])
        self._face = Shows(-1)
        self._front: list[int] | None = None
        self.next = begins
        self.again: GradedPhoto | None = None

    def turn_to(self, face: Shows) -> bool:
        """The next photo shows this face; whether the one before showed another."""
        if face == self._face:
            return False
        other_side = self.again if face.parts == self._face.parts else None
        self._front = [part.position for part in other_side.parts] if other_side else None
        self._face, self.again = face, None
        return True

    def number(self, photo: GradedPhoto) -> GradedPhoto:
        """The photo with its parts' positions; without parts, where it does not show those it should."""
        if self.again is not None and photo.parts:
            return shot_again(photo, self.again)
        if self._front is not None and photo.parts and len(photo.parts) != len(self._front):
            return replace(photo, parts=(), problems=(*photo.problems, SHOTS_DO_NOT_FIT))
        numbered = replace(photo, parts=tuple(self._placed(n, part) for n, part in enumerate(photo.parts)))
        if numbered.parts:
            self.again = numbered
        return numbered

    def _placed(self, n: int, part: GradedPart) -> GradedPart:
        place = Place(self.next if self._front is None else self._front[n])
        if self._given:
            place = self._given.pop(0)
        self.next = place.position + 1
        return replace(part, position=place.position, side=place.side or self._face.side)


def _with_reaction_plate(photos: list[GradedPhoto]) -> list[GradedPhoto]:
    """The photos with the steel at a pack's reaction end called its reaction plate.

    Frictions and steels alternate, and the last is the thick plate that the pack is pressed against (common
    practice, no source). From above its thickness does not show, so only its place tells, and half-heartedly.
    """
    parts = sorted(standing(photos), key=lambda p: p.position)
    if len(parts) < 3 or parts[-1].part.kind != STEEL or parts[-1].part.kind_confidence == 1:
        return photos
    frictions = sum(p.part.kind == FRICTION for p in parts)
    if parts[-2].part.kind != FRICTION or 2 * frictions < len(parts) - 2:
        return photos

    def called(part: GradedPart) -> GradedPart:
        if parts[-1].id not in (part.id, part.shot_of):
            return part
        return replace(part, part=replace(part.part, kind=REACTION, kind_confidence=BY_PLACE))

    return [replace(photo, parts=tuple(map(called, photo.parts))) for photo in photos]


def _settled(
    photos: Sequence[GradedPhoto], shared: Reference, settings: Settings, finish: Finish
) -> list[GradedPhoto]:
    """The shots of some parts graded, joined and finished."""
    return [
        finish(photo)
        for photo in join_shots([_graded(p, shared, settings) for p in photos], shared, settings)
    ]


def _graded(photo: GradedPhoto, shared: Reference, settings: Settings) -> GradedPhoto:
    own = [part.chosen.reference for part in photo.parts if part.chosen is not None]
    each = {id(r): r for r in (shared, *own)}.values()  # most parts share theirs
    compared = [(r, _compared_with(photo, r, shared)) for r in each]
    here = {id(r): clean_in_photo(faces, r) for r, faces in compared}
    too_bright = max(read_too_bright(faces, r) for r, faces in compared)
    parts = []
    for part in photo.parts:
        if part.face is None:
            parts.append(part)
        elif part.part.kind in LINED_KINDS:
            reference = here[id(part.chosen.reference if part.chosen is not None else shared)]
            by_two = None if part.relit is None else read_two_lights(part.face, part.relit, reference)
            lining = read_lining(part.face, reference, settings, too_bright, by_two)
            grade = grade_lining(lining, reference, settings.rules)
            problems = dict.fromkeys((*part.problems, *lining.problems, *grade.problems))
            parts.append(replace(part, lining=lining, grade=grade, problems=tuple(problems)))
        else:
            steel = read_steel(part.face, None, settings)
            grade = grade_steel(steel, settings.rules)
            problems = dict.fromkeys((*part.problems, *steel.problems, *grade.problems))
            parts.append(replace(part, steel=steel, grade=grade, problems=tuple(problems)))
    return replace(photo, parts=tuple(parts))


def _compared_with(photo: GradedPhoto, reference: Reference, shared: Reference) -> list[Face]:
    """Faces of a photo's lined parts that are compared with a reference."""
    return [
        part.face
        for part in photo.parts
        if part.face is not None
        and part.part.kind in LINED_KINDS
        and (shared if part.chosen is None else part.chosen.reference) is reference
    ]


def _pack(photos: Sequence[GradedPhoto]) -> Pack | None:
    parts = standing(photos)
    if len(parts) < 2 or any(p.part.kind == BAND for p in parts):
        return None
    entries = [
        PackEntry(p.id, p.position, p.part.kind, p.side, p.grade, p.lining, p.steel, p.problems)
        for p in parts
    ]
    return profile_pack(entries)
