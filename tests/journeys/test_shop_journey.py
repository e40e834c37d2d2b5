"""A shop's week by command: a unit found again, duties, blind verdicts, parts to order, customers' data."""

import json
from pathlib import Path

import pytest

from tests import documents
from wearview import store as record
from wearview.cli import main

ROOT = Path(__file__).parents[2]


@pytest.fixture
def run(capsys, tmp_path):
    """Run a command on a record of the test: its standard output; it must end with 0."""

    def command(*words, status=0):
        ended = main([*map(str, words), "--store", f"sqlite:///{tmp_path}/record.sqlite"])
        told = capsys.readouterr()
        assert ended == status, told.err
        return told.out if status == 0 else told.err

    return command


@pytest.fixture
def keep(tmp_path):
    """Store the hot pack as an element of a teardown."""

    def add(teardown, element="Forward"):
        document, photos = documents.hot_pack()
        files = [record.GradedPhoto(data, data) for data in photos.values()]
        store = record.open_store(f"sqlite:///{tmp_path}/record.sqlite")
        record.add_grading(store, teardown, element, document, files)

    return add


def test_a_unit_that_comes_back_is_found_and_compared(run, keep):
    run("teardown", "new", "spring", "--unit", "four-speed", "--serial", "HL 20-4", "--customer", "blue van")
    keep("spring")
    run("verdict", "spring", "Forward", "3", "replace", "--reason", "heat")
    run("teardown", "close", "spring")
    run("teardown", "new", "autumn", "--serial", "hl204")
    keep("autumn")
    assert [line.split()[0] for line in run("teardown", "find", "--serial", "204").splitlines()[1:]] == [
        "autumn",
        "spring",
    ]
    assert "closed" in run("teardown", "find", "spring")
    assert run("teardown", "find", "--date", "1999").strip() == "no teardown holds that"
    assert "opened before: spring (" in run("teardown", "show", "autumn")
    told = run("teardown", "history", "autumn")
    assert "spring, opened" in told
    [row] = [line for line in told.splitlines() if line.startswith("3")]
    assert row.split()[:7] == ["3", "3", "burnt", "replace", "(heat)", "3", "burnt"]
    assert row.endswith("new since then; level as it was")
    assert "this was replaced: friction plate 3." in told
    [earlier] = json.loads(run("teardown", "history", "autumn", "--json", "-"))
    third = earlier["elements"][0]["positions"][2]
    assert (third["became"], third["level_change"]) == ("renewed", 0)
    assert (third["then"]["verdict"]["decision"], third["now"]["verdict"]) == ("replace", None)
    assert "was not opened before" in run("teardown", "history", "spring")


def test_heat_where_none_is_expected_is_told_first(run, keep):
    run("teardown", "new", "Job 7")
    run("element", "duty", "Job 7", "Direct", "--expect", "shift")
    told = run("element", "duty", "Job 7", "Forward", "--example", "forward clutch", "--plates", "9")
    assert "applied in every forward range" in told
    keep("Job 7", "Direct")
    keep("Job 7", "Forward")
    shown = run("teardown", "show", "Job 7")
    news = shown.index("heat where none is expected:")
    assert news < shown.index("Direct") < shown.index("expected: shift element")
    line = shown[news:].splitlines()[1]
    assert line == "  Forward, expected: should always look clean; position 2 (1 light heat), 3 (3 burnt)"
    assert "The photos show 3 plates; the pack is stated to have 9." in shown
    record_of = json.loads(run("teardown", "show", "Job 7", "--json", "-"))
    direct, forward = record_of["elements"]
    assert len(forward["unexpected_heat"]) == 2
    assert direct["duty"]["expects"] == "shift"


def test_the_parts_list_says_what_to_order_how_many_and_why(run, keep):
    run("teardown", "new", "Job 7")
    keep("Job 7")
    assert run("parts", "Job 7").strip() == "nothing is marked replace so far"
    run("verdict", "Job 7", "Forward", "pack", "replace", "--reason", "policy")
    run("verdict", "Job 7", "Forward", "drum", "replace", "--reason", "wear", "--note", "scored")
    pack, drum = [" ".join(line.split()) for line in run("parts", "Job 7").splitlines()[1:]]
    assert pack == "Forward friction plate 3 1, 2, 3 policy; the pack is replaced whole"
    assert drum == "Forward drum 1 wear scored"
    assert [line["count"] for line in json.loads(run("parts", "Job 7", "--json", "-"))] == [3, 1]


