"""One direction of data: a module imports only from rows above its own; libraries stay where they belong."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
ROWS = [
    "errors terms ranks pieces",
    "reading settings colour palette files network",
    "photo demo spread shop",
    "quality mat policy pair",
    "parts",
    "light outlines",
    "surface",
    "material",
    "reference",
    "look lining steel",
    "grade library layout relight shots",
    "pack",
    "record",
    "joining",
    "pipeline draw agreement",
    "store report",
    "regrade",
    "cli ui",
]
ROW = {name: row for row, names in enumerate(ROWS) for name in names.split()} | {"app": len(ROWS)}
# Rows whose module is not written; a name leaves this set with its module.
UNBUILT: set[str] = set()
ONLY_IN = {
    "PIL": {"photo", "report", "draw"},
    "pillow_heif": {"photo"},
    "sqlalchemy": {"store"},
    "alembic": {"store"},
    "distributed": {"regrade"},
    "fsspec": {"regrade"},
    "streamlit": {"ui", "app"},
    "starlette": {"ui"},
    "segno": {"ui"},
    "sklearn": {"library"},
    "typst": {"mat", "report"},
}
# Conversions between colour spaces that measure; turning a picture grey or BGR for a library call measures
# nothing.
COLOUR_CONVERSION = re.compile(
    r"COLOR_\w*(LAB|Lab|LUV|Luv|XYZ|HSV|HLS)\w*|rgb2(lab|xyz|hsv|luv)|lab2rgb|xyz2\w+|deltaE\w*"
)
FILES = sorted([*ROOT.glob("wearview/**/*.py"), *ROOT.glob("app.py")])


def unit_of(path: Path) -> str:
    """The module or package of ours that a file belongs to: `photo` for wearview/photo/read.py."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return parts[1] if len(parts) > 1 else parts[0]


def imports(path: Path) -> Iterator[str]:
    """Full dotted names imported anywhere in a file, function bodies and TYPE_CHECKING included."""
    package = list(path.relative_to(ROOT).parts[:-1])
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else []
            stem = base + ([node.module] if node.module else [])
            yield from (".".join([*stem, alias.name]) for alias in node.names)


def names_used(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Name):
            yield node.id
        elif isinstance(node, ast.Attribute):
            yield node.attr
        elif isinstance(node, ast.alias):
            yield node.name.rpartition(".")[2]


def ids(path: Path) -> str:
    return str(path.relative_to(ROOT))


@pytest.mark.parametrize("path", FILES, ids=ids)
def test_a_file_imports_only_what_stands_before_it(path):
    me = unit_of(path)
    for name in imports(path):
        top, _, rest = name.partition(".")
        other = rest.partition(".")[0]
        if top == "wearview" and other not in ("", "__version__", me):
            assert other in ROW, f"{name}: {other} has no row"
            assert ROW[other] < ROW[me], f"{me} imports {name}, which does not stand before it"
        if top in ONLY_IN:
            assert me in ONLY_IN[top], f"{me} imports {name}, which belongs to {sorted(ONLY_IN[top])}"


@pytest.mark.parametrize("path", FILES, ids=ids)
def test_no_import_hides_from_this_test(path):
    assert not {"import_module", "__import__"} & set(names_used(path))


@pytest.mark.parametrize("path", [p for p in FILES if unit_of(p) != "colour"], ids=ids)
def test_colour_is_converted_in_one_module(path):
    assert [name for name in names_used(path) if COLOUR_CONVERSION.fullmatch(name)] == []


def test_every_module_has_a_row_and_every_row_a_module():
    units = {unit_of(path) for path in FILES} - {"__init__"}
    assert units == set(ROW) - UNBUILT


@pytest.mark.parametrize("path", FILES, ids=ids)
def test_a_file_can_be_read_in_one_sitting(path):
    limit = 30 if path == ROOT / "app.py" else 500
    assert len(path.read_text("utf-8").splitlines()) <= limit


@pytest.mark.parametrize("path", sorted(ROOT.glob("tests/scenes/**/*.py")), ids=ids)
def test_scenes_share_nothing_with_the_code_under_test(path):
    assert [name for name in imports(path) if name.partition(".")[0] == "wearview"] == []
