"""`wearview mat`: the bench mat to print, and its colours as printed."""

import argparse
from pathlib import Path

from wearview import library
from wearview.cli.tables import printable
from wearview.files import write_whole
from wearview.mat import design_for
from wearview.mat.sheet import HOW_TO_PRINT, mat_pdf
from wearview.photo import read_photo


def write_mat(args: argparse.Namespace) -> int:
    """Write the mat as a PDF and say how to print it."""
    path = Path(args.out or f"wearview-mat-{args.paper}.pdf")
    write_whole(path, mat_pdf(design_for(args.paper)))
    print(f"mat: {printable(str(path))}\n{HOW_TO_PRINT}")
    return 0


def calibrate(args: argparse.Namespace) -> int:
    """Measure the printed mat's colours and keep them for this shop."""
    path, told = library.calibrate(read_photo(args.photo), args.chart)
    print("\n".join([f"mat colours: {printable(str(path))}", *told]))
    return 0
