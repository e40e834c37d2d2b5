"""What is printed where on the bench mat: markers, patches, ruler, and the room for the parts.

    marker  words                        marker
    patches, greys and colours twice each, point-mirrored
    marker                               marker
              room for one plate of 200 mm,
              or the edges of a pack in a row
    marker                               marker
    patches
    marker  ruler                        marker

Every colour lies at least twice, opposite itself, so that one lamp's shine cannot take both. Nothing round is
printed and nothing inside the room, so that only the part makes rings there.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

DESIGN = "1"  # of the layout; another layout takes other marker numbers and the next name
PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # mm; ISO 216 and ANSI/ASME Y14.1
PAPER = "paper"  # the name of bare paper as a patch
ROOM = 200.0  # mm across the room
RULER = 150.0  # mm
MARKER, PATCH = 20.0, 13.0  # mm, sides
# Five by five cells, 50 markers: two differ in at least 8 cells, so a smeared one is not read as another.
MARKERS = cv2.aruco.DICT_5X5_50
MARKER_CELLS = 7  # with the black border
FIRST_MARKER = {"a4": 0, "letter": 8}
_MARGIN = 6.0  # mm at top and bottom; home printers leave 3 to 5 mm blank
_SIDE = 98.0  # mm from the middle to the outer edge of the markers; at 100 the room ends
_ROW, _CORNER = 111.5, 96.5  # mm from the middle to the middles of the rows of patches
_PITCH = 15.0  # mm between patches

# What the printer is asked for: sRGB codes, greys as one number so that black ink alone may print them. What
# comes out depends on printer, ink and paper, and is known after `wearview mat calibrate` only. Colours near
# linings and tints, where they are used, and spread far enough to fix a 3 x 3 matrix.
ASKED: dict[str, tuple[int, ...]] = {
    "light grey": (200,),
    "middle grey": (135,),
    "dark grey": (82,),
    "black": (0,),
    "tan": (196, 164, 118),
    "red-brown": (160, 62, 44),
    "dark brown": (88, 62, 46),
    "green": (84, 128, 78),
    "blue": (62, 90, 150),
    "straw": (222, 186, 72),
    "purple": (128, 78, 132),
}
NEUTRALS = (PAPER, "light grey", "middle grey", "dark grey", "black")
# The upper half, left to right: the outer row of ten, then the three beside each upper corner marker. The
# lower half is the same turned by half a turn.
_OUTER_ROW = (
    "middle grey",
    "tan",
    "blue",
    PAPER,
    "dark brown",
    "straw",
    "black",
    "green",
    "red-brown",
    "light grey",
)
_CORNER_LEFT, _CORNER_RIGHT = (PAPER, "purple", "dark grey"), ("tan", "middle grey", PAPER)


@dataclass(frozen=True, slots=True)
class Patch:
    """A square of one colour.

    Attributes
    ----------
    name : str
        A key of `ASKED`, or `PAPER`.
    x, y : float
        Its middle in mm from the middle of the mat; x right, y down.
    """

    name: str
    x: float
    y: float


@dataclass(frozen=True, slots=True, eq=False)
class Design:
    """The mat for one paper.

    Attributes
    ----------
    paper : str
        A key of `PAPERS`.
    width, height : float
        Of the sheet in mm.
    markers : dict of int to ndarray, shape (4, 2)
        Number of each marker and its corners in mm from the middle: upper left, then clockwise.
    patches : tuple of Patch
    ruler_y : float
        Where the check ruler lies, mm from the middle.
    words_y : float
        Upper edge of the words at the top.
    """

    paper: str
    width: float
    height: float
    markers: dict[int, NDArray[np.float64]]
    patches: tuple[Patch, ...]
    ruler_y: float
    words_y: float


def design_for(paper: str) -> Design:
    """The mat's layout on "a4" or "letter"."""
    width, height = PAPERS[paper]
    end = height / 2 - _MARGIN
    middles = [
        (x, y)
        for y in (-end + MARKER / 2, -76.0, 76.0, end - MARKER / 2)
        for x in (-_SIDE + MARKER / 2, _SIDE - MARKER / 2)
    ]
    square = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * MARKER / 2
    markers = {FIRST_MARKER[paper] + n: np.array(middle) + square for n, middle in enumerate(middles)}
    return Design(paper, width, height, markers, _patches(), end - 10.9, -end)


def _patches() -> tuple[Patch, ...]:
    row = [(name, (n - 4.5) * _PITCH, -_ROW) for n, name in enumerate(_OUTER_ROW)]
    corner = _SIDE - PATCH / 2
    row += [(name, -corner + n * _PITCH, -_CORNER) for n, name in enumerate(_CORNER_LEFT)]
    row += [(name, corner - (2 - n) * _PITCH, -_CORNER) for n, name in enumerate(_CORNER_RIGHT)]
    upper = [Patch(name, x, y) for name, x, y in row]
    return tuple(upper + [Patch(p.name, -p.x, -p.y) for p in upper])
