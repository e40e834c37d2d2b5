"""`wearview demo`: the main job on the demo photos, in a folder of its own.

The teardown is described by `demo_images/teardown.toml`: `[teardown]` with name, unit, serial, customer and
wish; one `[[element]]` each with name, duty, and where needed reference, apply_end, from and kinds as
on the command line; under it one `[[element.photo]]` each with file and the positions a person says its parts
hold, and one `[[element.verdict]]` each with position (or "pack", or a name), decision, heat, reason, by and
note. What the file says of painted levels is for people to compare with and is never read.
"""

import argparse
import os
import re
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from wearview import store as record
from wearview.cli.grade import show_progress, tell_unread, workers
from wearview.cli.keep import keep
from wearview.cli.pictures import write_overlays
from wearview.cli.tables import element_text, grade_text, news_text, printable, verdict_text
from wearview.demo import demo_folder, demo_job
from wearview.errors import CallError, OutputError
from wearview.files import make_folder, reason, write_whole
from wearview.pipeline import grade_photos
from wearview.record import (
    Document,
    Duty,
    Graded,
    Teardown,
    build_document,
    combine,
    differences,
    parse_kinds,
    parse_places,
    part_lines,
    to_json,
)
from wearview.report import Shop, write_report
from wearview.settings import Settings, load_settings

RECORD = "demo-record.sqlite"  # also marks a folder as one that a demo made


def demo(args: argparse.Namespace) -> int:
    """Grade the demo photos and write overlays, documents and report; 1 when one could not be read."""
    folder = demo_folder()
    job = demo_job(folder)
    out = Path(args.out)
    _clear(out)
    settings = load_settings()
    store = record.open_store(f"sqlite:///{out / RECORD}")
    name = job["teardown"]["name"]
    facts = {"unit": "unit", "serial": "serial", "customer_ref": "customer", "wish": "wish"}
    record.new_teardown(store, name, **{k: job["teardown"].get(v) for k, v in facts.items()})
    documents: list[tuple[str, Document]] = []
    unread = False
    for element in job["element"]:
        print(f"{element['name']}:", file=sys.stderr)
        record.add_element(store, name, element["name"], duty=Duty(**element.get("duty", {})))
        graded = _grade(folder, element, settings)
        tell_unread(graded)
        _tell_miscounted(element, graded)
        unread = unread or bool(graded.unread)
        document = keep(store, name, element["name"], graded, build_document(graded, settings))
        documents.append((element["name"], document))
        slug = _slug(element["name"])
        write_overlays(out / "overlays" / slug, graded)
        write_whole(out / "elements" / f"{slug}.json", to_json(document).encode("ascii"))
        for verdict in element.get("verdict", []):
            record.add_verdict(store, name, element["name"], str(verdict["position"]), **_given(verdict))
    write_whole(out / "document.json", to_json(combine(documents)).encode("ascii"))
    teardown = record.get_teardown(store, name)
    written = write_report(
        teardown,
        lambda sha256: record.photo_bytes(store, sha256),
        out,
        shop=Shop(job["teardown"]["shop"]),
        progress=lambda line: print(line, file=sys.stderr, flush=True),
    )
    print(_told(teardown))
    for what, path in (("overlays", out / "overlays"), ("document", out / "document.json")):
        print(f"{what}: {printable(str(path))}")
    print("\n".join(f"report: {printable(str(path))}" for path in written))
    return 1 if unread else 0


def _clear(out: Path) -> None:
    """Make the folder ready: new, empty, or an earlier demo's with what that demo wrote taken away."""
    make_folder(out)
    if (out / RECORD).is_file():
        try:
            for name in ("overlays", "elements", "photos"):
                shutil.rmtree(out / name, ignore_errors=True)
            for path in out.glob(f"{RECORD}*"):
                path.unlink()
        except OSError as error:
            raise OutputError(
                str(out), f"could not be cleared ({reason(error)})", "Give --out a new folder"
            ) from error
    elif any(out.iterdir()):
        raise CallError(str(out), "is not empty and no earlier demo's folder", "Give --out a new folder")


def _grade(folder: Path, element: dict[str, Any], settings: Settings) -> Graded:
    return grade_photos(
        [_as_typed(folder / photo["file"]) for photo in element["photo"]],
        settings,
        reference=_as_typed(folder / element["reference"]) if "reference" in element else None,
        apply_end=element.get("apply_end"),
        first=element.get("from", "apply"),
        kinds=parse_kinds(",".join(element["kinds"]) if "kinds" in element else None),
        places=parse_places(",".join(_stated(element)) or None),
        workers=workers(),
        progress=show_progress,
    )


def _stated(element: dict[str, Any]) -> list[str]:
    """The positions of an element's parts in the order of its photos."""
    return [str(position) for photo in element["photo"] for position in photo.get("positions", ())]


def _tell_miscounted(element: dict[str, Any], graded: Graded) -> None:
    """Say which photos show more or fewer parts than a person laid out there, since positions then slip."""
    stated = {photo["file"]: len(photo.get("positions", ())) for photo in element["photo"]}
    for photo in graded.photos:
        laid = stated[Path(photo.file).name]
        if len(photo.parts) != laid:
            found = f"{len(photo.parts)} found where {laid} were laid out"
            print(f"wearview: {printable(photo.file)}: {found}.", file=sys.stderr)


def _as_typed(path: Path) -> str:
    """The path as a person standing here would type it."""
    here = Path.cwd()
    return os.path.relpath(path, here) if path.is_relative_to(here) else str(path)


def _given(verdict: dict[str, Any]) -> dict[str, Any]:
    return {name: verdict.get(name) for name in ("decision", "heat", "reason", "by", "note")}


def _slug(name: str) -> str:
    return re.sub(r"[^\w]+", "-", name.lower()).strip("-") or "element"


def _told(teardown: Teardown) -> str:
    """Heat where none is expected, a table per element, then the verdicts that differ from their grade."""
    paragraphs = [news] if (news := news_text(teardown)) else []
    paragraphs += [element_text(element, part_lines(element)) for element in teardown.elements]
    if differing := list(_differing(teardown)):
        paragraphs.append("\n".join(["Verdicts that differ from the grade (both stand):", *differing]))
    return "\n\n\n".join(paragraphs) + "\n"


def _differing(teardown: Teardown) -> Iterator[str]:
    for element in teardown.elements:
        for line in part_lines(element):
            if line.verdict and any(differences(line)):
                place = f"{printable(element.name)}, position {line.label}"
                yield f"  {place}: grade {grade_text(line)}; verdict {verdict_text(line.verdict)}"