def test_a_blind_teardown_hides_grades_and_refuses_the_report_until_the_verdicts_are_in(run, keep, tmp_path):
    assert run("shop") == "blind: no\n"
    assert run("shop", "--blind", "yes") == "blind: yes\n"
    run("teardown", "new", "Job 7")
    keep("Job 7")
    shown = run("teardown", "show", "Job 7")
    assert "burnt" not in shown
    assert "verdict not in" in shown
    assert "burnt" not in run("teardown", "show", "Job 7", "--json", "-")
    assert "has no verdict on position 1, 2, 3" in run("report", "Job 7", "--out", tmp_path / "r", status=2)
    run("verdict", "Job 7", "Forward", "3", "reuse")
    shown = run("teardown", "show", "Job 7")
    assert "3 burnt" in shown
    assert "light heat" not in shown
    run("verdict", "Job 7", "Forward", "pack", "replace")
    assert "1 light heat" in run("teardown", "show", "Job 7")
    run("report", "Job 7", "--out", tmp_path / "r")


def test_a_customer_is_corrected_and_erased_by_command(run, keep):
    run("teardown", "new", "Job 7", "--customer", "blue van")
    keep("Job 7")
    run("customer", "change", "blue van", "--name", "A. N. Other", "--plate", "AB 1")
    assert "A. N. Other" in run("customer", "show", "blue van")
    assert run("teardown", "find", "--customer", "ab 1").splitlines()[1].startswith("Job 7")
    told = run("customer", "erase", "blue van")
    assert "grades and verdicts stay" in told
    assert "backups and reports made before" in told
    assert run("customer", "list").startswith("no customer so far")
    shown = run("teardown", "show", "Job 7")
    assert "customer: erased" in shown
    assert "3 burnt" in shown


def test_a_job_like_another_begins_with_its_elements(run):
    run("teardown", "new", "Job 7")
    run("element", "duty", "Job 7", "Low band", "--expect", "seldom")
    assert "with Low band" in run("teardown", "new", "Job 8", "--like", "Job 7")
    assert "seldom used" in run("teardown", "show", "Job 8")
    assert "Job 6: is no teardown" in run("teardown", "new", "Job 9", "--like", "Job 6", status=2)
    assert run("teardown", "find", "Job 9").strip() == "no teardown holds that"


def test_a_record_is_backed_up_restored_and_checked_by_command(run, keep, tmp_path, capsys):
    run("teardown", "new", "Job 7")
    keep("Job 7")
    told = run("backup", tmp_path / "shop.zip")
    assert "1 teardown, 1 grading, 0 verdicts, 2 files, read back" in told
    assert run("check").splitlines() == ["8 rows and 2 files looked at", "all as it was stored"]
    assert json.loads(run("check", "--json", "-"))["findings"] == []
    assert "holds a record" in run("restore", tmp_path / "shop.zip", status=2)
    new = f"sqlite:///{tmp_path}/new/record.sqlite"
    assert main(["restore", str(tmp_path / "shop.zip"), "--store", new]) == 0
    assert "8 rows and 2 files, compared with their seals" in capsys.readouterr().out
    next((tmp_path / "new" / "photos").glob("*/*")).unlink()
    assert main(["check", "--store", new]) == 1
    told = capsys.readouterr()
    assert "1 missing or altered" in told.out
    assert told.err.count("this kept photo is missing") == 1


def test_reports_handed_over_are_told_of_and_sealed(run, keep, tmp_path):
    run("teardown", "new", "Job 7")
    keep("Job 7")
    run("report", "Job 7", "--out", tmp_path / "one")
    assert "report handed over: 20" in run("teardown", "show", "Job 7")
    [handed] = json.loads(run("teardown", "show", "Job 7", "--json", "-"))["handovers"]
    assert handed["files"]["report.html"] == documents.sha256((tmp_path / "one/report.html").read_bytes())
    assert run("check").splitlines()[-1] == "all as it was stored"


