"""The shop's own policy on what to reuse: which decision it wants suggested for what was found.

Manuals disagree, so the program ships none: one has a smooth steel with only a colour smear reused, another
has every plate of a clutch replaced once one lining is discoloured. A policy is a text file in the shop's
folder, each version kept for good. It suggests; it edits no grade and gives no verdict.
"""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from pathlib import Path

from wearview.errors import CallError, ModelsError
from wearview.files import write_whole
from wearview.shop import shop_folder
from wearview.terms import POLICY_CASES, VERDICTS

_NAME = re.compile(r"policy-([1-9][0-9]*)")
NONE = "none"  # takes a case back; the id of no policy


@dataclass(frozen=True, slots=True)
class Policy:
    """What the shop wants suggested in each case; None where it has settled nothing.

    Attributes
    ----------
    id : str
        "policy-3", or "none" where there is no file.
    hot_reaction_plate, colour_smear, hot_spots, heated_lining, fresh_clean_pack : str or None
        One of `terms.VERDICTS`; the cases are those of `terms.POLICY_CASES`.
    """

    id: str = NONE
    hot_reaction_plate: str | None = None
    colour_smear: str | None = None
    hot_spots: str | None = None
    heated_lining: str | None = None
    fresh_clean_pack: str | None = None


def load_policy(name: str | None = None, folder: Path | None = None) -> Policy:
    """The shop's newest policy, or the version of this name; one without any case where there is none.

    Parameters
    ----------
    folder : Path, optional
        `rules/` in the shop's folder by default.

    Raises
    ------
    CallError
        When there is no such version.
    ModelsError
        When the file is damaged.
    """
    known = policy_files(folder)
    if name is None:
        if not known:
            return Policy()
        name = max(known, key=_number)
    if name not in known:
        told = f"Known: {', '.join(sorted(known, key=_number))}" if known else "There is none so far"
        raise CallError(name, "is no policy", told)
    return _read(known[name])


def policy_files(folder: Path | None = None) -> dict[str, Path]:
    """Every version of the shop's policy, by id."""
    found = (shop_folder() / "rules" if folder is None else folder).glob("policy-*.toml")
    return {path.stem: path for path in found if _NAME.fullmatch(path.stem)}


def change_policy(changes: Mapping[str, str], note: str, folder: Path | None = None) -> Policy:
    """Write the next version of the policy: the newest with other decisions.

    Parameters
    ----------
    changes : mapping of str to str
        A case of `terms.POLICY_CASES` to one of `terms.VERDICTS`, or to "none".
    note : str
        Who settled it and when, for the file's head.

    Raises
    ------
    CallError
        For a word that is no case or no decision.
    OutputError
        When it cannot be written. No file that is there is ever changed.
    """
    import tomlkit  # for writing alone; to grade a photo its loading is spared

    for case, decision in changes.items():
        if case not in POLICY_CASES:
            raise CallError(case, "is no case of a policy", f"Use one of {', '.join(POLICY_CASES)}")
        if decision != NONE and decision not in VERDICTS:
            raise CallError(decision, "is no decision", f"Use one of {', '.join(VERDICTS)}, {NONE}")
    known = policy_files(folder)
    settled = {name: value for name, value in asdict(load_policy(None, folder)).items() if value is not None}
    settled |= changes
    settled["id"] = f"policy-{max(map(_number, known), default=0) + 1}"
    policy = Policy(**{name: value for name, value in settled.items() if value != NONE})
    document = tomlkit.document()
    for line in note.splitlines():
        document.add(tomlkit.comment(line))
    for name, value in asdict(policy).items():
        if value is not None:
            document[name] = value
    path = (shop_folder() / "rules" if folder is None else folder) / f"{policy.id}.toml"
    write_whole(path, tomlkit.dumps(document).encode())
    return policy


def _read(path: Path) -> Policy:
    remedy = "Bring it back from a backup, or settle the policy anew after moving it away"
    try:
        table = tomllib.loads(path.read_text("utf-8"))
    except (OSError, ValueError, RecursionError) as error:
        raise ModelsError(path.name, "cannot be read as a policy", remedy) from error
    known = {field.name for field in fields(Policy)}
    said = {name: value for name, value in table.items() if name != "id"}
    if (
        table.get("id") != path.stem
        or not table.keys() <= known
        or not all(isinstance(value, str) and value in VERDICTS for value in said.values())
    ):
        raise ModelsError(path.name, "is no policy as the program writes it", remedy)
    return Policy(**table)


def _number(name: str) -> int:
    match = _NAME.fullmatch(name)
    assert match
    return int(match[1])
