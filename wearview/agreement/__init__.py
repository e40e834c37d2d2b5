"""The program's levels beside the technician's: how they agree, and thresholds from the shop's own eye."""

from wearview.agreement.agree import (
    LEAST_PACKS,
    LEAST_PAIRS,
    NOTES,
    SCHEME,
    Agreement,
    Counted,
    agree,
)
from wearview.agreement.eyes import LINING_ROWS, STEEL_ROWS, Judged, lining_eye, steel_eye
from wearview.agreement.kappa import Kappa, kappa, kappa_values, quadratic_weights
from wearview.agreement.sums import (
    ALL,
    DECISION,
    QUARTER,
    SIGHT,
    TECHNICIAN,
    Rated,
    Sums,
    changed,
    sums_of,
)
from wearview.agreement.thresholds import Eye, Proposal, Threshold, levels, propose

__all__ = [
    "ALL",
    "DECISION",
    "LEAST_PACKS",
    "LEAST_PAIRS",
    "LINING_ROWS",
    "NOTES",
    "QUARTER",
    "SCHEME",
    "SIGHT",
    "STEEL_ROWS",
    "TECHNICIAN",
    "Agreement",
    "Counted",
    "Eye",
    "Judged",
    "Kappa",
    "Proposal",
    "Rated",
    "Sums",
    "Threshold",
    "agree",
    "changed",
    "kappa",
    "kappa_values",
    "levels",
    "lining_eye",
    "propose",
    "quadratic_weights",
    "steel_eye",
    "sums_of",
]
