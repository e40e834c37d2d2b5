"""`wearview mat`: the bench mat to print."""

import argparse
from pathlib import Path

from wearview.cli.tables import printable
from wearview.files import write_whole
from wearview.mat import design_for
from wearview.mat.sheet import mat_pdf

_TOLD = (
    'Print it at 100 % (not "fit to page") on matte white paper and measure the printed line: 150 mm. '
    "Lay the plate in its middle and get the whole mat into the picture."
)


def write_mat(args: argparse.Namespace) -> int:
    """Write the mat as a PDF and say how to print it."""
    path = Path(args.out or f"wearview-mat-{args.paper}.pdf")
    write_whole(path, mat_pdf(design_for(args.paper)))
    print(f"mat: {printable(str(path))}\n{_TOLD}")
    return 0
