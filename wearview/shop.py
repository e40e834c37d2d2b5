"""What a shop keeps on this computer beside its record: its own rules, each version a text file for good, and
the colours of its bench mat."""

import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from platformdirs import user_data_path

from wearview.errors import CallError, ModelsError
from wearview.files import write_whole
from wearview.settings import PrintedMat, Settings, load_settings, models_folder

_MAT = "bench-mat.toml"
_CALIBRATE = "Run wearview mat calibrate again, or delete the file"
_RULES = re.compile(r"rules-([1-9][0-9]*)")


def shop_folder() -> Path:
    """The folder of the shop's own data on this computer; it need not be there yet."""
    return user_data_path("wearview", appauthor=False)


def shop_settings(
    rules: str | None = None, folder: Path | None = None, mat_file: Path | None = None
) -> Settings:
    """The settings by which this shop grades: the newest rules that a person accepted, else the shipped ones.

    Parameters
    ----------
    rules : str, optional
        Another version by its id.
    folder : Path, optional
        Where the shop's own rules lie; `rules/` in its folder by default.
    mat_file : Path, optional
        Where the colours of its bench mat are kept; in its folder by default.

    Raises
    ------
    CallError
        When there is no such version.
    ModelsError
        When a file is damaged.
    """
    own = shop_folder() / "rules" if folder is None else folder
    known = rules_files(own)
    name = rules or max(known, key=_number)
    if name not in known:
        raise CallError(name, "no such rules", f"Known rules: {', '.join(sorted(known, key=_number))}")
    settings = load_settings(name, rules_folder=known[name].parent)
    return replace(settings, mat=_read_mat(mat_file or shop_folder() / _MAT))


def rules_files(folder: Path) -> dict[str, Path]:
    """The shipped rules and the shop's own, by id; no file of a shipped name takes its place."""
    found = [*folder.glob("rules-*.toml"), *models_folder().glob("rules-*.toml")]
    return {path.stem: path for path in found if _RULES.fullmatch(path.stem)}


def accept_rules(
    settings: Settings, shares: Mapping[str, float], note: str, folder: Path | None = None
) -> Path:
    """Write the next version of the rules: a copy of the present ones with other thresholds.

    Parameters
    ----------
    settings : Settings
        Those whose rules are copied.
    shares : mapping of str to float
        New thresholds by "table.name", such as "lining.area_over_10".
    note : str
        Who accepted them and from what, for the file's head.
    folder : Path, optional
        `rules/` in the shop's folder by default.

    Returns
    -------
    Path
        The new file. No file that is there is ever changed.

    Raises
    ------
    OutputError
        When it cannot be written.
    """
    import tomlkit  # for writing alone; to grade a photo its loading is spared

    own = shop_folder() / "rules" if folder is None else folder
    known = rules_files(own)
    name = f"rules-{max(map(_number, known)) + 1}"
    document = tomlkit.parse(known[settings.rules.id].read_text("utf-8"))
    document["id"] = name
    for place, share in shares.items():
        table, key = place.split(".")
        document[table][key] = round(share, 3)  # type: ignore[index]
    head = "".join(f"# {line}\n" for line in (f"{name}, from {settings.rules.id}.", *note.splitlines()))
    path = own / f"{name}.toml"
    write_whole(path, f"{head}#\n{tomlkit.dumps(document)}".encode())
    return path


def keep_mat(mat: PrintedMat, note: str, path: Path | None = None) -> Path:
    """Write down the colours of the shop's bench mat; those of an earlier print give way.

    Parameters
    ----------
    mat : PrintedMat
    note : str
        When and from what they were measured, for the file's head.
    path : Path, optional
        In the shop's folder by default.

    Raises
    ------
    OutputError
        When it cannot be written.
    """
    import tomlkit  # for writing alone; to grade a photo its loading is spared

    document = tomlkit.document()
    for line in note.splitlines():
        document.add(tomlkit.comment(line))
    document["design"], document["by"] = mat.design, mat.by
    document["lab"] = {name: [round(float(v), 2) for v in lab] for name, lab in mat.lab.items()}
    path = path or shop_folder() / _MAT
    write_whole(path, tomlkit.dumps(document).encode())
    return path


def _read_mat(path: Path) -> PrintedMat | None:
    """The colours of the shop's bench mat; None where it was not calibrated."""
    try:
        table = tomllib.loads(path.read_text("utf-8"))
        lab = {str(name): tuple(float(v) for v in values) for name, values in table["lab"].items()}
        mat = PrintedMat(str(table["design"]), str(table["by"]), lab)
    except FileNotFoundError:
        return None
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise ModelsError(path.name, "cannot be read as a bench mat's colours", _CALIBRATE) from error
    if not lab or not all(len(v) == 3 and all(map(math.isfinite, v)) for v in lab.values()):
        raise ModelsError(path.name, "has a colour that is no L*, a*, b*", _CALIBRATE)
    return mat


def _number(name: str) -> int:
    match = _RULES.fullmatch(name)
    assert match
    return int(match[1])
