"""A short run of the fuzzer; `python -m tests.fuzz` is the long one. And: it can find something."""

import os
import random
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.fuzz import archives, targets, watching
from tests.needs import needs
from wearview.errors import CallError, OutputError, WearviewError
from wearview.store.engine import parse_url

ROOT = Path(__file__).parents[2]
# On Windows, which cannot fork, only these tests are left out.
pytestmark = needs(hasattr(os, "fork"), "os.fork, which Windows lacks")


@pytest.mark.parametrize(
    ("name", "times"), [("photo", 400), ("texts", 200), ("url", 60), ("restore", 20), ("mat", 4)]
)
def test_hostile_input_is_read_or_refused_in_words(name, times):
    # As a program of its own: it forks, and the copy of a process whose libraries run threads may wait long.
    command = [sys.executable, "-m", "tests.fuzz", name, "--times", str(times), "--seed", "2"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    told = re.match(
        rf"{name} +(\d+) of {times} inputs, (\d+) refused in words, .* peak (\d+) MB", done.stdout
    )
    run, refused, peak = map(int, told.groups())
    assert run == times
    assert refused > 0
    assert peak < watching.MEMORY_MB


@pytest.mark.parametrize("name", ["photo", "texts", "restore", "mat"])
def test_what_is_changed_is_taken_as_it_is(name, tmp_path, monkeypatch):
    """Else every input would be refused for the same first reason, and nothing behind it tried."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    target = targets.TARGETS[name](tmp_path)
    for whole in target.whole():
        target.use(whole)


class Misbehaving:
    """A reader with every fault that is looked for."""

    def __init__(self, folder):
        self._folder = folder

    def make(self, chance):
        return chance.choice(("crash", "raise", "write", "hang", "well", "refuse"))

    def use(self, data):
        match data:
            case "crash":
                os.abort()
            case "raise":
                raise KeyError("x")
            case "write":
                Path(f"{self._folder}-outside").write_bytes(b"")
            case "hang":
                while True:
                    time.monotonic()
            case "refuse":
                raise WearviewError("a file", "is bad", "Use another one")


def test_every_fault_looked_for_is_found(monkeypatch, tmp_path):
    monkeypatch.setitem(targets.TARGETS, "bad", Misbehaving)
    monkeypatch.setattr(watching, "HANG_S", 0.2)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    wanted = [Misbehaving(tmp_path).make(random.Random(f"bad 1 {n}")) for n in range(20)]
    found = watching.fuzz("bad", 20)
    assert found.run == 20
    assert len(found.faults) == sum(what not in ("well", "refuse") for what in wanted)
    assert set(wanted) >= {"crash", "raise", "write", "hang", "well", "refuse"}
    told = " ".join(found.faults)
    for what in ("KeyError: 'x'", "wrote to", "more than 0.2 s", "the process ended with -6"):
        assert what in told


@pytest.mark.parametrize("name", archives.ELSEWHERE)
def test_a_name_in_a_backup_that_leads_elsewhere_is_refused(name, tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    target = targets.Restoring(tmp_path)
    before = set(tmp_path.rglob("*"))
    with pytest.raises((CallError, OutputError), match=r"does not belong|is no backup"):
        target.use(archives.with_file(target.backup, "shop", name, b"owned"))
    assert set(tmp_path.rglob("*")) - before == {tmp_path / "given.zip"}


def test_a_backup_that_unpacks_to_a_thousand_times_its_size_is_refused_at_once(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    target = targets.Restoring(tmp_path)
    with pytest.raises(OutputError, match="would unpack to far more"):
        target.use(archives.with_bomb(target.backup, "shop/logo.png", 200 << 20))


@settings(max_examples=300, derandomize=True, deadline=None, database=None)
@given(st.one_of(st.text(), st.from_regex(r"(sqlite|postgresql(\+psycopg)?|mysql)://.*", fullmatch=True)))
def test_any_text_is_a_database_address_or_refused(url):
    try:
        parsed, _ = parse_url(url)
    except CallError:
        return
    assert parsed.get_backend_name() in ("sqlite", "postgresql")
