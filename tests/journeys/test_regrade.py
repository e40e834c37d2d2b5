"""An archive in an object store is graded anew by several processes into PostgreSQL; one is killed."""

import json
import os
import signal
import uuid
import warnings
from pathlib import Path

import cv2
import pytest

from tests.needs import needs
from wearview import __version__
from wearview.cli import main
from wearview.record import validate
from wearview.shop import shop_settings
from wearview.store.regraded import By, Regraded, add_results, done_packs, open_results, results

ROOT = Path(__file__).parents[2]
PACKS = 3


def by():
    rules = shop_settings().rules
    return By(rules.id, rules.sha256, __version__)


def small(name):
    """A demo photo small enough to be graded quickly."""
    bgr8 = cv2.resize(cv2.imread(str(ROOT / "demo_images" / name)), None, fx=0.4, fy=0.4)
    return cv2.imencode(".jpg", bgr8)[1].tobytes()


def test_a_document_stays_and_a_problem_gives_way(empty_url):
    store = open_results(empty_url)
    assert add_results(store, by(), [Regraded("a", "{}", None), Regraded("b", None, "away")]) == 2
    assert done_packs(store, by()) == {"a"}
    assert add_results(store, by(), [Regraded("a", "other", None), Regraded("b", "{}", None)]) == 1
    assert list(results(store, by())) == [Regraded("a", "{}", None), Regraded("b", "{}", None)]
    other = By("rules-2", "0" * 64, __version__)
    assert done_packs(store, other) == set()
    assert add_results(open_results(empty_url), other, [Regraded("a", "{}", None)]) == 1


@pytest.fixture
def bucket(monkeypatch):
    """An archive of packs in an object store, by its address."""
    import fsspec
    from moto.server import ThreadedMotoServer

    server = ThreadedMotoServer(ip_address="127.0.0.1", port=0)
    server.start()
    host, port = server.get_host_and_port()
    for name, value in (("KEY", "k"), ("SECRET", "s"), ("ENDPOINT_URL", f"http://{host}:{port}")):
        monkeypatch.setenv(f"FSSPEC_S3_{name}", value)
        monkeypatch.setitem(fsspec.config.conf.setdefault("s3", {}), name.lower(), value)
    files = fsspec.filesystem("s3", skip_instance_cache=True)
    address = f"shop-{uuid.uuid4().hex}"
    files.mkdir(address)
    plate, clean = small("direct-pack-3.jpg"), small("reference-tan.jpg")
    for number in range(PACKS):
        # Bytes after a JPEG's end change nothing but its hash.
        files.pipe_file(f"{address}/jobs/pack-{number}/1.jpg", plate + bytes([number]))
        files.pipe_file(f"{address}/jobs/pack-{number}/reference.jpg", clean)
    files.pipe_file(f"{address}/jobs/spoilt/1.jpg", b"no photo")
    files.pipe_file(f"{address}/jobs/spoilt/reference.jpg", b"nor this")
    yield f"s3://{address}"
    server.stop()


@needs(os.name == "posix", "processes that can be killed, as POSIX has")
@pytest.mark.filterwarnings("ignore")  # of the object store's client and server, none of ours
def test_a_killed_worker_loses_nothing_and_nothing_is_graded_twice(postgres_server, bucket, capsys):
    from tests.databases import new_database
    from wearview.regrade import Done, regrade, workers

    with new_database(postgres_server) as url, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        killed = []

        def kill_one(stored):
            if not killed:
                killed.append(min(client.run(os.getpid).values()))
                os.kill(killed[0], signal.SIGKILL)

        with workers(2) as client:
            done = regrade(bucket, url, client, batch=1, progress=kill_one)
            assert done == Done(before=0, stored=PACKS + 1, problems=1)
            assert len(killed) == 1
            again = regrade(bucket, url, client)
        assert again == Done(before=PACKS, stored=1, problems=1)  # what has a problem is tried again
        found = {pack.pack: pack for pack in results(open_results(url), by())}
    assert set(found) == {"jobs/spoilt", *(f"jobs/pack-{n}" for n in range(PACKS))}
    assert "reference" in found.pop("jobs/spoilt").problem
    documents = [json.loads(pack.document) for pack in found.values()]
    for document in documents:
        validate(document)
    # One plate in every pack: one reading, whoever took it.
    assert len({json.dumps(d["photos"][0]["parts"][0]["discoloration"]) for d in documents}) == 1
    assert len({d["photos"][0]["sha256"] for d in documents}) == PACKS


def test_an_archive_that_is_not_there_is_refused_in_one_line(tmp_path, capsys):
    into = f"sqlite:///{tmp_path}/results.sqlite"
    assert main(["regrade", str(tmp_path / "none"), "--into", into, "--workers", "1"]) == 2
    assert "is no folder of photos" in capsys.readouterr().err
