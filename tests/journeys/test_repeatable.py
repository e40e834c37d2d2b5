"""The same photos, rules and version give the same document byte for byte, on one thread or many."""

import os
import subprocess
import sys

from tests.versions import PHOTOS, REFERENCE, ROOT, THREADS


def document(threads):
    demo = ROOT / "demo_images"
    command = [
        sys.executable,
        "-m",
        "wearview.cli",
        "grade",
        demo / PHOTOS[0],
        "--reference",
        demo / REFERENCE,
    ]
    environment = os.environ | dict.fromkeys(THREADS, threads)
    told = subprocess.run(
        [*command, "--json", "-"], cwd=ROOT, env=environment, check=True, capture_output=True
    )
    return told.stdout


def test_one_thread_and_many_give_the_same_bytes():
    assert document("1") == document("4")
