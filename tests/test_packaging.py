"""What is installed is whole, works away from the checkout, and needs nothing that a bare machine lacks."""

import importlib.metadata
import json
import os
import re
import subprocess
import sys
import tomllib
import zipfile
from itertools import chain
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]


def name_of(requirement: str) -> str:
    """The normalised name at the start of a requirement, without a version or a marker."""
    return re.sub(r"[-_.]+", "-", re.match(r"[\w.-]+", requirement)[0]).lower()


def needed(names):
    """Every installed distribution that these need, extras of theirs left out."""
    found, open_ = set(), [name_of(name) for name in names]
    while open_:
        name = open_.pop()
        if name in found:
            continue
        found.add(name)
        try:
            requires = importlib.metadata.requires(name) or []
        except importlib.metadata.PackageNotFoundError:  # of another system or Python
            continue
        open_ += [name_of(r) for r in requires if not re.search(r"\bextra\s*==", r)]
    return found


def test_nothing_brings_in_an_opencv_that_needs_a_screen():
    every = [*PROJECT["dependencies"], *chain(*PROJECT["optional-dependencies"].values())]
    assert {name for name in needed(every) if "opencv" in name} == {"opencv-python-headless"}


def test_every_lower_bound_has_its_reason():
    text = (ROOT / "pyproject.toml").read_text("utf-8")
    for requirement in PROJECT["dependencies"]:
        [line] = re.findall(rf'^    "{re.escape(requirement)}",(.*)$', text, re.MULTILINE)
        assert re.match(r" +# \w", line), requirement


@pytest.fixture(scope="module")
def unpacked(tmp_path_factory):
    """The wheel built from this checkout, unpacked into a folder of its own."""
    folder = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", folder]
    subprocess.run(command, cwd=ROOT, check=True, capture_output=True)
    [wheel] = folder.glob("*.whl")
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(folder / "site")
    return folder / "site"


def test_the_wheel_holds_all_that_is_not_code(unpacked):
    for folder in ("models", "demo_images"):
        for path in (ROOT / folder).iterdir():
            assert (unpacked / "wearview" / folder / path.name).read_bytes() == path.read_bytes()
    for path in (ROOT / "wearview").rglob("*"):
        if path.is_file() and "__pycache__" not in path.parts:
            assert (unpacked / path.relative_to(ROOT)).is_file(), path
    assert {path.name for path in unpacked.iterdir() if path.suffix != ".dist-info"} == {"wearview"}


def test_the_wheel_grades_away_from_the_checkout(unpacked, tmp_path):
    photos = unpacked / "wearview" / "demo_images"
    words = [photos / "reference-tan.jpg", "--reference", photos / "reference-tan.jpg", "--json", "-"]
    # Before the checkout that pip installed in place, if it did.
    environment = {**os.environ, "PYTHONPATH": str(unpacked)}
    told = "import wearview, sys; print(wearview.__file__, file=sys.stderr)"
    call = f"{told}; from wearview.cli import main; sys.exit(main(sys.argv[1:]))"
    command = [sys.executable, "-c", call, "grade", *words]
    run = subprocess.run(command, cwd=tmp_path, env=environment, capture_output=True, text=True, check=True)
    assert str(unpacked) in run.stderr
    [photo] = json.loads(run.stdout)["photos"]
    assert [part["grade"]["level"] for part in photo["parts"]] == [0]
