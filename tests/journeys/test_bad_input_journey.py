"""What a shop's folder really holds, through the command: damaged files, odd formats and names, no room.

Every run is a process of its own, as typed. The photo of a plate is a demo photo made smaller.
"""

import json
import os
import shutil
import struct
import subprocess
import sys
import zlib
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from tests.needs import needs

ROOT = Path(__file__).parents[2]
CLEAN = ROOT / "demo_images" / "reference-tan.jpg"
NAMES = ["a plate.jpg", "two\nlines.jpg", "диск 板.jpg", "-dash.jpg", "\x1b[31mred.jpg"]
DAMAGED = {
    "empty.jpg": "an empty file",
    "words.jpg": "not an image we can read",
    "cut.jpg": "damaged",
    "huge.png": "more than 200 megapixels",
    "folder.jpg": "a folder",
    "missing.jpg": "no such file",
    "pipe.jpg": "not an ordinary file",
}
ODD = ["sixteen-bit.png", "cmyk.jpg", "alpha.png", "animated.gif", "animated.webp"]
# The superuser of a container may read and write anything; without this capability he is a user like others.
UNPRIVILEGED = ["setpriv", "--bounding-set=-all", "--inh-caps=-all"] if os.geteuid() == 0 else []
needs_setpriv = needs(
    not UNPRIVILEGED or shutil.which("setpriv") is not None, "util-linux's setpriv for root"
)


def wearview(folder, *words, before=(), limit=None):
    """Run a command in a folder, where `limit` is the largest file it may write, in bytes."""
    call = "import sys; from wearview.cli import main; sys.exit(main(sys.argv[1:]))"
    if limit is not None:  # what a process meets first on a full disk; needs no disk of our own
        call = (
            "import resource, signal; signal.signal(signal.SIGXFSZ, signal.SIG_IGN); "
            f"resource.setrlimit(resource.RLIMIT_FSIZE, ({limit}, {limit})); {call}"
        )
    return subprocess.run(
        [*before, sys.executable, "-c", call, *map(str, words)],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT), "OMP_NUM_THREADS": "1"},
        capture_output=True,
        check=False,
        timeout=300,
    )


def lines(run):
    """Standard error without the progress lines."""
    return [line for line in run.stderr.decode().splitlines() if not line.startswith("[")]


def plate(width=1200):
    """A demo photo of one clean plate, smaller."""
    photo = Image.open(CLEAN).convert("RGB")
    photo.thumbnail((width, width))
    return photo


