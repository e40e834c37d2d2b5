"""Grading an archive of packs anew under other rules, on this computer's cores or on many computers."""

from wearview.regrade.run import Done, regrade, workers

__all__ = ["Done", "regrade", "workers"]
