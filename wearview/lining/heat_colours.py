"""Colours that heat can give a lining, and how far beside them one lies."""

from itertools import combinations

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.colour import delta_e

# a*, b*: browns that scorched paper and resin go through, the reddest and the yellowest, and soot (common
# practice, no source; numbers chosen wide of what rendered linings turn).
_BURNT = ((9.0, 12.0), (5.0, 18.0), (0.0, 0.0))


def beside_heat(lab: NDArray[np.floating], clean_lab: NDArray[np.floating]) -> float:
    """How far a colour lies beside all that heat can give a clean lining.

    Parameters
    ----------
    lab, clean_lab : ndarray, shape (3,)
        CIELAB of the face and of the clean lining.

    Returns
    -------
    float
        CIEDE2000 to such a colour of its lightness, the nearest in a* and b*; 0 where it is one itself.

    Notes
    -----
    Heat turns a lining brown, then sooty, and a shine greys it: however far that went, its a* and b* stay
    between the clean ones, brown and grey. What lies outside is another lining, or another light.
    """
    seen = np.asarray(lab, float)
    corners = np.array([clean_lab[1:], *_BURNT], np.float32)
    if cv2.pointPolygonTest(cv2.convexHull(corners), seen[1:].tolist(), False) >= 0:
        return 0.0
    start, end = np.array(list(combinations(corners, 2)), float).transpose(1, 0, 2)
    along = end - start
    share = ((seen[1:] - start) * along).sum(axis=1) / (along**2).sum(axis=1)
    nearest = start + np.clip(share, 0, 1)[:, None] * along
    return float(delta_e(np.insert(nearest, 0, seen[0], axis=1), seen).min())
