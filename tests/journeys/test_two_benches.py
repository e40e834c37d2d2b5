"""Two benches that share a PostgreSQL record and its photo folder, and two phones at one teardown."""

import json

import pytest

from tests.chromium import needed
from tests.databases import new_database
from tests.journeys.test_network import HERE, NAME, PHOTO, call, open_tray, site  # noqa: F401  (a fixture)
from tests.served import browser, served
from wearview import store as record
from wearview.ui import gate, tray
from wearview.ui.gate import Ticket

STORED = "document.body.innerText.includes('Graded and stored: 1 photo')"


@needed()
def test_photos_given_on_one_bench_are_seen_graded_on_another_and_the_pack_is_stored_once(
    postgres_server, made_database, tmp_path, monkeypatch
):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    (tmp_path / "a.jpg").write_bytes(PHOTO)
    (tmp_path / "b.jpg").write_bytes(b"words")
    with new_database(postgres_server, made_database) as database:
        url = f"{database}?photos={tmp_path / 'shared'}"
        store = record.open_store(url)
        record.new_teardown(store, NAME.teardown)
        record.add_element(store, NAME.teardown, NAME.element)
        with (
            served(tmp_path, url) as (first, _),
            served(tmp_path, url) as (second, _),
            browser(tmp_path, "one", "about:blank", 1440) as one,
            browser(tmp_path, "two", "about:blank", 360) as two,
        ):
            for tab, address in ((one, first), (two, second)):
                tab.ask("Page.navigate", url=f"{address}/photos?teardown=Job+7&element=Forward")
                tab.wait_until_drawn("Clean reference")
            one.upload("[class*=st-key-photos] input", [tmp_path / "a.jpg"])
            two.wait_for("document.body.innerText.includes('1. a.jpg')")
            two.wait_for("document.querySelectorAll('img.wv-small').length === 1", 120)  # as graded here
            two.upload("[class*=st-key-photos] input", [tmp_path / "b.jpg"])
            one.wait_for("document.body.innerText.includes('b.jpg: not an image we can read')", 120)
            # Where the other bench was not quicker it is asked for here.
            one.wait_for(f"(document.querySelector('.st-key-grade button')?.click(), {STORED})", 120)
            two.wait_for(STORED, 120)
        [element] = record.get_teardown(store, NAME.teardown).elements
        assert len({grading.document_sha256 for grading in element.gradings}) == 1
        assert not (tmp_path / "trays").exists()  # beside the shared folder nobody but this bench may look
        assert record.check_record(store).unnamed == 1  # the words that were no photo
        store.engine.dispose()


def test_two_phones_at_one_teardown_see_each_others_photos(site, tmp_path):  # noqa: F811
    open_tray(tmp_path)
    url = f"sqlite:///{tmp_path}/record.sqlite"
    one, two = (gate.the_gate().new_ticket(Ticket(NAME, url)) for _ in range(2))
    for code, name, data in ((one, "a.jpg", b"no photo"), (two, "b.jpg", b"none either")):
        assert call(site, "POST", f"/take/{code}/photo?name={name}", body=data)[0] == 200
    for code in (one, two):
        told = json.loads(call(site, "GET", f"/take/{code}/state")[2])
        assert [photo["name"] for photo in told["photos"]] == ["a.jpg", "b.jpg"]


@pytest.fixture
def store(tmp_path):
    return record.open_store(f"sqlite:///{tmp_path}/record.sqlite")


def test_what_two_programs_said_is_read_in_the_order_in_which_each_could_see_it(store, tmp_path):
    photo = tray.add_photo(store, NAME, "a.jpg", b"a")
    [journal] = (tmp_path / "trays").iterdir()
    other = journal.with_name(f"{journal.name.split('.')[0]}.{'0' * 12}.jsonl")
    # Another program, whose name sorts first, had seen the photo and left it out; it is given again here.
    other.write_text(json.dumps({"n": 2, "what": "out", "said": {"sha256": photo.sha256}}) + "\n", "ascii")
    assert tray.read_tray(store, NAME).photos == ()
    tray.add_photo(store, NAME, "a.jpg", b"a")
    assert [given.name for given in tray.read_tray(store, NAME).photos] == ["a.jpg"]


def test_a_journal_from_before_there_were_several_is_read_and_added_to(store, tmp_path):
    photo = tray.add_photo(store, NAME, "a.jpg", b"a")
    [journal] = (tmp_path / "trays").iterdir()
    lines = [json.loads(line) for line in journal.read_text("ascii").split("\n") if line]
    old = "\n".join(json.dumps({"what": line["what"], "said": line["said"]}) for line in lines)
    journal.rename(journal.with_name(f"{journal.name.split('.')[0]}.jsonl")).write_text(old + "\n", "ascii")
    assert tray.read_tray(store, NAME).photos == (photo,)
    tray.leave_out(store, NAME, photo.sha256)
    assert tray.read_tray(store, NAME).photos == ()
    assert len(list((tmp_path / "trays").iterdir())) == 2
