"""The shop's own name, address and logo, from files that the shop keeps."""

import io
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import tomlkit
from PIL import Image, UnidentifiedImageError
from platformdirs import user_data_path

from wearview.errors import CallError
from wearview.files import reason, write_whole

SHOP_FILE = "shop.toml"
LOGO_FILES = ("logo.png", "logo.jpg", "logo.jpeg")
PAPERS = ("a4", "us-letter")
_WORDS = ("name", "lines", "paper")  # that shop.toml may hold
MOST_LINES = 6  # of address, telephone and the like: the head of a page holds no more
_LOGO_SIZE = (900, 300)  # px; sharp at the 17 mm that the head of a page gives it


@dataclass(frozen=True, slots=True)
class Shop:
    """Who hands the report over.

    Attributes
    ----------
    name : str or None
        None where the shop has not said.
    lines : tuple of str
        Address, telephone, opening hours: one line each.
    logo : bytes or None
        PNG, its pixels and nothing else.
    paper : str
        One of `PAPERS`.
    """

    name: str | None = None
    lines: tuple[str, ...] = ()
    logo: bytes | None = None
    paper: str = "a4"

    def __post_init__(self) -> None:
        if self.paper not in PAPERS:
            raise CallError(str(self.paper), "is no paper we know", f"Use one of {', '.join(PAPERS)}")


def shop_folder() -> Path:
    """Where the shop's files lie unless another folder is named: `shop` in the user's data folder."""
    return user_data_path("wearview", appauthor=False) / "shop"


def load_shop(folder: Path) -> Shop:
    """The shop described in a folder: `shop.toml` with `name`, `lines` and `paper`, and `logo.png` or
    `logo.jpg` beside it. A shop without a name where the folder has neither.

    Raises
    ------
    CallError
        When a file cannot be read or does not say what it must.
    """
    described = _described(folder / SHOP_FILE)
    logo = next((path for name in LOGO_FILES if (path := folder / name).is_file()), None)
    return Shop(
        name=described.get("name"),
        lines=tuple(described.get("lines", ())),
        logo=None if logo is None else _logo(logo),
        paper=described.get("paper", "a4"),
    )


def keep_shop(folder: Path, name: str | None, lines: Sequence[str], paper: str) -> None:
    """Write a shop's description into its folder; `load_shop` reads it.

    Raises
    ------
    CallError
        When it is none that a report has room for.
    OutputError
        When it cannot be written.
    """
    Shop(paper=paper)
    if len(lines) > MOST_LINES:
        raise CallError("address", f"has {len(lines)} lines", f"Give at most {MOST_LINES}")
    said = {"name": name, "lines": list(lines), "paper": paper}
    text = tomlkit.dumps({word: value for word, value in said.items() if value})
    write_whole(folder / SHOP_FILE, text.encode())


def keep_logo(folder: Path, picture: bytes) -> None:
    """Write a shop's logo into its folder as PNG, in the place of the one before.

    Raises
    ------
    CallError
        When it is no PNG or JPEG.
    OutputError
        When it cannot be written.
    """
    write_whole(folder / LOGO_FILES[0], _plain_png(io.BytesIO(picture), "logo"))


def _described(path: Path) -> dict[str, Any]:
    try:
        described = tomllib.loads(path.read_text("utf-8"))
    except FileNotFoundError:
        return {}
    except OSError as error:
        raise CallError(str(path), f"cannot be read ({reason(error)})", "Check the file") from error
    except (ValueError, RecursionError) as error:  # no TOML or too deeply nested, bytes that are no UTF-8
        raise CallError(str(path), "is no TOML text", 'Write lines such as name = "Your shop"') from error
    if unknown := sorted(described.keys() - _WORDS):
        raise CallError(str(path), f"{unknown[0]} is no word we know", f"Use {', '.join(_WORDS)}")
    name, lines = described.get("name"), described.get("lines", [])
    if name is not None and not isinstance(name, str):
        raise CallError(str(path), "name is no text", 'Write name = "Your shop"')
    if not isinstance(lines, list) or not all(isinstance(line, str) for line in lines):
        raise CallError(str(path), "lines is no list of texts", 'Write lines = ["Street 1", "Telephone"]')
    if len(lines) > MOST_LINES:
        raise CallError(str(path), f"has {len(lines)} lines", f"Give at most {MOST_LINES}")
    return described


def _logo(path: Path) -> bytes:
    return _plain_png(path, str(path))


def _plain_png(source: Path | io.BytesIO, name: str) -> bytes:
    """A logo's pixels and nothing else."""
    try:
        with Image.open(source, formats=["PNG", "JPEG"]) as opened:
            logo = opened.convert("RGBA")
    except (OSError, ValueError, SyntaxError, UnidentifiedImageError, Image.DecompressionBombError) as error:
        raise CallError(name, "is no PNG or JPEG we can read", "Save the logo as PNG") from error
    logo.thumbnail(_LOGO_SIZE, Image.Resampling.LANCZOS)
    out = io.BytesIO()
    logo.save(out, "PNG")
    return out.getvalue()
