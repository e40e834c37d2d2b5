"""Why a photo has no part, so that the quality gate can say what to do about it.

Of a plate under a rag too little is left to fit, so that the network's word counts alone. A plate of a
twentieth of the frame is a few of its cells: what is small and round is looked at again, closer.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.parts.as_part import MIN_DIAMETER
from wearview.parts.edge_on import blobs, plates_on_edge
from wearview.parts.find import find_plates
from wearview.parts.learned import BENCH, LINING, SHEET, STEEL, TEETH, Sight, look
from wearview.photo import Photo
from wearview.pieces import pieces

LIKELY_FACE, SURE_FACE = 0.5, 0.7  # chance of each cell, and mean, of a face of which no rim could be fitted
LEAST_HINT = 12  # cells of it
FRAME = 2  # cells
# What is looked at closer: chance of bench or sheet that it stays under, its length over its width, how much
# larger than the least plate to be graded its blurred cells may seem, how many such things at most; and how
# many times its length the view about it is high, in which a plate is as large as in the network's lessons.
SOMETHING, LONG, BLURRED, MOST_SPOTS, ABOUT = 0.5, 2, 1.4, 8, 3.5
# Mean share of both rims in view: so small, a washer or a bearing looks like a plate. Of 200 tuned benches
# with such things and no part 13 show a plate so, one of them with more of its rims than this.
BOTH_RIMS = 0.96


def nothing_found(photo: Photo, sight: Sight) -> str:
    """Why a photo in which the network sees this has no part: a name from `terms.PROBLEMS`."""
    if said := why_none(sight, photo.scale, MIN_DIAMETER):
        return said
    spots = _spots(photo.working, sight, MIN_DIAMETER / photo.scale)
    return "too small" if any(_shows_plate(view) for view in spots) else "no part found"


def why_none(sight: Sight, scale: float, least_px: float) -> str | None:
    """Why no part was found where the network sees one: a name from `terms.PROBLEMS`, None if it sees none.

    Parameters
    ----------
    sight : Sight
    scale : float
        Full-size pixels per working-copy pixel.
    least_px : float
        Diameter in full-size pixels from which on a plate can be graded.
    """
    height, width = sight.chance.shape[1:]
    whole = (round(height * sight.scale), round(width * sight.scale))
    if plates_on_edge(sight, np.zeros(whole, bool)):
        return "edge view"
    face = sight.chance[[LINING, STEEL, TEETH]].sum(axis=0)
    faces = [b for b in blobs(face > LIKELY_FACE, LEAST_HINT) if face[b].mean() > SURE_FACE]
    if not faces:
        return None
    rows, columns = np.nonzero(max(faces, key=lambda cells: int(cells.sum())))
    across = (max(np.ptp(rows), np.ptp(columns)) + 1) * sight.scale * scale
    if across < least_px:
        return "too small"
    near = (rows < FRAME) | (columns < FRAME) | (rows >= height - FRAME) | (columns >= width - FRAME)
    return "cut off by the frame" if near.any() else "covered"


def _spots(working: NDArray[np.uint8], sight: Sight, least: float) -> list[NDArray[np.uint8]]:
    """The surroundings of what lies on the bench and may be a plate narrower than `least` pixels, the largest
    first."""
    thing = sight.chance[BENCH] + sight.chance[SHEET] < SOMETHING
    _, stats = pieces(thing)
    views = []
    for x, y, w, h, _ in sorted(stats[1:].tolist(), key=lambda s: -s[cv2.CC_STAT_AREA]):
        across = max(w, h) * sight.scale
        if min(w, h) < 2 or max(w, h) > LONG * min(w, h) or across > BLURRED * least:
            continue
        middle = sight.to_photo(np.array([x + (w - 1) / 2, y + (h - 1) / 2]))
        half = ABOUT * across / 2 * np.array([4 / 3, 1])
        (x0, y0), (x1, y1) = np.maximum(middle - half, 0).astype(int), (middle + half).astype(int)
        views.append(np.ascontiguousarray(working[y0:y1, x0:x1]))
    return views[:MOST_SPOTS]


def _shows_plate(view: NDArray[np.uint8]) -> bool:
    return any(plate.support > BOTH_RIMS for plate in find_plates(view, None, look(view)))
