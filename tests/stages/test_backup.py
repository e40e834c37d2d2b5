"""A backup holds the whole record, is checked when made and when used, and moves between databases."""

import json
import zipfile

import pytest

from tests import documents
from tests.databases import new_database, url_of
from wearview import store as record
from wearview.errors import CallError, OutputError
from wearview.store.photos import photo_path
from wearview.store.steps import NEWEST
from wearview.ui.tray import ElementName, add_photo, read_tray


@pytest.fixture
def kept(store):
    """A record of two jobs, one closed, with photos, verdicts and a customer."""
    document, photos = documents.hot_pack()
    for name in ("Job 7", "Job 8"):
        record.new_teardown(store, name, serial="S1", customer_ref="blue van", blind=False)
        files = [record.GradedPhoto(data, b"overlay of " + data[:9]) for data in photos.values()]
        record.add_grading(store, name, "Forward", document, files)
        record.add_verdict(store, name, "Forward", "1", "reuse", by="Kim", note="Ä, \U0001f600")
    documents.add_beside(store, "Job 7")
    record.close_teardown(store, "Job 7")
    record.correct_customer(store, "blue van", name="A. N. Other")
    record.keep_report(store, "Job 7", {"report.html": b"<p>as it was</p>"})
    return store


@pytest.fixture(params=["sqlite", "postgresql"])
def elsewhere(request, tmp_path, monkeypatch):
    """URL of an empty database of either kind, its photos in a folder of its own."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path}/new/record.sqlite"
    else:
        with new_database(request.getfixturevalue("postgres_server")) as url:
            monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "elsewhere"))
            yield url


def seen(store):
    """Everything that a person can see of a record."""
    return [
        (
            line,
            (teardown := record.get_teardown(store, line.name)).elements[0].verdicts,
            (teardown.checklist, teardown.inspections, teardown.measured),
            record.handovers(store, line.name),
            record.counted(store).sums,
        )
        for line in record.list_teardowns(store)
    ]


def test_a_backup_makes_the_record_again_on_either_database(kept, elsewhere, tmp_path):
    file = tmp_path / "shop.zip"
    record.write_backup(kept, file)
    again = record.restore(elsewhere, file)
    assert seen(again) == seen(kept)
    assert record.get_customer(again, "blue van") == record.get_customer(kept, "blue van")
    checked = record.check_record(again)
    assert checked.findings == ()
    assert (checked.rows, checked.files) == (record.check_record(kept).rows, record.check_record(kept).files)
    element = record.get_teardown(again, "Job 8").elements[0]
    for sha256, original in documents.hot_pack()[1].items():
        assert record.photo_bytes(again, sha256) == original
        assert element.latest.overlays[sha256]


def test_a_restored_record_goes_on_growing(kept, elsewhere, tmp_path):
    record.write_backup(kept, tmp_path / "shop.zip")
    again = record.restore(elsewhere, tmp_path / "shop.zip")
    record.new_teardown(again, "Job 9")
    record.add_verdict(again, "Job 8", "Forward", "2", "replace")
    assert record.check_record(again).findings == ()
    assert record.get_teardown(record.open_store(elsewhere), "Job 9").name == "Job 9"


def test_a_backup_is_restored_only_where_there_is_no_record(kept, tmp_path):
    record.write_backup(kept, tmp_path / "shop.zip")
    before = seen(kept)
    with pytest.raises(CallError, match="holds a record"):
        record.restore(url_of(kept), tmp_path / "shop.zip")
    assert seen(kept) == before


@pytest.mark.parametrize("store", ["sqlite"], indirect=True)
def test_an_empty_record_may_be_restored_into(kept, tmp_path):
    record.write_backup(kept, tmp_path / "shop.zip")
    url = f"sqlite:///{tmp_path}/new/record.sqlite"
    record.open_store(url)
    assert seen(record.restore(url, tmp_path / "shop.zip")) == seen(kept)


def altered(file, target, name, change):
    """A copy of a backup with one member changed, or left out where `change` gives None."""
    with zipfile.ZipFile(file) as source, zipfile.ZipFile(target, "w") as out:
        for info in source.infolist():
            data = source.read(info)
            if info.filename.startswith(name) and (data := change(data)) is None:
                continue
            out.writestr(info.filename, data)
    return target


@pytest.mark.parametrize("store", ["sqlite"], indirect=True)
@pytest.mark.parametrize(
    ("name", "change", "says"),
    [
        ("record/verdict", lambda data: data.replace(b"reuse", b"leave"), "rows of verdict were altered"),
        ("record/verdict", lambda data: None, "is not whole"),
        ("photos/", lambda data: data + b"x", "was altered"),
        ("photos/", lambda data: None, "is not whole"),
        ("manifest", lambda data: None, "is no backup"),
        (
            "manifest",
            lambda data: json.dumps(json.loads(data) | {"record_version": NEWEST + 1}).encode(),
            "newer wearview",
        ),
    ],
)
def test_a_damaged_backup_is_refused_before_anything_is_written(kept, tmp_path, name, change, says):
    record.write_backup(kept, tmp_path / "shop.zip")
    spoilt = altered(tmp_path / "shop.zip", tmp_path / "spoilt.zip", name, change)
    with pytest.raises((CallError, OutputError), match=says):
        record.restore(f"sqlite:///{tmp_path}/new/record.sqlite", spoilt)
    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize("store", ["sqlite"], indirect=True)
def test_a_backup_cut_short_is_refused(kept, tmp_path):
    record.write_backup(kept, tmp_path / "shop.zip")
    data = (tmp_path / "shop.zip").read_bytes()
    (tmp_path / "short.zip").write_bytes(data[: len(data) * 2 // 3])
    with pytest.raises(CallError, match="is no backup"):
        record.restore(f"sqlite:///{tmp_path}/new/record.sqlite", tmp_path / "short.zip")


@pytest.mark.parametrize("store", ["sqlite"], indirect=True)
def test_a_backup_takes_the_place_of_another_backup_and_of_nothing_else(kept, tmp_path):
    record.write_backup(kept, tmp_path / "shop.zip")
    record.new_teardown(kept, "Job 9")
    assert record.write_backup(kept, tmp_path / "shop.zip")["tables"]["teardown"]["rows"] == 3
    with pytest.raises(CallError, match="is there and is no backup"):
        record.write_backup(kept, kept.file)
    assert len(record.list_teardowns(kept)) == 3


@pytest.mark.parametrize("store", ["sqlite"], indirect=True)
def test_a_record_with_a_lost_photo_is_backed_up_all_the_same_and_the_loss_found(kept, tmp_path):
    lost = photo_path(kept, next(iter(documents.hot_pack()[1])))
    lost.unlink()
    record.write_backup(kept, tmp_path / "shop.zip")
    again = record.restore(f"sqlite:///{tmp_path}/new/record.sqlite", tmp_path / "shop.zip")
    [found] = record.check_record(again).findings
    assert (found.where.rpartition("/")[2], found.problem) == (lost.name, "this kept photo is missing")


@pytest.mark.parametrize("store", ["sqlite"], indirect=True)
def test_a_restore_that_fails_half_way_leaves_a_database_that_can_be_restored_into(
    kept, tmp_path, monkeypatch
):
    record.write_backup(kept, tmp_path / "shop.zip")
    url = f"sqlite:///{tmp_path}/new/record.sqlite"

    def broken(*_):
        raise OutputError("disk", "is full")

    with monkeypatch.context() as patch:
        patch.setattr("wearview.store.backup.insert", broken)
        with pytest.raises(OutputError, match="is full"):
            record.restore(url, tmp_path / "shop.zip")
    assert seen(record.restore(url, tmp_path / "shop.zip")) == seen(kept)


@pytest.mark.parametrize("store", ["sqlite"], indirect=True)
def test_a_backup_brings_back_the_shops_rules_and_overwrites_none(kept, tmp_path, monkeypatch):
    own = tmp_path / "data" / "wearview"
    (own / "rules").mkdir(parents=True)
    (own / "rules" / "rules-2.toml").write_text("# accepted")
    (own / "linings").mkdir()
    (own / "linings" / "tan-1.toml").write_text("# measured")
    (own / "shop").mkdir()
    (own / "shop" / "shop.toml").write_text('name = "Harrow Lane"')
    record.write_backup(kept, tmp_path / "shop.zip")
    new = tmp_path / "new" / "wearview"
    (new / "shop").mkdir(parents=True)
    (new / "shop" / "shop.toml").write_text('name = "Mill Road"')
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "new"))
    record.restore(f"sqlite:///{tmp_path}/new/record.sqlite", tmp_path / "shop.zip")
    assert (new / "rules" / "rules-2.toml").read_text() == "# accepted"
    assert (new / "linings" / "tan-1.toml").read_text() == "# measured"
    assert (new / "shop" / "shop.toml").read_text() == 'name = "Mill Road"'


def test_a_backup_brings_back_photos_given_on_the_page_and_not_yet_graded(kept, elsewhere, tmp_path):
    place = ElementName("Job 7", "Low")
    given = add_photo(kept, place, "low-1.jpg", documents.jpeg(77))
    record.write_backup(kept, tmp_path / "shop.zip")
    again = record.restore(elsewhere, tmp_path / "shop.zip")
    assert [photo.sha256 for photo in read_tray(again, place).photos] == [given.sha256]
    assert record.photo_bytes(again, given.sha256) == documents.jpeg(77)


def test_benches_that_share_a_database_share_the_folder_that_its_url_names(store, tmp_path):
    shared = f"{url_of(store)}?photos={tmp_path}/share"
    document, photos = documents.hot_pack()
    first, second = record.open_store(shared), record.open_store(shared)
    record.new_teardown(first, "Job 7")
    record.add_grading(first, "Job 7", "Forward", document, [record.GradedPhoto(p) for p in photos.values()])
    for sha256, original in photos.items():
        assert record.photo_bytes(second, sha256) == original
    assert len(list((tmp_path / "share").glob("*/*"))) == 2
    with pytest.raises(CallError, match="names no one folder"):
        record.open_store(f"{url_of(store)}?photos=a&photos=b")
