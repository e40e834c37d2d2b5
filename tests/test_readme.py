"""README and DEVELOPERS hold: what they tell people to type runs or at least parses; nothing is left out."""

import argparse
import importlib.util
import re
import runpy
import shlex
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from wearview.cli import main
from wearview.cli.parser import build_parser
from wearview.terms import LINING_LEVELS, REASONS, STEEL_LEVELS, VERDICTS

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text("utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text("utf-8")
BIN = ".venv/bin/"


@dataclass(frozen=True)
class Line:
    """One line to type; `long` when its comment says that it takes a while."""

    text: str
    long: bool

    @property
    def commands(self) -> list[list[str]]:
        return [shlex.split(command) for command in self.text.split("&&")]

    def __str__(self) -> str:
        return self.text


def typed(text: str) -> Iterator[Line]:
    for block in re.findall(r"^```sh\n(.*?)^```", text, re.MULTILINE | re.DOTALL):
        for line in block.splitlines():
            command, _, comment = line.partition(" #")
            yield Line(command.strip(), comment.strip().startswith("long"))


def parsers(
    parser: argparse.ArgumentParser, name: str = "wearview"
) -> Iterator[tuple[str, argparse.ArgumentParser]]:
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for word, deeper in action.choices.items():
                yield from parsers(deeper, f"{name} {word}")
            if action.required:
                return
    yield name, parser


COMMANDS = dict(parsers(build_parser()))
OPTIONS = {
    (name, option)
    for name, parser in COMMANDS.items()
    for action in parser._actions
    for option in action.option_strings
    if option not in ("-h", "--help")
}
README_LINES = list(typed(README))
WEARVIEW_LINES = [line for line in README_LINES if line.text.startswith("wearview ")]
DEVELOPERS_LINES = list(typed(DEVELOPERS))
# A file that is told of as one to be made.
NEW = "models/rules-N.toml"
PATHS = set(re.findall(r"`((?:tests|wearview|models|\.ci)/[\w./-]*)`", DEVELOPERS)) - {NEW}


def test_readme_opens_with_the_job_in_one_paragraph():
    title, paragraph, *_ = README.split("\n\n")
    assert title == "# wearview"
    assert "\n#" not in paragraph
    assert 60 <= len(paragraph.split()) <= 160
    for word in (
        "rebuilder",
        "photos",
        "friction",
        "steels",
        "bands",
        "heat",
        "verdict",
        "report",
        "customer",
    ):
        assert word in paragraph


def test_two_commands_set_everything_up():
    first, second = README_LINES[:2]
    assert first.commands[0][:3] == ["python3", "-m", "venv"]
    assert first.commands[-1] == [f"{BIN}wearview", "demo"]
    assert second.commands[-1] == [f"{BIN}pytest"]
    extras = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["optional-dependencies"]
    for extra in re.findall(r"\.\[(\w+)\]", README + DEVELOPERS):
        assert extra in extras


def test_ci_runs_the_test_command_of_the_readme():
    script = (ROOT / ".ci" / "run").read_text("utf-8").splitlines()
    assert README_LINES[1].text in script


def test_every_command_and_option_of_help_is_in_the_readme():
    for name in COMMANDS:
        assert name in README
    assert {
        (name, option) for name, option in OPTIONS if not re.search(rf"{option}(?![\w-])", README)
    } == set()


def test_every_option_that_the_readme_shows_exists():
    known = {option for _, option in OPTIONS} | {"--help", "--version"}
    assert set(re.findall(r"(?<![\w-])--[a-z][a-z-]*", README)) <= known


def test_the_readme_names_every_level_verdict_and_reason():
    for word in (*LINING_LEVELS, *STEEL_LEVELS, *VERDICTS, *REASONS):
        assert re.search(rf"(?<!\w){word}(?!\w)", README), word


def test_the_readmes_job_runs_from_top_to_bottom(tmp_path, monkeypatch, capsys):
    (tmp_path / "demo_images").symlink_to(ROOT / "demo_images")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("WEARVIEW_STORE", f"sqlite:///{tmp_path}/record.sqlite")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    assert len(WEARVIEW_LINES) >= 7
    for line in WEARVIEW_LINES:
        assert main(line.commands[0][1:]) == 0, line
    assert capsys.readouterr().out
    written = {path.name for path in (tmp_path / "job-1042-report").iterdir()}
    assert written == {"report.html", "report.pdf", "photos.zip", "parts.csv"}
    assert all(name in README for name in written)


@pytest.mark.parametrize("line", DEVELOPERS_LINES, ids=str)
def test_what_developers_are_told_to_type_is_there(line, monkeypatch, capsys):
    for command in line.commands:
        match command:
            case ["python3", "-m", "venv", ".venv"]:
                pass
            case [".venv/bin/pip", "install", "-e", target]:
                assert target == ".[test]"
            case [".venv/bin/pytest", *rest]:
                assert all((ROOT / word).exists() for word in rest if word.startswith("tests/"))
            case [".venv/bin/python", "-m", module, *rest]:
                file = file_run_as(module)
                if rest:
                    chosen = [word for word in rest[:1] if word[0] != "-"]
                    monkeypatch.setattr(sys, "argv", [module, *chosen, "--help"])
                    # In this process, where what they import is loaded only once.
                    with pytest.raises(SystemExit, match=r"^0$"):
                        runpy.run_path(file, run_name="__main__")
                    told = capsys.readouterr().out
                    assert all(word in told for word in rest if word.startswith("--"))
            case [".venv/bin/ruff" | ".venv/bin/mypy" as tool, *_]:
                assert importlib.util.find_spec(Path(tool).name) is not None
            case _:
                raise AssertionError(f"nobody checks {command}")


def file_run_as(module):
    """The file that `python -m` runs."""
    found = importlib.util.find_spec(module)
    if found.submodule_search_locations is not None:  # a package
        found = importlib.util.find_spec(f"{module}.__main__")
    return found.origin


@pytest.mark.parametrize("path", sorted(PATHS))
def test_every_path_that_developers_are_told_of_is_there(path):
    assert (ROOT / path).exists()


def test_the_picture_is_there_small_and_described():
    [(words, name)] = re.findall(r"!\[(.+?)\]\((.+?)\)", README)
    assert len(words) > 40
    picture = ROOT / name
    assert picture.stat().st_size < 300_000
    assert picture.name not in (ROOT / "demo_images" / "teardown.toml").read_text("utf-8")


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_nothing_outside_the_cautions_gives_an_all_clear(text):
    outside = re.sub(r"^## Cautions$.*?(?=^## |\Z)", "", text, flags=re.MULTILINE | re.DOTALL)
    assert re.findall(r"\bsafe\w*|asbestos-free|will last|reusable", outside, re.IGNORECASE) == []


@pytest.mark.parametrize(
    "word",
    [
        "asbestos",
        "HEPA",
        "wet",
        "dry brushing",
        "compressed\\s+air",
        "hot",
        "pressure",
        "drive",
        "Local codes",
    ],
)
def test_the_cautions_are_whole(word):
    cautions = README.partition("## Cautions")[2]
    assert re.search(word, cautions)
