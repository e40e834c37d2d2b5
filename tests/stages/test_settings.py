import hashlib
import shutil
from pathlib import Path

import pytest

from wearview.errors import CallError, ModelsError
from wearview.settings import load_settings, models_folder


@pytest.fixture
def models(tmp_path: Path) -> Path:
    for name in ("rules-1.toml", "tints.toml", "material.toml"):
        shutil.copy(models_folder() / name, tmp_path / name)
    return tmp_path


def test_the_shipped_rules_are_the_contracts_two_tables():
    rules = load_settings().rules
    assert rules.lining_areas == (0.25, 0.25, 0.25, 0.25)
    assert rules.steel_areas == (0.10, 0.10, 0.10, 0.10)
    assert (rules.spots_count, rules.spots_area, rules.glazing_index, rules.glazing_highest) == (
        3,
        0.25,
        60,
        2,
    )
    assert (rules.char_lightness_share, rules.char_delta_e, rules.char_delta_e_dark) == (0.5, 15, 10)
    assert (rules.char_dark_below, rules.too_dark_below, rules.needed, rules.rival) == (40, 30, 0.5, 0.1)
    assert rules.spot_mm == (2, 25)
    assert rules.spot_share == pytest.approx((1 / 60, 1 / 6), abs=1e-6)


def test_the_hash_is_that_of_the_files_bytes(models):
    expected = hashlib.sha256((models / "rules-1.toml").read_bytes()).hexdigest()
    assert load_settings(models=models).rules.sha256 == expected


def test_a_changed_comment_changes_the_hash(models):
    before = load_settings(models=models).rules.sha256
    with (models / "rules-1.toml").open("a") as file:
        file.write("# another word\n")
    assert load_settings(models=models).rules.sha256 != before


def test_the_tint_families_do_not_overlap():
    tints = load_settings().tints
    assert tints.brown[1] == tints.straw[0]
    assert tints.purple[1] == tints.brown[0]
    assert tints.blue[1] == tints.purple[0]
    assert tints.straw[1] <= tints.blue[0]


def test_an_unknown_version_is_a_wrong_call_that_names_the_known_ones(models):
    with pytest.raises(CallError, match=r"rules-9: no such rules\. Known rules: rules-1\."):
        load_settings("rules-9", models)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("area_char = 0.25", "area_chair = 0.25", "lining.area_char is missing"),
        ("area_char = 0.25", 'area_char = "a quarter"', "lining.area_char is not a number from 0 to 1"),
        ("area_char = 0.25", "area_char = nan", "lining.area_char is not a number from 0 to 1"),
        ("area_char = 0.25", "area_char = 0.0", "every part, or no part"),
        ("area_char = 0.25", "area_char = 0.25\nextra = 1", "lining.extra is not a known setting"),
        ("count = 3 ", "count = 2.5 ", "hot_spots.count is not a whole number"),
        ("[2.0, 25.0]", "[25.0, 2.0]", "rising"),
        ("[2.0, 25.0]", "2.0", "pair"),
        ('id = "rules-1"', 'id = "rules-2"', 'names itself "rules-2"'),
        ('id = "rules-1"', "id = 1", "id is not a text"),
        ("[lining]", "[lining", "cannot be parsed"),
        ('id = "rules-1"', f"id = {'[' * 9999}", "cannot be parsed"),
    ],
)
def test_a_damaged_rules_file_is_named_with_what_is_wrong(models, old, new, words):
    path = models / "rules-1.toml"
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))
    with pytest.raises(ModelsError) as caught:
        load_settings(models=models)
    assert str(caught.value).startswith("rules-1.toml: ")
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_missing_tints_are_a_models_error(models):
    (models / "tints.toml").unlink()
    with pytest.raises(ModelsError, match=r"tints\.toml: cannot be read"):
        load_settings(models=models)


def test_bytes_that_are_no_text_are_a_models_error(models):
    (models / "tints.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(ModelsError, match=r"tints\.toml: cannot be parsed"):
        load_settings(models=models)
