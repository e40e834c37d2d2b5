"""Which record a command works on."""

import argparse
import os

from wearview import store as record


def open_record(args: argparse.Namespace) -> record.Store:
    """The record of `--store`, else of WEARVIEW_STORE, else the user's own."""
    return record.open_store(args.store or os.environ.get("WEARVIEW_STORE") or None)
