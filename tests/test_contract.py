"""What the program promises to a script: commands, options, exit status, document, names of files."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from jsonschema import Draft202012Validator
from PIL import Image

from tests import documents
from tests.needs import needs
from wearview.cli import main
from wearview.cli.parser import build_parser
from wearview.cli.pictures import named
from wearview.errors import CallError
from wearview.record import Place, parse_kinds, parse_places, schema

ROOT = Path(__file__).parents[1]
PROMISED = {
    "grade": "PHOTO --reference --lining --apply-end --from --kinds --positions --json --masks --overlays "
    "--second-light --teardown --element --store",
    "demo": "--out",
    "teardown new": "NAME --unit --serial --customer --wish --store",
    "teardown list": "--json --store",
    "teardown find": "TEXT --unit --serial --customer --date --json --store",
    "teardown show": "NAME --json --store",
    "teardown history": "NAME --json --store",
    "teardown change": "NAME --unit --serial --customer --wish --blind --store",
    "teardown close": "NAME --store",
    "teardown reopen": "NAME --store",
    "element duty": "TEARDOWN ELEMENT --direction --plates --applied --expect --words --example "
    "--json --store",
    "element examples": "--json",
    "parts": "TEARDOWN --json --store",
    "policy show": "ID --json",
    "policy set": "--hot-reaction-plate --colour-smear --hot-spots --heated-lining --fresh-clean-pack "
    "--by --json",
    "suggest": "TEARDOWN --policy --json --store",
    "customer list": "--json --store",
    "customer show": "REF --json --store",
    "customer change": "REF --ref --name --phone --plate --store",
    "customer erase": "REF --store",
    "shop": "--blind --store",
    "backup": "FILE --store",
    "restore": "FILE --store",
    "check": "--json --store",
    "regrade": "ARCHIVE --into --rules --workers --scheduler",
    "verdict": "TEARDOWN ELEMENT POSITION|pack|NAME reuse|replace|resurface|leave|unsure --heat --reason "
    "--by --note --store",
    "report": "TEARDOWN --out --store",
    "lining add": "NAME PHOTO --wet --chart",
    "lining list": "--json",
    "lining show": "NAME --json",
    "lining remove": "NAME",
    "lining put-back": "NAME",
    "mat": "--paper a4 letter --out FILE.pdf",
    "app": "--port --lan",
}
WORDS = {
    "--apply-end": "left right top bottom",
    "--from": "apply reaction",
    "--heat": "0 1 2 3 4",
    "--reason": "heat wear age wish policy unavailable other",
}


def wearview(capsys, *words):
    """Run a command in this process: exit status, standard output, standard error."""
    try:
        status = main([str(word) for word in words])
    except SystemExit as end:  # argparse ends the process itself
        status = end.code
    told = capsys.readouterr()
    return status, told.out, told.err


def a_bench(path, shade=120):
    """A photo with nothing on it: readable, and no part in it."""
    rough = np.random.default_rng(shade).normal(shade, 4, (480, 640, 3)).clip(0, 255).astype(np.uint8)
    Image.fromarray(rough).save(path)
    return path


@pytest.mark.parametrize("command", PROMISED)
def test_help_names_every_option_of_a_command(capsys, command):
    status, out, _ = wearview(capsys, *command.split(), "--help")
    assert status == 0
    shown = " ".join(out.split())
    for option in PROMISED[command].split():
        assert re.search(rf"(?<![\w-]){re.escape(option)}(?![\w-])", shown), option
        for word in WORDS.get(option, "").split():
            assert re.search(rf"(?<!\w){word}(?!\w)", shown), (option, word)


def test_plain_help_names_every_command_and_option():
    shown = " ".join(build_parser().format_help().split())
    for command, options in PROMISED.items():
        assert f"wearview {command}" in shown
        for option in options.split():
            assert option in shown


def test_help_loads_no_library_that_takes_time():
    code = "import sys; from wearview.cli import main\ntry: main(['--help'])\nexcept SystemExit: pass\n"
    code += "print(sorted({'cv2', 'numpy', 'sqlalchemy', 'jinja2', 'PIL', 'scipy'} & sys.modules.keys()))"
    run = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert run.stdout.splitlines()[-1] == "[]"


@pytest.mark.parametrize(
    "words",
    [
        [],
        ["polish"],
        ["grade"],
        ["grade", "a.jpg", "--apply-end", "up"],
        ["grade", "a.jpg", "--reference", "r.jpg", "--lining", "demo-tan"],
        ["grade", "a.jpg", "--teardown", "Job 7"],
        ["grade", "a.jpg", "b.jpg", "--second-light", "c.jpg"],
        ["grade", "a.jpg", "--kinds", "friction,washer"],
        ["grade", "a.jpg", "--positions", "1,b"],
        ["grade", "a.jpg", "--positions", "1,1"],
        ["grade", "a.jpg", "--lining", "no-such-lining"],
        ["grade", "a.jpg", "b.jpg", "c.jpg", "--shots", "2"],
        ["grade", "a.jpg", "--json", "a.jpg"],
        ["grade", "a.jpg", "--reference", "missing.jpg"],
        ["verdict", "Job 7", "Forward", "1", "good"],
        ["verdict", "Job 7", "Forward", "1", "reuse", "--heat", "5"],
        ["report", "Job 7"],
        ["mat", "--paper", "a3"],
        ["app", "--port", "0"],
        ["teardown", "list", "--store", "shop.db"],
    ],
    ids=" ".join,
)
def test_a_wrong_call_ends_with_2_and_prints_no_result(capsys, words):
    status, out, err = wearview(capsys, *words)
    assert (status, out) == (2, "")
    assert err.strip()


def test_without_a_command_all_of_them_are_shown(capsys):
    status, out, err = wearview(capsys)
    assert (status, out) == (2, "")
    assert "grade the photos of one pack or band" in err


def test_an_unknown_teardown_is_told_before_any_photo_is_graded(capsys, tmp_path):
    words = ["--teardown", "Job 7", "--element", "Forward", "--store", f"sqlite:///{tmp_path}/r.sqlite"]
    status, out, err = wearview(capsys, "grade", a_bench(tmp_path / "a.png"), *words)
    assert (status, out) == (2, "")
    assert err == "wearview: Job 7: is no teardown. There is none so far.\n"


def test_a_photo_that_cannot_be_graded_still_ends_with_0(capsys, tmp_path):
    status, out, _ = wearview(capsys, "grade", a_bench(tmp_path / "bench.png"), "--json", "-")
    assert status == 0
    [photo] = json.loads(out)["photos"]
    assert photo["quality"]["gradeable"] is False
    assert photo["quality"]["problems"]


def test_unread_photos_end_with_1_and_the_others_are_graded(capsys, tmp_path):
    (tmp_path / "text.jpg").write_text("no photo")
    (tmp_path / "folder").mkdir()
    names = ["bench.png", "missing.jpg", "text.jpg", "folder"]
    a_bench(tmp_path / "bench.png")
    status, out, err = wearview(capsys, "grade", *(tmp_path / name for name in names), "--json", "-")
    assert status == 1
    document = json.loads(out)
    assert [Path(photo["file"]).name for photo in document["photos"]] == ["bench.png"]
    assert [Path(entry["file"]).name for entry in document["unread"]] == names[1:]
    for name in names[1:]:
        assert f"{name}: " in err
    assert "Traceback" not in err


def test_no_empty_table_stands_where_no_photo_could_be_read(capsys, tmp_path):
    status, out, err = wearview(capsys, "grade", tmp_path / "missing.jpg")
    assert (status, out) == (1, "")
    assert "no such file" in err


def test_the_document_on_standard_output_validates_and_stands_alone(capsys, tmp_path):
    status, out, err = wearview(
        capsys, "grade", a_bench(tmp_path / "a.png"), tmp_path / "no.jpg", "--json", "-"
    )
    document = json.loads(out)  # nothing else there
    Draft202012Validator(schema()).validate(document)
    assert document["contract"] == "wearview.grading/1"
    assert document["photos"][0]["file"] == str(tmp_path / "a.png")
    assert document["pack"] is None
    assert status == 1
    assert err


def test_the_shipped_schema_is_a_valid_schema():
    Draft202012Validator.check_schema(schema())


def test_a_hand_written_document_of_the_contract_validates():
    Draft202012Validator(schema()).validate(documents.hot_pack()[0])


def test_the_same_photo_twice_is_graded_once_and_said_so(capsys, tmp_path):
    bench = a_bench(tmp_path / "a.png")
    (tmp_path / "b.png").write_bytes(bench.read_bytes())
    status, out, err = wearview(capsys, "grade", bench, tmp_path / "b.png", "--json", "-")
    assert status == 0
    assert len(json.loads(out)["photos"]) == 1
    assert "b.png: the same photo" in err


def test_a_document_is_written_to_a_file_whole(capsys, tmp_path):
    status, out, _ = wearview(
        capsys, "grade", a_bench(tmp_path / "a.png"), "--json", tmp_path / "new" / "d.json"
    )
    assert status == 0
    assert json.loads((tmp_path / "new" / "d.json").read_text())["contract"] == "wearview.grading/1"
    assert out.strip()  # and the table is still printed
    assert [path.name for path in (tmp_path / "new").iterdir()] == ["d.json"]


@pytest.mark.parametrize("option", ["--json", "--masks", "--overlays"])
def test_a_result_that_cannot_be_written_ends_with_3_and_one_line(capsys, tmp_path, option):
    (tmp_path / "file").write_text("in the way")
    status, _, err = wearview(capsys, "grade", a_bench(tmp_path / "a.png"), option, tmp_path / "file" / "out")
    assert status == 3
    assert err.count("\n") == 1
    assert "file" in err


# The one device that is always full; no other system has it.
@needs(os.path.exists("/dev/full"), "Linux's /dev/full")
def test_a_full_disk_behind_standard_output_ends_with_3(tmp_path):
    with open("/dev/full", "w") as full:
        command = [sys.executable, "-m", "wearview.cli", "teardown", "list"]
        command += ["--store", f"sqlite:///{tmp_path}/r.sqlite"]
        run = subprocess.run(command, cwd=ROOT, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert run.returncode == 3
    assert run.stderr.splitlines() == [
        "wearview: standard output: could not be written (no space left on device)."
    ]


def test_a_reader_that_goes_away_is_no_error_message(tmp_path):
    command = [sys.executable, "-m", "wearview.cli", "teardown", "list"]
    command += ["--store", f"sqlite:///{tmp_path}/r.sqlite"]
    read, write = os.pipe()
    os.close(read)
    run = subprocess.run(command, cwd=ROOT, stdout=write, stderr=subprocess.PIPE, text=True, check=False)
    os.close(write)
    assert (run.returncode, run.stderr) == (3, "")


def test_photos_that_share_a_stem_get_names_of_their_own():
    class Shot:
        def __init__(self, stem):
            self.stem = stem

    stems = ["plate", "plate", "plate~2", "other", "plate"]
    assert [name for name, _ in named([Shot(s) for s in stems])] == [
        "plate",
        "plate~2",
        "plate~2~2",
        "other",
        "plate~3",
    ]


def test_kinds_and_positions_are_read_as_typed():
    assert parse_kinds("friction, steel,reaction,band") == [
        "friction plate",
        "steel plate",
        "reaction plate",
        "band",
    ]
    assert parse_places("1,3a,3r") == [Place(1), Place(3, "apply"), Place(3, "reaction")]
    assert parse_kinds(None) is parse_places(None) is None
    with pytest.raises(CallError, match="given twice"):
        parse_places("2,2")
