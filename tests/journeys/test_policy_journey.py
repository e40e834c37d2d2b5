"""A shop settles its policy and sees what it suggests; grades and verdicts stay as they were."""

import json

import pytest

from tests import documents
from wearview import store as record
from wearview.cli import main


@pytest.fixture
def job(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    url = f"sqlite:///{tmp_path}/record.sqlite"
    monkeypatch.setenv("WEARVIEW_STORE", url)
    store = record.open_store(url)
    record.new_teardown(store, "Job 7")
    document, photos = documents.hot_pack()
    record.add_grading(store, "Job 7", "Forward", document, [record.GradedPhoto(p) for p in photos.values()])
    record.add_verdict(store, "Job 7", "Forward", "3", "reuse", by="Ines")
    return store


def told(capsys, *words):
    assert main(list(words)) == 0
    return capsys.readouterr().out


def test_a_policy_suggests_beside_the_verdict_and_touches_neither(capsys, job, tmp_path):
    assert "no policy is settled" in told(capsys, "suggest", "Job 7")
    before = record.get_whole_teardown(job, "Job 7").elements[0]
    out = told(capsys, "policy", "set", "--heated-lining", "replace", "--by", "Ines")
    assert "a lining that shows heat" in out
    out = told(capsys, "suggest", "Job 7")
    assert "reuse" in out
    assert "replace" in out
    assert "a verdict is given by a person" in out
    found = json.loads(told(capsys, "suggest", "Job 7", "--json", "-"))
    assert found["policy"] == "policy-1"
    last = found["suggestions"][-1]
    assert (last["target"], last["suggested"], last["verdict"]["decision"]) == ("3", "replace", "reuse")
    after = record.get_whole_teardown(job, "Job 7").elements[0]
    assert after.verdicts == before.verdicts
    assert [g.document_sha256 for g in after.gradings] == [g.document_sha256 for g in before.gradings]
    record.write_backup(job, tmp_path / "b.zip")
    assert "rules/policy-1.toml" in record.read_backup(tmp_path / "b.zip")["shop"]


def test_a_hidden_grade_suggests_nothing(capsys, job):
    told(capsys, "policy", "set", "--heated-lining", "replace", "--by", "Ines")
    record.change_teardown(job, "Job 7", blind=True)
    found = json.loads(told(capsys, "suggest", "Job 7", "--json", "-"))
    assert [row["target"] for row in found["suggestions"]] == ["3"]
