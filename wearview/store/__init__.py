"""The shop's record: append-only tables in SQLite or PostgreSQL, and the photos by their hash.

Rows of gradings and verdicts are added, never changed: triggers in the database refuse UPDATE, DELETE,
TRUNCATE and every form of REPLACE, for this program and any other. A changed mind is a new row. Only the
table of customers can be corrected and erased, and counts for agreement follow what is added. DROP TABLE and
deleting the file stay possible, so backups are still needed; `check_record` tells when a row or a photo was
altered or taken out all the same.
"""

from wearview.store.backup import read_backup, restore, write_backup
from wearview.store.check import Checked, Finding, check_record
from wearview.store.connect import Store, default_url, open_store
from wearview.store.counted import counted
from wearview.store.customers import (
    Customer,
    correct_customer,
    erase_customer,
    get_customer,
    list_customers,
)
from wearview.store.elements import add_element, copy_elements, state_duty
from wearview.store.followed import followed, known_of, lining_names
from wearview.store.gradings import GradedPhoto, add_grading
from wearview.store.handover import Handover, hand_over, handovers, keep_report
from wearview.store.inspections import (
    add_inspection,
    checklist_of,
    checklists,
    set_checklist,
    take_back_inspection,
)
from wearview.store.look import (
    earlier_teardowns,
    find_teardowns,
    get_teardown,
    get_whole_teardown,
    is_closed,
    list_teardowns,
)
from wearview.store.measurements import add_measured, take_back_measured
from wearview.store.photos import keep_file, photo_bytes, photo_path, trays_folders
from wearview.store.rated import judged_parts, rated_parts
from wearview.store.shop import set_shop_blind, shop_is_blind
from wearview.store.teardowns import change_teardown, close_teardown, new_teardown, reopen_teardown
from wearview.store.verdicts import add_verdict

__all__ = [
    "Checked",
    "Customer",
    "Finding",
    "GradedPhoto",
    "Handover",
    "Store",
    "add_element",
    "add_grading",
    "add_inspection",
    "add_measured",
    "add_verdict",
    "change_teardown",
    "check_record",
    "checklist_of",
    "checklists",
    "close_teardown",
    "copy_elements",
    "correct_customer",
    "counted",
    "default_url",
    "earlier_teardowns",
    "erase_customer",
    "find_teardowns",
    "followed",
    "get_customer",
    "get_teardown",
    "get_whole_teardown",
    "hand_over",
    "handovers",
    "is_closed",
    "judged_parts",
    "keep_file",
    "keep_report",
    "known_of",
    "lining_names",
    "list_customers",
    "list_teardowns",
    "new_teardown",
    "open_store",
    "photo_bytes",
    "photo_path",
    "rated_parts",
    "read_backup",
    "reopen_teardown",
    "restore",
    "set_checklist",
    "set_shop_blind",
    "shop_is_blind",
    "state_duty",
    "take_back_inspection",
    "take_back_measured",
    "trays_folders",
    "write_backup",
]
