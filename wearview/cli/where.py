"""Which record a command works on."""

import argparse
import os

from wearview import store as record


def url_of_record(args: argparse.Namespace) -> str | None:
    """The URL of `--store`, else of WEARVIEW_STORE; None for the user's own record."""
    return args.store or os.environ.get("WEARVIEW_STORE") or None


def open_record(args: argparse.Namespace) -> record.Store:
    """The record of `url_of_record`."""
    return record.open_store(url_of_record(args))
