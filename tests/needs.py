"""What a test needs from the machine: without it the test is skipped, and on CI it fails."""

import os

import pytest


def needs(there: bool, what: str) -> pytest.MarkDecorator:
    """Mark for a test that cannot run unless `there`; `what` names the lack and how to mend it.

    Raises
    ------
    RuntimeError
        On CI, so that nothing is skipped there in silence.
    """
    if not there and os.environ.get("CI"):
        raise RuntimeError(f"CI needs {what}")
    # The one skip of the suite: CI never comes here without what is needed, see above.
    return pytest.mark.skipif(not there, reason=f"needs {what}")


def require(there: bool, what: str) -> None:
    """The same from within a fixture or a test."""
    if there:
        return
    if os.environ.get("CI"):
        pytest.fail(f"CI needs {what}")
    pytest.skip(f"needs {what}")
