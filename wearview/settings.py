"""What the trade may argue about, read once from the text files in `models/` and passed down."""

import hashlib
import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from wearview.errors import CallError, ModelsError
from wearview.terms import CHART_EDITIONS

Span = tuple[float, float]

_REMEDY = "Restore the file from the program's package"


@dataclass(frozen=True, slots=True)
class Rules:
    """The grade's thresholds, one version. Shares are 0..1 of the measured face.

    Attributes
    ----------
    id, sha256 : str
        Name of the version, and the hash of the file's bytes.
    lining_areas : tuple of float
        Shares of `area_over_5`, `area_over_10`, `area_over_20` and `area_char` from which levels 1 to 4 hold.
    char_lightness_share, char_delta_e, char_delta_e_dark, char_dark_below, too_dark_below : float
        What char is: share of the clean L*, Delta E, Delta E on a dark lining, clean L* of a dark lining, and
        the clean L* under which colour cannot show it.
    glazing_index : float
        Index, 0..100, from which a glazed face counts one level more.
    glazing_highest : int
        Highest level that is raised.
    steel_areas : tuple of float
        Shares of straw, brown with purple, blue and grey from which levels 1 to 4 hold.
    spots_count : int
        Number of hot spots from which level 3 holds.
    spots_area : float
        Share of hot spots from which level 4 holds.
    spot_mm, spot_share : tuple of float
        Smallest and largest hot spot in millimetres, and as a share of the outer diameter.
    needed, rival : float
        Probabilities of the "uncertainty spans grades" rule.
    alike : float
        Delta E within which plates are too alike to find the clean one.
    """

    id: str
    sha256: str
    lining_areas: tuple[float, float, float, float]
    char_lightness_share: float
    char_delta_e: float
    char_delta_e_dark: float
    char_dark_below: float
    too_dark_below: float
    glazing_index: float
    glazing_highest: int
    steel_areas: tuple[float, float, float, float]
    spots_count: int
    spots_area: float
    spot_mm: Span
    spot_share: Span
    needed: float
    rival: float
    alike: float


@dataclass(frozen=True, slots=True)
class Tints:
    """Boundaries of the heat tint families; the file's own comments say where each comes from.

    Attributes
    ----------
    bare_ab : tuple of float
        a*, b* of bare steel under its own white.
    least_chroma : float
        Chroma, counted from bare metal, under which a pixel is plain metal.
    straw, brown, purple, blue : tuple of float
        Hue from and up to, degrees; purple passes through 0.
    pale_share, pale_chroma : float, tuple of float
        Share of the plate's bluest chroma under which blue is grey blue, and the limits of that chroma.
    grey_darker_than, grey_border_dark, grey_border_light, grey_beside_blue, grey_below_clean_l : float
        What makes a neutral patch oxide.
    cast_chroma, cast_darkness : float
        Under which chroma and lost share of the bare L* a blue is a lamp's cast, where the light is weak.
    other_darkness_least, other_darkness_per_chroma, other_neutral_darkness : float
        Lost share of the bare L* beyond which a brown, or a neutral, is no oxide.
    dull : tuple of float
        Hues that such a brown has.
    rust_chroma, rust_darkness_per_chroma : float
        What makes a brown patch look like rust.
    fringe : float
        Share of a doubtful patch's border beside its neighbours in the tint's order that makes it oxide.
    """

    bare_ab: Span
    least_chroma: float
    straw: Span
    brown: Span
    purple: Span
    blue: Span
    pale_share: float
    pale_chroma: Span
    grey_darker_than: float
    grey_border_dark: float
    grey_border_light: float
    grey_beside_blue: float
    grey_below_clean_l: float
    cast_chroma: float
    cast_darkness: float
    other_darkness_least: float
    other_darkness_per_chroma: float
    other_neutral_darkness: float
    rust_chroma: float
    rust_darkness_per_chroma: float
    dull: Span
    fringe: float


@dataclass(frozen=True, slots=True)
class PrintedMat:
    """The shop's bench mat as it was printed.

    Attributes
    ----------
    design : str
        Of the mat that was printed.
    by : str
        "chart" or "card": beside what its colours were measured.
    lab : mapping of str to tuple of float
        CIELAB, D65, 2 degrees, of each of its colours and of the paper.
    """

    design: str
    by: str
    lab: Mapping[str, tuple[float, ...]]