def test_grading_into_a_blind_teardown_shows_the_plates_and_no_grade(run, tmp_path):
    photo, clean = (ROOT / "demo_images" / name for name in ("direct-pack-1.jpg", "reference-tan.jpg"))
    run("teardown", "new", "Job 7", "--blind", "yes")
    graded = ("grade", photo, "--reference", clean, "--teardown", "Job 7", "--element", "Direct")
    refused = run(*graded, "--overlays", tmp_path / "o", status=2)
    assert "would show the grades" in refused
    document = json.loads(run(*graded, "--json", "-"))
    parts = [part for entry in document["photos"] for part in entry["parts"]]
    assert parts
    assert {part["grade"] for part in parts} == {None}
    assert document["pack"] is None
    told = run(*graded)
    assert "hidden: " in told
    assert told.count("hidden") > len(parts)
    run("verdict", "Job 7", "Direct", "pack", "replace")
    assert "hidden: " not in run("teardown", "show", "Job 7")


def test_what_was_found_and_measured_beside_the_packs_by_command(run, tmp_path):
    run("teardown", "new", "Job 7", "--unit", "four-speed")
    assert "no checklist so far" in run("finding", "list", "Job 7")
    example = json.loads(run("checklist", "set", "--example", "--json", "-"))
    assert "pump: pocket, gears, bushing" in example
    run("checklist", "set", "pump pocket", "servo bores", "bushings", "--unit", "four-speed")
    assert set(json.loads(run("checklist", "show", "--json", "-"))) == {"", "four-speed"}
    (tmp_path / "pump.jpg").write_bytes(documents.jpeg(40))
    given = ("finding", "add", "Job 7", "pump pocket", "found", "--note", "scored", "--by", "Kim")
    assert "found, 1 photo" in run(*given, "--photo", tmp_path / "pump.jpg")
    run("finding", "add", "Job 7", "servo bores", "not-looked-at")
    told = run("finding", "list", "Job 7")
    assert told.startswith("beside the packs (1 of 3 looked at, 1 left out, 1 not done)")
    states = [line["state"] for line in json.loads(run("finding", "list", "Job 7", "--json", "-"))]
    assert states == ["found", "not-looked-at", "not-done"]
    value = ("measured", "add", "Job 7", "tip gap", "0.009", "in", "--tool", "feeler gauge")
    assert "no limit was typed" in run(*value)
    assert "limit from nowhere" in run(*value, "--most", "0.2 mm", status=2)
    assert "out of limit: over" in run(*value, "--most", "0.2 mm", "--limit-from", "invented")
    [one] = json.loads(run("measured", "list", "Job 7", "--json", "-"))
    assert (one["value"]["mm"], one["outcome"]) == (0.2286, "out of limit: over")
    shown = run("teardown", "show", "Job 7")
    assert shown.index("beside the packs") < shown.index("OUT OF LIMIT")
    whole = json.loads(run("teardown", "show", "Job 7", "--json", "-"))
    assert (len(whole["findings"]), whole["measured"]) == (3, [one])
    run("finding", "take-back", "Job 7", "pump pocket")
    run("measured", "take-back", "Job 7", "tip gap")
    assert run("measured", "list", "Job 7").strip() == "nothing was measured so far"
    assert "1 left out, 2 not done" in run("finding", "list", "Job 7")


def test_a_finding_takes_photos_only(run, tmp_path):
    run("teardown", "new", "Job 7")
    (tmp_path / "notes.jpg").write_text("scored")
    for name, says in (("notes.jpg", "not an image"), ("missing.jpg", "cannot be read")):
        words = ("finding", "add", "Job 7", "pump", "found", "--photo", tmp_path / name)
        assert says in run(*words, status=1 if name == "notes.jpg" else 2)
    assert "no checklist" in run("finding", "list", "Job 7")


def test_a_checklist_needs_its_items(run):
    for words in ([], ["pump", "--example"], ["--example", "--none"]):
        assert "needs its items" in run("checklist", "set", *words, status=2)
