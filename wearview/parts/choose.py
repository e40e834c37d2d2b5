"""Which of the plates measured are plates: sure by themselves, or of the size of a sure one."""

import math

from wearview.parts.candidate import Plate

SURE, CUT_SURE = 0.85, 0.93  # chance from which on a ring is a plate, and one that the frame cuts off
# Of a rim: gears, whose bore or root circle is half hidden by their height, stay under it. A plate that
# others hide is sure beside a plain one of its size where as much of both its rims shows as of one that is
# sought by that size.
PLAIN = 0.55
# Mean chance of a face from which on the network's word stands for half hidden rims; what of them must show.
SEEN_PLAIN, SHOWN_WEAKER, SHOWN = 0.6, 0.3, 0.45
CUT_LIKELY = 0.5  # chance from which on a cut off ring is a plate where a sure one is of its size
AS_SAID = 0.2  # the same of the likeliest ring, where a person says that a plate is in view
# Teeth, both rims and bench in its face, of a plate that needs no network, which never saw a real photo: none
# of 1,070 tuned rings that are no plates comes up to them.
TOOTHED, BOTH_RIMS, NO_BENCH = 0.6, 0.9, 0.1
SMALLER = 0.75  # of the largest: plates of one pack, and their reaction plate, turn in one drum
SAME_SIZE, SAME_RATIO = 0.12, 0.08  # of the radius; of inner over outer
NEVER = 0.06  # chance under which no size makes a ring a plate; no tuned plate in whole view is under 0.1
MIN_SUPPORT = 0.7  # of what is in view of the rims of a plate known only by plates of its size
HIDDEN_SUPPORT, HIDDEN_SEEN = 0.45, 0.6  # the same where the network sees the face; chance of a face on it
WHOLE, LEAST_IN_FRAME = 0.95, 0.35  # share of the outer rim
# Of a ring as like a sure plate as one stamping is like the next: of the radius and of inner over outer; of
# the rim less well seen; and bench in its face.
TWIN_SIZE, TWIN_RATIO, TWIN_RIMS, TWIN_BENCH = 0.04, 0.04, 0.75, 0.05


def select(plates: list[Plate]) -> list[Plate]:
    """Plates sure by themselves, and those that match them in size and are well supported."""
    plates = sorted((p for p in plates if p.in_frame > LEAST_IN_FRAME), key=lambda p: -(p.support + p.teeth))
    surest = [
        p
        for p in plates
        if p.chance > (SURE if p.in_frame > WHOLE else CUT_SURE)
        or (p.in_frame > WHOLE and _plainly_toothed(p))
    ]
    plain = [p for p in surest if p.weakest > PLAIN or _plainly_seen(p)]
    shown = [p for p in surest if p.support > HIDDEN_SUPPORT and any(as_large(p, other) for other in plain)]
    sure = [p for p in surest if p in plain or p in shown]
    largest = max((p.radius for p in sure), default=0.0)
    sure = [p for p in sure if p.radius > SMALLER * largest]
    chosen: list[Plate] = []
    for plate in plates:
        alike = any(as_large(plate, other) and abs(plate.ratio - other.ratio) < SAME_RATIO for other in sure)
        likely = _is_whole(plate) if plate.in_frame > WHOLE else plate.chance > CUT_LIKELY
        known = plate in sure or (alike and likely)
        if known and all(apart(plate, other) for other in chosen):
            chosen.append(plate)
    return chosen


def _is_whole(plate: Plate) -> bool:
    """Whether a ring of a sure plate's size is one by what its rims and teeth show."""
    return plate.support > MIN_SUPPORT and plate.chance > NEVER


def _plainly_toothed(plate: Plate) -> bool:
    """Whether its teeth and rims alone make it a plate, whatever the network sees."""
    return plate.teeth > TOOTHED and plate.weakest > BOTH_RIMS and plate.bench < NO_BENCH


def _plainly_seen(plate: Plate) -> bool:
    """Whether the network is sure of a face whose rims are half hidden, by a gear laid inside it, say."""
    shown = plate.weakest > SHOWN_WEAKER and plate.support > SHOWN
    return shown and plate.seen is not None and plate.seen.on > SEEN_PLAIN


def likeliest(plates: list[Plate]) -> list[Plate]:
    """The plate that is most likely one, if it can be one at all."""
    whole = [p for p in plates if p.in_frame > WHOLE and p.support > MIN_SUPPORT and p.chance > AS_SAID]
    return [max(whole, key=lambda p: p.chance)] if whole else []


def is_of_pack(plate: Plate, like: Plate) -> bool:
    """Whether a plate is another of a sure one's pack: of its size, and either the network sees its face, be
    it half hidden, or its teeth and rims are in view."""
    if not (as_large(plate, like) and abs(plate.ratio - like.ratio) < SAME_RATIO):
        return False
    seen = plate.support > HIDDEN_SUPPORT and plate.seen is not None and plate.seen.on > HIDDEN_SEEN
    return seen or (plate.in_frame > WHOLE and _is_whole(plate))


def is_twin(plate: Plate, other: Plate) -> bool:
    """Whether both rims of a ring are seen where those of a plate lie, and no bench in between."""
    size = abs(plate.radius - other.radius) < TWIN_SIZE * other.radius
    alike = size and abs(plate.ratio - other.ratio) < TWIN_RATIO
    return alike and plate.in_frame > WHOLE and plate.weakest > TWIN_RIMS and plate.bench < TWIN_BENCH


def as_large(plate: Plate, other: Plate) -> bool:
    """Whether two plates could be of one pack by the radius of their outer rims."""
    return abs(plate.radius - other.radius) < SAME_SIZE * other.radius


def apart(a: Plate, b: Plate) -> bool:
    """Whether two plates lie in two places."""
    ea, eb = a.outer.ellipse, b.outer.ellipse
    return math.hypot(ea.cx - eb.cx, ea.cy - eb.cy) > 0.3 * min(ea.major, eb.major) / 2
