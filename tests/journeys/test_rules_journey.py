"""New thresholds from a shop's own heat levels: proposed, accepted by a person, and used from then on."""

import json
import tomllib

import numpy as np
import pytest

from tests import documents
from wearview import store as record
from wearview.cli import main
from wearview.settings import load_settings
from wearview.shop import accept_rules, shop_settings

PACKS, PLATES = 30, 5
EYE = 0.45  # this shop calls a plate heat-marked from here on, where the rules say 0.25


@pytest.fixture
def shop(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    url = f"sqlite:///{tmp_path}/record.sqlite"
    store = record.open_store(url)
    rng = np.random.default_rng(7)
    record.new_teardown(store, "Job")
    for pack in range(PACKS):
        photo = documents.jpeg(pack + 40)
        parts, heats = [], []
        for position in range(1, PLATES + 1):
            over_10 = float(np.clip(rng.uniform(0.1, 0.7), 0, 1))
            part = documents.part(photo, position, position, 2 if over_10 >= 0.25 else 1, left=100 * position)
            part["discoloration"] |= {"area_over_5": 0.9, "area_over_10": over_10, "area_over_20": 0.0}
            parts.append(part)
            heats.append(2 if over_10 >= EYE else 1)
        entry = documents.photo_entry(photo, f"{pack}.jpg", parts)
        record.add_grading(
            store, "Job", f"pack {pack}", documents.document([entry]), [record.GradedPhoto(photo)]
        )
        for position, heat in enumerate(heats, start=1):
            record.add_verdict(store, "Job", f"pack {pack}", str(position), "replace", heat=heat)
    return url


def wearview(capsys, *words):
    status = main([str(word) for word in words])
    told = capsys.readouterr()
    return status, told.out


def stored(url):
    elements = record.get_teardown(record.open_store(url), "Job").elements
    return [json.dumps(g.document, sort_keys=True) for e in elements for g in e.gradings]


def test_a_shops_eye_becomes_rules_when_a_person_accepts_and_old_grades_stay(capsys, shop):
    before = stored(shop)
    status, out = wearview(capsys, "rules", "propose", "--store", shop)
    assert status == 0
    assert "lining.area_over_10" in out
    assert "lining.area_over_20" not in out
    assert shop_settings().rules.id == "rules-1"  # a proposal changes nothing

    status, out = wearview(capsys, "rules", "accept", "--by", "Ines", "--store", shop)
    assert status == 0
    assert "rules-2 is in use from now on" in out
    rules = shop_settings().rules
    assert rules.id == "rules-2"
    assert rules.lining_areas[1] == pytest.approx(EYE, abs=0.03)
    assert rules.lining_areas[0] == 0.25
    assert stored(shop) == before

    status, out = wearview(capsys, "rules", "list")
    assert [line.split() for line in out.splitlines()[1:]] == [
        ["rules-1", "shipped"],
        ["rules-2", "in", "use", "your", "own"],
    ]


def test_too_few_heat_levels_propose_nothing(capsys, tmp_path):
    url = f"sqlite:///{tmp_path}/empty.sqlite"
    record.new_teardown(record.open_store(url), "Job")
    for words in (("propose",), ("accept", "--by", "Ines")):
        status, out = wearview(capsys, "rules", *words, "--store", url)
        assert status == 0
        assert "nothing to propose" in out


def test_a_new_version_keeps_every_other_line_and_says_who_accepted_it(tmp_path):
    path = accept_rules(load_settings(), {"steel.blue": 0.2}, "Accepted by Ines.", tmp_path)
    old = (load_settings().models / "rules-1.toml").read_text("utf-8")
    new = path.read_text("utf-8")
    assert new.startswith("# rules-2, from rules-1.\n# Accepted by Ines.\n")
    changed = set(new.splitlines()) - set(old.splitlines())
    assert {line.split()[0] for line in changed if line[0] != "#"} == {"id", "blue"}
    assert tomllib.loads(new)["steel"]["blue"] == 0.2
    assert accept_rules(load_settings(), {}, "Again.", tmp_path).stem == "rules-3"


def test_the_newest_version_counts_by_its_number_and_an_unknown_one_is_refused(tmp_path):
    for _ in range(9):
        accept_rules(load_settings(), {}, "Again.", tmp_path)
    assert shop_settings(folder=tmp_path).rules.id == "rules-10"
    assert shop_settings("rules-1", tmp_path).rules == load_settings().rules
    with pytest.raises(ValueError, match=r"rules-11.*Known rules: rules-1, "):
        shop_settings("rules-11", tmp_path)
