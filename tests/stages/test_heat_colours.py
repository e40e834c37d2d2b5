"""Colours that heat can give a lining."""

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from wearview.lining.heat_colours import beside_heat

TAN, GREEN, RED_BROWN, GREY = (61.0, 8, 24), (48.0, -9, 16), (41.5, 17, 18), (50.0, 0.2, 3)
SCORCHED = (40.0, 7, 15)  # paper before it chars: common practice, no source
SOOT = (11.0, 0.3, 0.6)


@pytest.mark.parametrize("clean", [TAN, GREEN, RED_BROWN, GREY])
def test_browning_and_charring_any_lining_stays_among_the_colours_of_heat(clean):
    for begins, ends in ((clean, SCORCHED), (SCORCHED, SOOT), (clean, SOOT)):
        for share in np.linspace(0.02, 0.98, 9):
            assert beside_heat((1 - share) * np.array(begins) + share * np.array(ends), np.array(clean)) == 0


@pytest.mark.parametrize(
    ("clean", "seen"), [(TAN, (45, -9, 19)), (RED_BROWN, (40, -8, 12)), (GREY, (50, 1, -9))]
)
def test_what_lies_beside_is_as_far_off_as_the_best_mixture_of_clean_brown_and_grey(clean, seen):
    # Against scikit-image's CIEDE2000 and every mixture, each a step of a hundredth.
    corners = np.array([clean[1:], (9, 12), (5, 18), (0, 0)], float)
    shares = np.array(
        [(a, b, c, 100 - a - b - c) for a in range(101) for b in range(101 - a) for c in range(101 - a - b)]
    )
    mixed = shares @ corners / 100
    nearest = mixed[np.argmin(((mixed - seen[1:]) ** 2).sum(axis=1))]
    expected = deltaE_ciede2000(np.array([seen[0], *nearest]), np.array(seen, float))
    assert beside_heat(np.array(seen, float), np.array(clean)) == pytest.approx(expected, abs=0.1)
    assert expected > 5