@dataclass(frozen=True, slots=True)
class Settings:
    """Everything a stage may need to know beside the photo.

    Attributes
    ----------
    models : Path
        The folder the files came from.
    rules : Rules
    tints : Tints
    material : mapping of str to float
        Weights that tell lining from bare metal, see `material`.
    chart : str
        Edition of the 24-patch chart, one of `terms.CHART_EDITIONS`.
    mat : PrintedMat or None
        The shop's bench mat, once it was calibrated.
    """

    models: Path
    rules: Rules
    tints: Tints
    material: Mapping[str, float]
    chart: str = CHART_EDITIONS[0]
    mat: PrintedMat | None = None


MATERIAL_WEIGHTS = (
    "bias",
    "inner_teeth",
    "lining_seen",
    "one_hue",
    "spread_b",
    "purple",
    "as_teeth",
    "black",
    "grain",
    "flocks",
    "flecks",
    "root_step",
    "root_gap",
    "lip",
    "spokes",
    "pitch",
)


class _Table:
    """One parsed file: gives values of the kind asked for, and knows which were never asked for."""

    def __init__(self, path: Path, data: bytes) -> None:
        self.name = path.name
        try:
            content = tomllib.loads(data.decode("utf-8"))
        except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as error:
            raise ModelsError(self.name, f"cannot be parsed ({error})", _REMEDY) from error
        self._values: dict[str, Any] = {}
        for key, value in content.items():
            inner = value.items() if isinstance(value, dict) else [("", value)]
            self._values.update({f"{key}.{k}" if k else key: v for k, v in inner})
        self._unread = set(self._values)

    def _take(self, key: str) -> Any:
        if key not in self._values:
            raise ModelsError(self.name, f"{key} is missing", _REMEDY)
        self._unread.discard(key)
        return self._values[key]

    def _wrong(self, key: str, expected: str) -> ModelsError:
        return ModelsError(self.name, f"{key} is not {expected}", _REMEDY)

    def text(self, key: str) -> str:
        value = self._take(key)
        if not isinstance(value, str) or not value:
            raise self._wrong(key, "a text")
        return value

    def number(self, key: str, low: float = 0.0, high: float = 360.0) -> float:
        value = self._take(key)
        if not _is_number(value) or not low <= value <= high:
            raise self._wrong(key, f"a number from {low:g} to {high:g}")
        return float(value)

    def share(self, key: str) -> float:
        return self.number(key, 0.0, 1.0)

    def count(self, key: str) -> int:
        value = self._take(key)
        if not isinstance(value, int) or isinstance(value, bool) or value < 0:
            raise self._wrong(key, "a whole number")
        return value

    def pair(self, key: str) -> Span:
        value = self._take(key)
        if not isinstance(value, list) or len(value) != 2 or not all(_is_number(v) for v in value):
            raise self._wrong(key, "a pair of numbers")
        return float(value[0]), float(value[1])

    def rising_pair(self, key: str) -> Span:
        low, high = self.pair(key)
        if not 0 <= low < high:
            raise self._wrong(key, "a pair of rising numbers")
        return low, high

    def finish(self) -> None:
        """Refuse what nobody reads: a misspelt name would otherwise change nothing in silence."""
        if self._unread:
            raise ModelsError(self.name, f"{min(self._unread)} is not a known setting", _REMEDY)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


@cache
def shipped_folder(name: str) -> Path | None:
    """A folder that comes with the program: inside the package when installed, beside it in a checkout; None
    when it is missing."""
    package = Path(__file__).resolve().parent
    return next((folder for folder in (package / name, package.parent / name) if folder.is_dir()), None)


def models_folder() -> Path:
    """The folder `models/`.

    Raises
    ------
    ModelsError
        When it is missing.
    """
    folder = shipped_folder("models")
    if folder is None:
        raise ModelsError("models", "the folder is missing", "Install the program again")
    return folder


