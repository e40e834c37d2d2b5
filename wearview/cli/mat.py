"""`wearview mat`: the bench mat to print, and its colours as printed."""

import argparse
from datetime import datetime
from pathlib import Path

from wearview.cli.tables import printable
from wearview.colour import linear_to_lab
from wearview.errors import CallError
from wearview.files import write_whole
from wearview.light.calibrate import MatColours, Refused, calibrate_mat
from wearview.light.chart import CHART
from wearview.light.sheet import CARD
from wearview.mat import DESIGN, Mat, design_for, find_mat
from wearview.mat.sheet import mat_pdf
from wearview.photo import Photo, read_photo
from wearview.settings import PrintedMat
from wearview.shop import keep_mat
from wearview.terms import PROBLEMS

_TOLD = (
    'Print it at 100 % (not "fit to page") on matte white paper and measure the printed line: 150 mm. '
    "Lay the plate in its middle and get the whole mat into the picture."
)
_BY_CARD = (
    "A grey card leaves this phone's colour rendering in them: use the same phone, or calibrate beside a "
    "24-patch chart."
)


def write_mat(args: argparse.Namespace) -> int:
    """Write the mat as a PDF and say how to print it."""
    path = Path(args.out or f"wearview-mat-{args.paper}.pdf")
    write_whole(path, mat_pdf(design_for(args.paper)))
    print(f"mat: {printable(str(path))}\n{_TOLD}")
    return 0


def calibrate(args: argparse.Namespace) -> int:
    """Measure the printed mat's colours and keep them for this shop."""
    photo = read_photo(args.photo)
    mat = _usable_mat(photo)
    found = calibrate_mat(photo.working, mat, args.chart)
    if isinstance(found, Refused):
        raise CallError(photo.file, found.problem, found.remedy)
    lab = {name: tuple(map(float, linear_to_lab(colour))) for name, colour in found.linear.items()}
    beside = {CHART: f"a 24-patch chart ({args.chart})", CARD: "a grey card"}[found.by]
    today = f"{datetime.now():%Y-%m-%d}"
    note = f"The bench mat's colours as printed, CIELAB D65, measured beside {beside} on {today}.\n"
    path = keep_mat(PrintedMat(DESIGN, found.by, lab), f"{note}Photo: sha256 {photo.sha256}")
    print(f"mat colours: {printable(str(path))}\n{_told(found, beside)}")
    return 0


def _usable_mat(photo: Photo) -> Mat:
    mat = find_mat(photo.working)
    if mat is None:
        raise CallError(photo.file, "no bench mat was found in it", "Get the whole mat into the picture")
    if mat.problem is not None:
        problem = PROBLEMS[mat.problem]
        raise CallError(photo.file, problem.text.rstrip("."), problem.remedy.rstrip("."))
    return mat


def _told(found: MatColours, beside: str) -> str:
    lines = [f"measured beside {beside}; squares of one colour differ by up to {found.twins:.0%}"]
    if found.by == CHART:
        lines.append(f"the chart's own squares come out right within Delta E {found.residual:.1f} (median)")
    else:
        lines.append(_BY_CARD)
    return "\n".join(lines)
