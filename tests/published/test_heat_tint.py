"""Heat tint: published tempering tables and a computed oxide film against our colour families."""

import csv
from pathlib import Path

import numpy as np
import pytest

from tests.faces import RADIUS, ring_face
from wearview.settings import load_settings
from wearview.steel import read_steel
from wearview.steel.bare import Bare
from wearview.steel.codes import tint_codes
from wearview.terms import TINTS

HERE = Path(__file__).parent
SETTINGS = load_settings()
ORDER = {tint: i for i, tint in enumerate(TINTS[:-1])}


def rows(name: str) -> list[dict[str, str]]:
    lines = [line for line in (HERE / name).read_text("utf-8").splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))


FILM = {
    int(row["film_nm"]): [float(row[axis]) for axis in "Lab"] for row in rows("film_magnetite_on_iron.csv")
}
TABLES = rows("temper_colours.csv")
BARE = Bare(tuple(FILM[0]), True, 0.0)


def family(film_nm: int) -> str:
    code = int(tint_codes(np.array(FILM[film_nm], np.float32), BARE, 0.0, SETTINGS.tints))
    return TINTS[code]


@pytest.mark.parametrize(
    ("film_nm", "tint"),
    [(0, "bare"), (20, "straw"), (30, "straw"), (40, "purple"), (50, "blue"), (60, "blue"), (120, "straw")],
)
def test_the_computed_films_colours_fall_into_their_families(film_nm, tint):
    # 120 nm is straw of the second order: colour alone cannot tell, and nothing here says that it was cooler.
    assert family(film_nm) == tint


def test_the_families_follow_the_growing_film_in_the_published_order():
    order = [ORDER[family(nm)] for nm in range(0, 61, 5)]
    assert order == sorted(order)
    assert set(order) == {ORDER[tint] for tint in ("bare", "straw", "brown", "purple", "blue")}


def test_a_plate_with_the_whole_film_on_it_reads_every_family_in_order():
    # Film growing outward from 0 to 60 nm. Lab between two rows of the file is interpolated, rings of 5 nm.
    thickness = np.clip(RADIUS, 0, 1) * 60
    lab = np.stack(
        [np.interp(thickness, list(FILM), [c[i] for c in FILM.values()]) for i in range(3)], axis=-1
    )
    readings = read_steel(ring_face(lab), None, SETTINGS)
    assert all(readings.area(tint).value > 0.02 for tint in ("bare", "straw", "brown", "purple", "blue"))
    assert readings.area("other").value == 0
    middle = {
        tint: np.median(RADIUS[readings.family_map == i])
        for i, tint in enumerate(TINTS)
        if (readings.family_map == i).any()
    }
    assert list(dict(sorted(middle.items(), key=lambda item: item[1]))) == [t for t in TINTS if t in middle]


def test_every_published_series_rises_through_the_families_in_our_order():
    for source in {row["source"] for row in TABLES}:
        series = [row for row in TABLES if row["source"] == source]
        by_heat = sorted(series, key=lambda row: float(row["temp_c"]))
        order = [ORDER[row["family"]] for row in by_heat]
        assert order == sorted(order), source


def test_published_tables_disagree_by_tens_of_degrees_so_a_colour_names_no_temperature():
    def heat(colours: set[str]) -> list[float]:
        return [float(row["temp_c"]) for row in TABLES if row["colour"] in colours]

    five = {"Colvin-Juthe", "Dooley", "Butt", "Tempering-encyclopedia", "Electroplating-lexicon"}
    first = {"faint yellow", "very pale yellow", "very pale straw", "pale yellow"}
    yellow = heat(first)
    assert {row["source"] for row in TABLES if row["colour"] in first} == five
    assert max(yellow) - min(yellow) == 45
    straw = [
        float(row["temp_c"])
        for row in TABLES
        if (row["source"], row["colour"])
        in {
            ("Colvin-Juthe", "light straw"),
            ("Dooley", "straw yellow"),
            ("Butt", "straw"),
            ("Tempering-encyclopedia", "light straw"),
            ("Electroplating-lexicon", "light yellow"),
        }
    ]
    assert max(straw) - min(straw) == 33


def test_one_handbooks_five_sources_disagree_on_dark_straw_by_50_degrees_f():
    dark = next(row for row in rows("colvin_juthe_spread.csv") if row["colour"] == "dark straw")
    values = [float(dark[source]) for source in "ABCDE" if dark[source]]
    assert max(values) - min(values) == 50
