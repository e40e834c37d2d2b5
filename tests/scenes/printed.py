"""A printed page lying on a bench: its inks, the light on it, the lens, and what a phone makes of it.

The page comes in as PDF bytes and is drawn by PDFium. Everything else here is a model of our own: inks and
paper that nobody knows, flat matte parts of known colour laid on the page, a camera with perspective and lens
distortion. Linear sRGB throughout, 1 is a perfect white in full light.
"""

from __future__ import annotations

import functools
import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

import cv2
import numpy as np
import pypdfium2
from numpy.random import Generator
from numpy.typing import NDArray
from PIL import Image

from tests.scenes.camera import Phone, develop

Field = NDArray[np.float32]
PX_PER_MM = 4.0  # of the page before it is photographed
MM_PER_POINT = 25.4 / 72
BENCH_MM = 640.0  # side of the bench round it


@dataclass(frozen=True, slots=True, eq=False)
class Inks:
    """What a printer makes of the colours that it is asked for."""

    paper: tuple[float, float, float]  # reflectance
    black: float  # what full ink still reflects
    gain: float  # exponent on the asked reflectance: dots that spread darken the middle tones
    mixing: NDArray[np.float32]  # (3, 3), rows sum to 1: dyes that absorb where they should not

    def printed(self, asked: NDArray[np.floating]) -> Field:
        """Reflectance of linear colours asked for."""
        inked = np.clip(asked, 0, 1) ** self.gain @ self.mixing.T
        inked = self.black + (1 - self.black) * np.clip(inked, 0, 1)
        return (inked * np.array(self.paper)).astype(np.float32)


def random_inks(rng: Generator) -> Inks:
    """Some home printer on some office paper (reflectance 0.82 to 0.92, a little blue: from memory)."""
    level, blue = rng.uniform(0.82, 0.92), rng.uniform(0.0, 0.03)
    off = rng.uniform(0.0, 0.12, (3, 3))
    np.fill_diagonal(off, 0)
    mixing = np.eye(3) - np.diag(off.sum(axis=1)) + off
    return Inks(
        (level * (1 - blue / 2), level, level * (1 + blue)),
        float(rng.uniform(0.025, 0.06)),
        float(rng.uniform(1.0, 1.35)),
        mixing.astype(np.float32),
    )


class Printer(Protocol):
    """What a page needs to know of its inks: `Inks`, or those of `spectra`."""

    @property
    def paper(self) -> tuple[float, float, float]: ...
    def printed(self, asked: NDArray[np.floating]) -> Field: ...


@dataclass(frozen=True, slots=True, eq=False)
class Laid:
    """A flat matte thing on the page: a ring or disc of one colour."""

    x: float  # mm from the page's middle
    y: float
    outer: float  # radius, mm
    inner: float
    colour: NDArray[np.floating]  # linear sRGB