def load_settings(
    rules: str = "rules-1", models: Path | None = None, rules_folder: Path | None = None
) -> Settings:
    """The settings of one rules version.

    Parameters
    ----------
    rules : str
        Name of a file in `models/` without its ending.
    models : Path, optional
        Another folder to read from.
    rules_folder : Path, optional
        Where the rules lie, if elsewhere.

    Raises
    ------
    CallError
        When there is no such version.
    ModelsError
        When a file is damaged.
    """
    folder = models_folder() if models is None else models
    path = (rules_folder or folder) / f"{rules}.toml"
    if not path.is_file():
        known = ", ".join(sorted(p.stem for p in path.parent.glob("rules-*.toml"))) or "none"
        raise CallError(rules, "no such rules", f"Known rules: {known}")
    return Settings(
        folder,
        _read_rules(path),
        _read_tints(folder / "tints.toml"),
        _read_material(folder / "material.toml"),
    )


def _read_material(path: Path) -> Mapping[str, float]:
    table = _Table(path, _bytes(path))
    return MappingProxyType({name: table.number(name, -100.0, 100.0) for name in MATERIAL_WEIGHTS})


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise ModelsError(path.name, "cannot be read", _REMEDY) from error


def _read_rules(path: Path) -> Rules:
    data = _bytes(path)
    table = _Table(path, data)
    rules = Rules(
        id=table.text("id"),
        sha256=hashlib.sha256(data).hexdigest(),
        lining_areas=(
            table.share("lining.area_over_5"),
            table.share("lining.area_over_10"),
            table.share("lining.area_over_20"),
            table.share("lining.area_char"),
        ),
        char_lightness_share=table.share("char.lightness_share"),
        char_delta_e=table.number("char.delta_e"),
        char_delta_e_dark=table.number("char.delta_e_dark_lining"),
        char_dark_below=table.number("char.dark_lining_below", 0, 100),
        too_dark_below=table.number("char.too_dark_below", 0, 100),
        glazing_index=table.number("glazing.index", 0, 100),
        glazing_highest=table.count("glazing.highest_raised_level"),
        steel_areas=(
            table.share("steel.straw"),
            table.share("steel.brown_and_purple"),
            table.share("steel.blue"),
            table.share("steel.grey"),
        ),
        spots_count=table.count("hot_spots.count"),
        spots_area=table.share("hot_spots.area"),
        spot_mm=table.rising_pair("hot_spots.across_mm"),
        spot_share=table.rising_pair("hot_spots.across_share_of_diameter"),
        needed=table.share("probability.needed"),
        rival=table.share("probability.rival"),
        alike=table.number("cleanest_part.alike"),
    )
    table.finish()
    if rules.id != path.stem:
        raise ModelsError(path.name, f'names itself "{rules.id}"', "Give the file and its id one name")
    shares = (*rules.lining_areas, *rules.steel_areas, rules.spots_area, rules.spots_count)
    if min(shares) <= 0 or rules.glazing_highest > 3:
        raise ModelsError(path.name, "has a threshold that every part, or no part, would meet", _REMEDY)
    return rules


def _read_tints(path: Path) -> Tints:
    table = _Table(path, _bytes(path))
    tints = Tints(
        bare_ab=table.pair("bare_ab"),
        least_chroma=table.number("least_chroma"),
        straw=table.pair("hue.straw"),
        brown=table.pair("hue.brown"),
        purple=table.pair("hue.purple"),
        blue=table.pair("hue.blue"),
        pale_share=table.share("grey.pale_share"),
        pale_chroma=table.rising_pair("grey.pale_chroma"),
        grey_darker_than=table.share("grey.darker_than"),
        grey_border_dark=table.share("grey.border_dark"),
        grey_border_light=table.share("grey.border_light"),
        grey_beside_blue=table.number("grey.beside_blue"),
        grey_below_clean_l=table.number("grey.below_clean_l", 0, 100),
        cast_chroma=table.number("cast.chroma"),
        cast_darkness=table.share("cast.darkness"),
        other_darkness_least=table.share("other.darkness_least"),
        other_darkness_per_chroma=table.share("other.darkness_per_chroma"),
        other_neutral_darkness=table.share("other.neutral_darkness"),
        rust_chroma=table.number("other.rust_chroma"),
        rust_darkness_per_chroma=table.share("other.rust_darkness_per_chroma"),
        dull=table.pair("other.dull_hue"),
        fringe=table.share("other.fringe"),
    )
    table.finish()
    return tints
