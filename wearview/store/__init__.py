"""The shop's record: append-only tables in SQLite or PostgreSQL, and the photos by their hash.

Rows of gradings and verdicts are added, never changed: triggers in the database refuse UPDATE, DELETE and
every form of REPLACE, for this program and any other. A changed mind is a new row. DROP TABLE and deleting
the file stay possible, so backups are still needed.
"""

from wearview.store.connect import Store, default_url, open_store
from wearview.store.look import get_teardown, list_teardowns
from wearview.store.photos import keep_file, photo_bytes, photo_path
from wearview.store.rated import judged_parts, rated_parts
from wearview.store.write import GradedPhoto, add_element, add_grading, add_verdict, new_teardown

__all__ = [
    "GradedPhoto",
    "Store",
    "add_element",
    "add_grading",
    "add_verdict",
    "default_url",
    "get_teardown",
    "judged_parts",
    "keep_file",
    "list_teardowns",
    "new_teardown",
    "open_store",
    "photo_bytes",
    "photo_path",
    "rated_parts",
]
