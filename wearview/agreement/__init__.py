"""The program's levels beside the technician's: how they agree, and thresholds from the shop's own eye."""

from wearview.agreement.agree import (
    LEAST_PACKS,
    LEAST_PAIRS,
    NOTES,
    SCHEME,
    Agreement,
    Rated,
    agree,
    agree_by,
    by_quarter,
    by_sight,
    by_technician,
    decisions,
    most_apart,
)
from wearview.agreement.eyes import LINING_ROWS, STEEL_ROWS, Judged, lining_eye, steel_eye
from wearview.agreement.kappa import Kappa, kappa, kappa_values, quadratic_weights
from wearview.agreement.thresholds import Eye, Proposal, Threshold, levels, propose

__all__ = [
    "LEAST_PACKS",
    "LEAST_PAIRS",
    "LINING_ROWS",
    "NOTES",
    "SCHEME",
    "STEEL_ROWS",
    "Agreement",
    "Eye",
    "Judged",
    "Kappa",
    "Proposal",
    "Rated",
    "Threshold",
    "agree",
    "agree_by",
    "by_quarter",
    "by_sight",
    "by_technician",
    "decisions",
    "kappa",
    "kappa_values",
    "levels",
    "lining_eye",
    "most_apart",
    "propose",
    "quadratic_weights",
    "steel_eye",
]
