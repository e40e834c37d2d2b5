"""The shop's bench mat as its printer made it: its colours, measured in one photo and kept."""

from datetime import datetime
from pathlib import Path

from wearview.colour import linear_to_lab
from wearview.errors import CallError
from wearview.light.calibrate import MatColours, Refused, calibrate_mat
from wearview.light.chart import CHART
from wearview.light.sheet import CARD
from wearview.mat import DESIGN, Mat, find_mat
from wearview.photo import Photo
from wearview.settings import PrintedMat
from wearview.shop import keep_mat
from wearview.terms import PROBLEMS

BESIDE = {CHART: "a 24-patch chart", CARD: "a grey card"}  # by `PrintedMat.by`
_BY_CARD = (
    "A grey card leaves this phone's colour rendering in them: use the same phone, or calibrate beside a "
    "24-patch chart."
)


def calibrate(photo: Photo, edition: str) -> tuple[Path, list[str]]:
    """Measure a printed mat's colours in a photo of it, and keep them for this shop.

    Parameters
    ----------
    photo : Photo
        The bare mat with a 24-patch chart or an 18 % grey card on its middle.
    edition : str
        Of the chart, one of `terms.CHART_EDITIONS`.

    Returns
    -------
    Path
        The file that holds them from now on.
    list of str
        What they were measured beside and how well, for people.

    Raises
    ------
    CallError
        When the photo does not show what it must.
    OutputError
        When they cannot be written.
    """
    found = calibrate_mat(photo.working, _usable_mat(photo), edition)
    if isinstance(found, Refused):
        raise CallError(photo.file, found.problem, found.remedy)
    lab = {name: tuple(map(float, linear_to_lab(colour))) for name, colour in found.linear.items()}
    beside = f"{BESIDE[found.by]} ({edition})" if found.by == CHART else BESIDE[found.by]
    today = f"{datetime.now():%Y-%m-%d}"
    note = f"The bench mat's colours as printed, CIELAB D65, measured beside {beside} on {today}.\n"
    path = keep_mat(PrintedMat(DESIGN, found.by, lab), f"{note}Photo: sha256 {photo.sha256}")
    return path, _told(found, beside)


def _usable_mat(photo: Photo) -> Mat:
    mat = find_mat(photo.working)
    if mat is None:
        raise CallError(photo.file, "no bench mat was found in it", "Get the whole mat into the picture")
    if mat.problem is not None:
        problem = PROBLEMS[mat.problem]
        raise CallError(photo.file, problem.text.rstrip("."), problem.remedy.rstrip("."))
    return mat


def _told(found: MatColours, beside: str) -> list[str]:
    first = f"measured beside {beside}; squares of one colour differ by up to {found.twins:.0%}"
    if found.by == CHART:
        return [first, f"the chart's own squares come out right within Delta E {found.residual:.1f} (median)"]
    return [first, _BY_CARD]
