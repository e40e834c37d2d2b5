"""The bench mat as a PDF to print."""

import cv2
import typst

from wearview.mat.design import ASKED, DESIGN, MARKER, MARKER_CELLS, MARKERS, PATCH, ROOM, RULER, Design

HOW_TO_PRINT = (
    'Print it at 100 % (not "fit to page") on matte white paper and measure the printed line: 150 mm. '
    "Lay the plate in its middle and get the whole mat into the picture."
)
_TITLE = "bench mat for plate photos"
_WORDS = (
    "Print at 100 % on matte white paper. Lay it flat, clean and dry, with no glossy film over it.",
    "Between the crosses: one plate up to 200 mm, or the edges of a pack in a row.",
    "Leave the squares bare, keep the lamp's shine off them, and get the whole mat into the picture.",
)
_RULER_WORDS = (
    "Measure this line: 150 mm. If it is not, print again without \u201cfit to page\u201d.",
    "Dusty or oily? Print a new one. Do not brush the dust or blow it off.",
)
_CROSS = 3.0  # mm, arm of a cross; at an eighth of a turn it stands clear of markers and patches
_FONT = "DejaVu Sans Mono"  # comes with typst, so that the page is the same everywhere


def mat_pdf(design: Design) -> bytes:
    """The mat as one page of vector PDF at true size.

    Parameters
    ----------
    design : Design
        From `design_for`.
    """
    drawn = [*_markers(design), *_squares(design), *_crosses(), *_ruler(design), *_words(design)]
    page = f"#set page(width: {design.width}mm, height: {design.height}mm, margin: 0mm)\n"
    page += f'#set document(title: "wearview {_TITLE}", date: none)\n'
    page += f'#set text(font: "{_FONT}", size: 6.6pt, fill: luma(35%), lang: "en")\n'
    shift = f"dx: {design.width / 2}mm, dy: {design.height / 2}mm"
    source = page + f"#place({shift}, {{\n" + "\n".join(drawn) + "\n})\n"
    return bytes(typst.compile(source.encode("utf-8"), format="pdf", ignore_system_fonts=True))


def _square(left: float, top: float, width: float, height: float, fill: str) -> str:
    size = f"width: {width:.4f}mm, height: {height:.4f}mm"
    return f"place(dx: {left:.4f}mm, dy: {top:.4f}mm, rect({size}, fill: {fill}, stroke: none))"


def _markers(design: Design) -> list[str]:
    """Markers as black squares with their white cells laid on, runs of cells joined."""
    dictionary = cv2.aruco.getPredefinedDictionary(MARKERS)
    cell = MARKER / MARKER_CELLS
    out = []
    for number, corners in design.markers.items():
        left, top = corners[0]
        out.append(_square(left, top, MARKER, MARKER, "luma(0)"))
        cells = cv2.aruco.generateImageMarker(dictionary, number, MARKER_CELLS)
        for row, column in zip(*cells.nonzero(), strict=True):
            out.append(_square(left + column * cell, top + row * cell, cell, cell, "luma(255)"))
    return out


def _squares(design: Design) -> list[str]:
    return [
        _square(p.x - PATCH / 2, p.y - PATCH / 2, PATCH, PATCH, _ink(ASKED[p.name]))
        for p in design.patches
        if p.name in ASKED
    ]


def _ink(codes: tuple[int, ...]) -> str:
    return f"luma({codes[0]})" if len(codes) == 1 else "rgb({}, {}, {})".format(*codes)


def _line(x0: float, y0: float, x1: float, y1: float, weight: str) -> str:
    ends = f"start: ({x0:.3f}mm, {y0:.3f}mm), end: ({x1:.3f}mm, {y1:.3f}mm)"
    return f"place(line({ends}, stroke: {weight}))"


def _crosses() -> list[str]:
    """Crosses on the rim of the room, four at the eighths of a turn and two at top and bottom."""
    rim = ROOM / 2
    diagonal = rim * 0.5**0.5
    at = [(x, y) for x in (-diagonal, diagonal) for y in (-diagonal, diagonal)] + [(0, -rim), (0, rim)]
    thin = "0.25mm + luma(60%)"
    out = []
    for x, y in at:
        out.append(_line(x - _CROSS, y, x + _CROSS, y, thin))
        out.append(_line(x, y - _CROSS, x, y + _CROSS, thin))
    return out


def _ruler(design: Design) -> list[str]:
    y, half = design.ruler_y, RULER / 2
    thin = "0.2mm + luma(0)"
    out = [_line(-half, y, half, y, thin)]
    for mm in range(int(RULER) + 1):
        tall = 3.4 if mm % 10 == 0 else 2.4 if mm % 5 == 0 else 1.4
        out.append(_line(mm - half, y, mm - half, y - tall, thin))
        if mm % 50 == 0:
            # Kept off the corner markers, whose quiet margin begins where the ruler ends.
            edge = {0: "left", int(RULER): "right"}.get(mm, "center")
            left = {"left": 0.0, "right": -20.0, "center": -10.0}[edge] + mm - half
            out.append(f"place(dx: {left}mm, dy: {y + 0.9}mm, box(width: 20mm, align({edge})[{mm} mm]))")
    out += [
        f"place(dx: {-half}mm, dy: {y + 4.0 + 2.8 * n}mm, [{words}])" for n, words in enumerate(_RULER_WORDS)
    ]
    return out


def _words(design: Design) -> list[str]:
    half = RULER / 2
    title = f'text(size: 9pt, weight: "bold", fill: luma(0))[wearview {_TITLE}]'
    mark = f"box(width: {RULER}mm, align(right)[design {DESIGN}, {design.paper}])"
    out = [
        f"place(dx: {-half}mm, dy: {design.words_y}mm, {title})",
        f"place(dx: {-half}mm, dy: {design.words_y + 0.6}mm, {mark})",
    ]
    for n, words in enumerate(_WORDS):
        out.append(f"place(dx: {-half}mm, dy: {design.words_y + 4.4 + 3.1 * n}mm, [{words}])")
    return out