@dataclass(frozen=True, slots=True, eq=False)
class Board:
    """A bought chart lying on the bench: six by four matte squares in a black frame.

    ``colours`` are linear sRGB, shape (24, 3), in the usual order: row by row from dark skin, greys last.
    """

    x: float  # mm from the page's middle
    y: float
    width: float  # mm of the frame along the rows
    turn_deg: float
    colours: NDArray[np.floating]

    def painted(self) -> Field:
        """The board upright, ``PX_PER_MM`` pixels a millimetre."""
        width = round(self.width * PX_PER_MM)
        gap = width / 62  # squares are nine gaps wide: 7 gaps and 6 squares across, 5 and 4 down
        out = np.full((round(41 * gap), width, 3), 0.035, np.float32)
        for n, colour in enumerate(self.colours):
            top, left = gap * (1 + 10 * (n // 6)), gap * (1.5 + 10 * (n % 6))
            out[round(top) : round(top + 9 * gap), round(left) : round(left + 9 * gap)] = colour
        return out


@dataclass(frozen=True, slots=True, eq=False)
class Grey:
    """A grey card on the bench: an evenly grey rectangle, centre and size in mm."""

    x: float
    y: float
    width: float
    height: float
    reflectance: float = 0.18


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """Where the camera is: it looks at a point of the page from a height, tilted."""

    width: int = 1600
    height: int = 1200
    mm_across: float = 380.0  # seen at the middle of the page across the photo's longer side
    tilt_deg: float = 0.0
    towards_deg: float = 0.0  # direction in which it is tilted
    turn_deg: float = 90.0  # of the page about its middle
    shift: tuple[float, float] = (0.0, 0.0)  # of the page's middle in the photo, share of its width
    focal: float = 0.78  # of the width
    bend: float = 0.0  # radial distortion at one half diagonal


@dataclass(frozen=True, slots=True, eq=False)
class Lit:
    """The light on the bench: its colour, how it falls off, and where it shines."""

    colour: tuple[float, float, float] = (1.0, 1.0, 1.0)
    slope: tuple[float, float] = (0.0, 0.0)  # log units over 300 mm, x and y
    bow: float = 0.0  # log units at 150 mm from the middle
    level: float = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Page:
    """A printed page with things laid on it, or without a PDF a bare bench.

    ``scale`` is the print's true size over the asked one; ``hidden`` are quadrilaterals in mm from the middle
    that something dark covers, ``wet`` and ``glare`` discs (x, y, radius).
    """

    pdf: bytes | None
    inks: Printer
    laid: Sequence[Laid] = ()
    boards: Sequence[Board] = ()
    cards: Sequence[Grey] = ()
    hidden: Sequence[Sequence[tuple[float, float]]] = ()
    wet: Sequence[tuple[float, float, float]] = ()
    glare: Sequence[tuple[float, float, float]] = ()
    scale: float = 1.0
    curl: float = 0.0  # mm that the page's corners stand up
    bench: tuple[float, float, float] = field(default=(0.21, 0.15, 0.10))


def shoot(page: Page, view: View, lit: Lit, phone: Phone, rng: Generator) -> NDArray[np.uint8]:
    """The 8-bit photo, upright."""
    reflectance, glare = _painted(page, rng)
    radiance = reflectance * _light(lit, page)[..., None] * np.array(lit.colour, np.float32) + glare
    seen = _projected(radiance, page, view)
    return develop(seen, phone, lit.colour, rng)


def true_place(view: View, mm: NDArray[np.floating]) -> NDArray[np.float64]:
    """Pixels, shape (N, 2), of points on the bench given in true mm from the page's middle."""
    flat = np.column_stack([np.asarray(mm, float).reshape(-1, 2), np.ones(np.size(mm) // 2)])
    at = flat @ _camera(view).T
    centred = at[:, :2] / at[:, 2:] - [(view.width - 1) / 2, (view.height - 1) / 2]
    half = np.hypot(view.width, view.height) / 2
    radius2 = (centred**2).sum(axis=1, keepdims=True) / half**2
    return centred * (1 + view.bend * radius2) + [(view.width - 1) / 2, (view.height - 1) / 2]


def jpeg(rgb8: NDArray[np.uint8], quality: int = 92) -> bytes:
    """The photo as a phone stores it."""
    out = io.BytesIO()
    Image.fromarray(rgb8).save(out, "JPEG", quality=quality, subsampling="4:2:0")
    return out.getvalue()


@functools.cache
def asked_colours(pdf: bytes) -> Field:
    """The page drawn upright in linear sRGB, ``PX_PER_MM`` pixels a millimetre."""
    document = pypdfium2.PdfDocument(pdf)
    drawn = document[0].render(scale=2 * PX_PER_MM * MM_PER_POINT).to_pil().convert("RGB")
    codes = np.asarray(drawn, np.float32) / 255
    linear = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4).astype(np.float32)
    # PDFium stretches the page to whole pixels; this sets it right.
    width, height = np.rint(np.array(document[0].get_size()) * PX_PER_MM * MM_PER_POINT).astype(int)
    return cv2.resize(linear, (width, height), interpolation=cv2.INTER_AREA)


def _painted(page: Page, rng: Generator) -> tuple[Field, Field]:
    """Reflectance of bench, page and parts in true mm, and the light that shines off without its colour."""
    side = round(BENCH_MM * PX_PER_MM / 2)
    grain = cv2.GaussianBlur(rng.normal(0, 1, (side, side)).astype(np.float32), (0, 0), 3)
    bench = np.array(page.bench, np.float32) * (1 + 0.5 * grain[..., None])
    bench = cv2.resize(bench, None, fx=2, fy=2, interpolation=cv2.INTER_LINEAR)
    if page.pdf is not None:
        sheet = _sheet(page, page.pdf)
        height, width = sheet.shape[:2]
        top, left = (len(bench) - height) // 2, (len(bench) - width) // 2
        bench[top : top + height, left : left + width] = sheet
    x, y = _mm(bench.shape[:2])
    for part in page.laid:
        far = np.hypot(x - part.x, y - part.y)
        bench[(far < part.outer) & (far > part.inner)] = part.colour
    for board in page.boards:
        _lay(bench, board)
    for card in page.cards:
        bench[(abs(x - card.x) < card.width / 2) & (abs(y - card.y) < card.height / 2)] = card.reflectance
    for cx, cy, radius in page.wet:
        soaked = np.hypot(x - cx, y - cy) < radius
        bench[soaked] = np.maximum(bench[soaked], 0) ** 1.25 * 0.8
    for corners in page.hidden:
        shape = np.rint((np.array(corners) + BENCH_MM / 2) * PX_PER_MM).astype(np.int32)
        cv2.fillPoly(bench, [shape], (0.05, 0.06, 0.07))
    glare = np.zeros((*bench.shape[:2], 1), np.float32)
    for cx, cy, radius in page.glare:
        glare[..., 0] += np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * (radius / 2) ** 2))
    return np.maximum(bench, 0.005), glare


def _sheet(page: Page, pdf: bytes) -> Field:
    """Reflectance of the printed sheet, ``PX_PER_MM`` pixels a millimetre."""
    sheet = page.inks.printed(asked_colours(pdf))
    if page.scale == 1:
        return sheet
    # The sheet keeps its size; what is printed on it shrinks, and the rest stays bare paper.
    height, width = sheet.shape[:2]
    rest = (1 - page.scale) / 2
    shrink = np.array([[page.scale, 0, rest * width], [0, page.scale, rest * height]])
    paper = [float(v) for v in page.inks.paper]
    return cv2.warpAffine(sheet, shrink, (width, height), flags=cv2.INTER_AREA, borderValue=paper)


def _lay(bench: Field, board: Board) -> None:
    """Paint a turned board onto the bench."""
    upright = board.painted()
    turn = cv2.getRotationMatrix2D(
        ((upright.shape[1] - 1) / 2, (upright.shape[0] - 1) / 2), -board.turn_deg, 1.0
    )
    turn[:, 2] += (np.array(bench.shape[1::-1]) - np.array(upright.shape[1::-1])) / 2
    turn[:, 2] += np.array([board.x, board.y]) * PX_PER_MM
    size = bench.shape[1::-1]
    inside = cv2.warpAffine(np.ones(upright.shape[:2], np.uint8), turn, size, flags=cv2.INTER_NEAREST)
    seen = cv2.warpAffine(upright, turn, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    bench[inside > 0] = seen[inside > 0]


def _mm(shape: tuple[int, ...]) -> tuple[Field, Field]:
    middle = (np.array(shape[1::-1]) - 1) / 2
    x = ((np.arange(shape[1]) - middle[0]) / PX_PER_MM).astype(np.float32)[None]
    y = ((np.arange(shape[0]) - middle[1]) / PX_PER_MM).astype(np.float32)[:, None]
    return x, y


def _light(lit: Lit, page: Page) -> Field:
    side = round(BENCH_MM * PX_PER_MM / 2) * 2
    x, y = _mm((side, side))
    log = lit.slope[0] * x / 300 + lit.slope[1] * y / 300 + lit.bow * (x * x + y * y) / 150**2
    return (lit.level * np.exp(np.clip(log, -2, 2))).astype(np.float32)


def _camera(view: View) -> NDArray[np.float64]:
    """From true mm on the bench to pixels without distortion, (3, 3)."""
    focal = view.focal * view.width
    distance = view.mm_across * view.focal
    tilt, towards, turn = np.radians([view.tilt_deg, view.towards_deg, view.turn_deg])
    axis = np.array([np.cos(towards), np.sin(towards), 0.0]) * tilt
    rotation = cv2.Rodrigues(axis)[0] @ cv2.Rodrigues(np.array([0, 0, turn]))[0]
    lens = np.array([[focal, 0, (view.width - 1) / 2], [0, focal, (view.height - 1) / 2], [0, 0, 1]])
    shift = np.array([view.shift[0] * view.mm_across, view.shift[1] * view.mm_across, distance])
    return np.asarray(lens @ np.column_stack([rotation[:, :2], shift]))


def _projected(radiance: Field, page: Page, view: View) -> Field:
    """The bench through the lens, twice as fine as the photo and averaged."""
    fine = 2
    # One row and one column: whole grids are made only where a bent lens mixes the two.
    x = ((np.arange(view.width * fine) + 0.5) / fine - 0.5)[None]
    y = ((np.arange(view.height * fine) + 0.5) / fine - 0.5)[:, None]
    middle = [(view.width - 1) / 2, (view.height - 1) / 2]
    half = np.hypot(view.width, view.height) / 2
    seen_x, seen_y = (x - middle[0]) / half, (y - middle[1]) / half
    flat_x, flat_y = seen_x, seen_y
    for _ in range(8 if view.bend else 0):
        bent = 1 + view.bend * (flat_x**2 + flat_y**2)
        flat_x, flat_y = seen_x / bent, seen_y / bent
    back = np.linalg.inv(_camera(view))
    px, py = flat_x * half + middle[0], flat_y * half + middle[1]
    w = back[2, 0] * px + back[2, 1] * py + back[2, 2]
    mm_x = (back[0, 0] * px + back[0, 1] * py + back[0, 2]) / w
    mm_y = (back[1, 0] * px + back[1, 1] * py + back[1, 2]) / w
    if page.curl:
        # A corner that stands up by h is seen off its place as if it lay further out.
        corner = np.abs(mm_x * mm_y) / (90 * 120)
        lift = page.curl * np.clip(corner - 0.5, 0, 1) * 2
        grow = 1 - lift / (view.mm_across * view.focal)
        mm_x, mm_y = mm_x * grow, mm_y * grow
    centre = (np.array(radiance.shape[1::-1]) - 1) / 2
    seen = cv2.remap(
        radiance,
        (mm_x * PX_PER_MM + centre[0]).astype(np.float32),
        (mm_y * PX_PER_MM + centre[1]).astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REFLECT,
    )
    return cv2.resize(seen, (view.width, view.height), interpolation=cv2.INTER_AREA)
