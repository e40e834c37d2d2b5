"""Where in the pack the heat sits, in one word."""

from collections.abc import Sequence
from itertools import pairwise

from wearview.pack.plates import Plate

_RISE = 0.25  # share of the range that the plate next to a hot end must have come, for the end to be gradual
_NEARLY_ALL = 0.75  # share of the plates over which heat is the whole pack's and no end's
_MOST = 2 / 3
_BURNT = 3  # level from which no plate is cool enough to say where the heat is less


def shows_heat(plate: Plate) -> bool:
    """Whether the plate is graded level 1 or more."""
    return plate.level is not None and plate.level >= 1


def find_pattern(plates: Sequence[Plate]) -> str:
    """One of `terms.PATTERNS` for plates of one kind in position order.

    "none" is said only when every face was graded. Mirroring the pack swaps the two ends and changes
    nothing else.
    """
    graded = [plate for plate in plates if plate.level is not None]
    n = len(graded)
    if n < 2 or 2 * n < len(plates):
        return "cannot tell"
    hot = [shows_heat(plate) for plate in graded]
    if not any(hot):
        return "none" if all(plate.complete for plate in plates) else "cannot tell"
    if _is_one_side(graded):
        return "one side"

    scores = [plate.score or 0.0 for plate in graded]
    low, high = min(scores), max(scores)
    if all(hot) and (high - low < 1 or low >= _BURNT):
        return "whole pack"
    # The hotter half of the range: where the heat is, whatever its size.
    marked = [i for i in range(n) if hot[i] and scores[i] >= (low + high) / 2]
    first, last = marked[0], marked[-1]
    if len(marked) == 1:
        return _single_or_end(scores, hot, first)
    if len(marked) > _NEARLY_ALL * n or (first == 0 and last == n - 1 and sum(hot) >= _MOST * n):
        return "whole pack"
    if first > 0 and last == n - 1 and first >= n / 2 - 1:
        return "reaction end"
    if first == 0 and last < n - 1 and n - 1 - last >= n / 2 - 1:
        return "apply end"
    if first > 0 and last < n - 1 and len(marked) == last - first + 1:
        return "middle"
    if 2 * first >= n:
        return "reaction end"
    if 2 * (last + 1) <= n:
        return "apply end"
    return "whole pack" if sum(hot) >= _MOST * n else "cannot tell"


def _single_or_end(scores: list[float], hot: list[bool], hottest: int) -> str:
    """One plate stands out: alone, or as the end of a rise towards it over plates that show heat.

    Plates that show none do not speak: among them the scores differ by what a photo can measure.
    """
    n, low, high = len(scores), min(scores), max(scores)
    if n < 3 or hottest not in (0, n - 1):
        return "single plate"
    towards = [*zip(scores, hot, strict=True)][:: 1 if hottest == n - 1 else -1]
    rising = [score for score, is_hot in towards if is_hot]
    ends_the_pack = all(is_hot for _, is_hot in towards[n - len(rising) :])
    is_gradual = towards[-2][0] - low >= _RISE * (high - low)
    if ends_the_pack and is_gradual and all(a <= b for a, b in pairwise(rising)):
        return "reaction end" if hottest == n - 1 else "apply end"
    return "single plate"


def _is_one_side(plates: Sequence[Plate]) -> bool:
    """Whether the same side is a level hotter, or more, on all hot plates, two of them at least."""
    differences = []
    for plate in plates:
        if not shows_heat(plate):
            continue
        if len(plate.parts) != 2 or not plate.complete:
            return False
        apply, reaction = (part.level or 0 for part in plate.parts)
        differences.append(reaction - apply)
    return len(differences) >= 2 and (min(differences) > 0 or max(differences) < 0)
