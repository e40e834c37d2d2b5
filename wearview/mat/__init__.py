"""The printed bench mat: its design, and the mat found again in a photo. `mat.sheet` makes the PDF."""

from wearview.mat.design import ASKED, DESIGN, NEUTRALS, PAPER, PAPERS, Design, Patch, design_for
from wearview.mat.find import Mat, find_mat
from wearview.mat.patches import Sample

__all__ = [
    "ASKED",
    "DESIGN",
    "NEUTRALS",
    "PAPER",
    "PAPERS",
    "Design",
    "Mat",
    "Patch",
    "Sample",
    "design_for",
    "find_mat",
]
