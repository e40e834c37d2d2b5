"""The shop's own clean linings: measured, kept in versions, recognised; the colours of its bench mat."""

from wearview.library.add import add, doubts, find_lining, measure_clean, own_linings, put_back, remove
from wearview.library.choose import Chosen, choose, main_reference
from wearview.library.printed import BESIDE, calibrate
from wearview.library.recognise import Recognised, recognise
from wearview.library.shelf import check_name, findings, history, out_of_use, read_library
from wearview.library.stored import CleanPhoto, CleanPlate, Pooled, StoredLining, pool

__all__ = [
    "BESIDE",
    "Chosen",
    "CleanPhoto",
    "CleanPlate",
    "Pooled",
    "Recognised",
    "StoredLining",
    "add",
    "calibrate",
    "check_name",
    "choose",
    "doubts",
    "find_lining",
    "findings",
    "history",
    "main_reference",
    "measure_clean",
    "out_of_use",
    "own_linings",
    "pool",
    "put_back",
    "read_library",
    "recognise",
    "remove",
]
