"""A record that can only be read, as from a backup disk, is shown and reported like any other."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests import documents
from tests.needs import needs, require
from wearview import store as record

ROOT = Path(__file__).parents[2]
# The record is locked by POSIX permissions; Windows has others.
pytestmark = needs(os.name == "posix", "POSIX permissions")


@pytest.fixture
def shop(tmp_path):
    """Folder of a record with one graded pack, which nobody may write to."""
    store = record.open_store(f"sqlite:///{tmp_path}/shop/record.sqlite")
    document, photos = documents.hot_pack()
    record.new_teardown(store, "Job 7", unit="four-speed")
    files = [record.GradedPhoto(data, data) for data in photos.values()]
    record.add_grading(store, "Job 7", "Forward", document, files)
    folder = tmp_path / "shop"
    lock(folder)
    yield folder
    for path in (folder, *folder.rglob("*")):
        path.chmod(0o755)


def lock(folder):
    for path in (folder, *folder.rglob("*")):
        path.chmod(0o555 if path.is_dir() else 0o444)


def wearview(*words):
    """Run a command as somebody whom permissions bind: root, too, without the privilege to override them."""
    bound = ["setpriv", "--bounding-set", "-dac_override"] if os.geteuid() == 0 else []
    require(not bound or shutil.which("setpriv") is not None, "util-linux's setpriv, where root runs it")
    return subprocess.run(
        [*bound, sys.executable, "-m", "wearview.cli", *map(str, words)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )


def test_a_read_only_record_is_shown_and_reported(shop, tmp_path):
    url = f"sqlite:///{shop}/record.sqlite"
    shown = wearview("teardown", "show", "Job 7", "--store", url)
    assert (shown.returncode, shown.stderr) == (0, "")
    assert "3 burnt" in shown.stdout
    out = tmp_path / "out"
    out.mkdir()
    reported = wearview("report", "Job 7", "--out", out, "--store", url)
    assert reported.returncode == 0, reported.stderr
    assert "four-speed" in (out / "report.html").read_text("utf-8")


def test_a_read_only_record_refuses_a_verdict_in_one_line(shop):
    url = f"sqlite:///{shop}/record.sqlite"
    refused = wearview("verdict", "Job 7", "Forward", "1", "reuse", "--store", url)
    assert (refused.returncode, refused.stdout) == (3, "")
    assert refused.stderr.count("\n") == 1
    assert "can only be read here. Copy it to a folder that can be written to" in refused.stderr


def test_changes_that_wait_beside_a_read_only_record_are_not_overlooked(shop):
    waiting = shop / "record.sqlite-wal"
    shop.chmod(0o755)
    waiting.write_bytes(b"changes of another program, which cannot be read without its index")
    lock(shop)
    told = wearview("teardown", "show", "Job 7", "--store", f"sqlite:///{shop}/record.sqlite")
    assert (told.returncode, told.stdout) == (3, "")
    assert told.stderr.count("\n") == 1