def png_that_claims(width, height):
    def chunk(kind, body):
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + header + chunk(b"IDAT", zlib.compress(b"\0" * 1000)) + chunk(b"IEND", b"")


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A folder of good photos, odd ones and damaged ones."""
    folder = tmp_path_factory.mktemp("bench")
    photo = plate()
    photo.save(folder / "clean.jpg", quality=92)
    for k, name in enumerate(NAMES):
        plate(1100 - 20 * k).save(folder / name, "JPEG", quality=92)
    whole = (folder / "clean.jpg").read_bytes()
    (folder / "again.jpg").write_bytes((folder / NAMES[0]).read_bytes())
    (folder / "empty.jpg").write_bytes(b"")
    (folder / "words.jpg").write_text("no photo")
    (folder / "cut.jpg").write_bytes(whole[: len(whole) // 2])
    (folder / "huge.png").write_bytes(png_that_claims(60_000, 60_000))
    (folder / "folder.jpg").mkdir()
    os.mkfifo(folder / "pipe.jpg")
    Image.new("RGB", (1, 1), (120, 120, 120)).save(folder / "dot.png")
    deep = cv2.cvtColor(np.asarray(photo), cv2.COLOR_RGB2BGR).astype(np.uint16) * 257
    assert cv2.imwrite(str(folder / "sixteen-bit.png"), deep)
    photo.convert("CMYK").save(folder / "cmyk.jpg", quality=92)
    photo.convert("RGBA").save(folder / "alpha.png")
    for name in ("animated.gif", "animated.webp"):
        photo.save(folder / name, save_all=True, append_images=[photo.rotate(90)], duration=100)
    return folder


@pytest.fixture(scope="module")
def graded(bench):
    """One call over all of them."""
    files = [f"./{name}" if name.startswith("-") else name for name in (*NAMES, "again.jpg", *ODD, *DAMAGED)]
    return wearview(bench, "grade", *files, "--reference", "clean.jpg", "--json", "-", "--overlays", "seen")


def test_some_unread_photos_end_with_1(graded):
    assert graded.returncode == 1


def test_each_damaged_file_is_one_line_that_names_it_and_the_remedy(graded):
    told = lines(graded)
    for name, problem in DAMAGED.items():
        [line] = [line for line in told if line.startswith(f"wearview: {name}: ")]
        assert problem in line
        assert line.count(". ") == 1  # problem, then remedy
        assert line.endswith(".")


def test_nothing_else_is_said_on_standard_error(graded):
    # Least of all a traceback, or a warning of a library.
    told = lines(graded)
    assert [line for line in told if not line.startswith("wearview: ")] == []
    assert len(told) == len(DAMAGED) + 1  # and the photo that was given twice


def test_the_same_photo_under_two_names_is_graded_once_and_said_so(graded):
    assert "wearview: again.jpg: the same photo was given twice and graded once." in lines(graded)


def test_the_other_photos_are_graded_and_named_as_typed(graded):
    document = json.loads(graded.stdout)
    typed = [f"./{name}" if name.startswith("-") else name for name in NAMES]
    assert [photo["file"] for photo in document["photos"]] == [*typed, *ODD]
    assert [entry["file"] for entry in document["unread"]] == list(DAMAGED)
    for photo in document["photos"][: len(NAMES)]:
        assert [part["kind"] for part in photo["parts"]] == ["friction plate"]
        assert photo["parts"][0]["grade"]["level"] == 0


def test_odd_formats_of_the_same_picture_get_its_grade(graded):
    for photo in json.loads(graded.stdout)["photos"]:
        if photo["file"] in ODD:
            assert [part["grade"]["level"] for part in photo["parts"]] == [0], photo["file"]


def test_a_dot_is_refused_in_words_and_drawn_all_the_same(bench, tmp_path):
    run = wearview(bench, "grade", "dot.png", "--json", "-", "--overlays", tmp_path)
    assert (run.returncode, lines(run)) == (0, [])
    [dot] = json.loads(run.stdout)["photos"]
    assert dot["quality"]["gradeable"] is False
    assert "too small" in dot["quality"]["problems"]
    with Image.open(tmp_path / "dot-overlay.jpg") as drawn:
        drawn.load()


def test_every_read_photo_has_a_whole_overlay(graded, bench):
    overlays = sorted((bench / "seen").iterdir())
    assert len(overlays) == len(NAMES) + len(ODD)
    for path in overlays:
        with Image.open(path) as drawn:
            drawn.load()


@needs_setpriv
def test_an_unreadable_file_is_told_and_the_others_are_graded(bench):
    locked = bench / "locked.jpg"
    plate(900).save(locked, quality=90)
    locked.chmod(0)
    run = wearview(bench, "grade", "locked.jpg", "clean.jpg", "--json", "-", before=UNPRIVILEGED)
    assert run.returncode == 1
    assert lines(run) == [
        "wearview: locked.jpg: we are not allowed to read it. Change its permissions or copy it."
    ]
    assert [photo["file"] for photo in json.loads(run.stdout)["photos"]] == ["clean.jpg"]


@needs_setpriv
@pytest.mark.parametrize("option", ["--json", "--masks", "--overlays"])
def test_a_folder_that_cannot_be_written_ends_with_3_and_one_line(bench, tmp_path, option):
    locked = tmp_path / "locked"
    locked.mkdir()
    locked.chmod(0o555)
    run = wearview(bench, "grade", "clean.jpg", option, locked / "out", before=UNPRIVILEGED)
    assert run.returncode == 3
    [line] = lines(run)
    assert str(locked) in line
    assert line.endswith("Choose a folder that can be written to.")
    assert list(locked.iterdir()) == []


@pytest.mark.parametrize("option", ["--json", "--masks", "--overlays"])
def test_a_full_disk_ends_with_3_and_leaves_no_half_written_file(bench, tmp_path, option):
    run = wearview(bench, "grade", "clean.jpg", option, tmp_path / "out", limit=500)
    assert run.returncode == 3
    [line] = lines(run)
    assert "could not be written" in line
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == []


@pytest.mark.parametrize("reference", ["cut.jpg", "folder.jpg", "missing.jpg", "dot.png"])
def test_a_reference_that_cannot_serve_ends_with_2_before_anything_is_graded(bench, tmp_path, reference):
    run = wearview(bench, "grade", "clean.jpg", "--reference", reference, "--overlays", tmp_path / "out")
    assert (run.returncode, run.stdout) == (2, b"")
    [line] = lines(run)
    assert line.startswith(f"wearview: {reference}: ")
    assert not (tmp_path / "out").exists()


def test_a_grading_that_finds_no_room_leaves_the_record_as_it_was(bench, tmp_path):
    store = f"sqlite:///{tmp_path}/record.sqlite"
    assert wearview(bench, "teardown", "new", "Job 7", "--store", store).returncode == 0
    before = (tmp_path / "record.sqlite").read_bytes()
    words = ["--teardown", "Job 7", "--element", "Forward", "--store", store]
    run = wearview(bench, "grade", "clean.jpg", *words, limit=20_000)
    assert run.returncode == 3
    assert len(lines(run)) == 1
    assert (tmp_path / "record.sqlite").read_bytes() == before
    assert [path for path in (tmp_path / "photos").rglob("*") if path.is_file()] == []
