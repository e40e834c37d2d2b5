"""The report as PDF: the view as plain data, laid out by `templates/report.typ`."""

import contextlib
import json
import re
import tempfile
from collections.abc import Iterable, Iterator
from dataclasses import asdict
from datetime import datetime
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

from wearview.errors import OutputError
from wearview.files import reason
from wearview.record import Verdict
from wearview.report import words
from wearview.report.before import BeforeView
from wearview.report.element import Decided, ElementView, PartView
from wearview.report.found import FoundView, MeasuredView
from wearview.report.packpic import PackPicture
from wearview.report.photos import PhotoView
from wearview.report.pictures import ReportPicture
from wearview.report.templates import templates
from wearview.report.view import ReportView
from wearview.terms import NO_PASS

_FONT = "Libertinus Serif"  # comes inside typst; the system's fonts serve only for scripts that it lacks
# PDF/A-2a, ISO 19005-2: to be kept for years; whole in itself, tagged, every character shown.
_ARCHIVE: Final = "a-2a"
_LONGEST = 24  # characters without a blank from which a word may be broken: a column of a table holds as many
_RUNNING = 60  # characters of a name in the head of a page
_LONG_NOTES = 1500  # characters that a narrow column needs half a page for
_FULL_WIDTH = 720.0  # units of a pack's drawing that fill the width of the paper
_LEVELS = (0, 1, 2, 3, 4, None)

Json = dict[str, Any]


def report_pdf(view: ReportView, pictures: dict[int, ReportPicture]) -> bytes:
    """The PDF, tagged for reading aloud. Equal views give equal bytes.

    Parameters
    ----------
    view : ReportView
    pictures : dict of int to ReportPicture
        By the number of the photo.

    Raises
    ------
    OutputError
        When there is no room for its pictures in the system's folder for temporary files.
    """
    import typst  # 20 MB that commands without a report need not load

    data = json.dumps(_plain(_view(view, pictures)), ensure_ascii=True).encode("ascii")
    made = datetime.fromisoformat(view.moment).replace(microsecond=0)
    # typst takes pictures from files alone, and reads none outside this folder.
    with _own_folder() as folder:
        for name, content in [("view.json", data), *_files(view, pictures)]:
            (Path(folder) / name).write_bytes(content)
        source = str(Path(folder) / "report.typ")
        try:
            pdf = typst.compile(source, root=folder, format="pdf", timestamp=made, pdf_standards=_ARCHIVE)
        except typst.TypstError:  # a name in a script that no font here has, which an archive's PDF must show
            pdf = typst.compile(source, root=folder, format="pdf", timestamp=made)
    assert isinstance(pdf, bytes)
    return pdf


@contextlib.contextmanager
def _own_folder() -> Iterator[str]:
    """A folder for a while; what goes wrong in it is told as an output that could not be written."""
    try:
        with tempfile.TemporaryDirectory(prefix="wearview-pdf-") as folder:
            yield folder
    except OSError as error:
        place = tempfile.gettempdir()
        raise OutputError(place, f"could not be written ({reason(error)})", "Free some space") from error


def _files(view: ReportView, pictures: dict[int, ReportPicture]) -> Iterator[tuple[str, bytes]]:
    """The template and every picture by the names that it uses."""
    yield "report.typ", (files("wearview") / "templates" / "report.typ").read_bytes()
    for number, picture in pictures.items():
        yield f"photo-{number}.jpg", picture.jpeg
    for n, element in enumerate(view.elements):
        if element.picture is not None:
            yield f"pack-{n}.svg", _pack_svg(element)
    for level in _LEVELS:
        yield f"level-{_key(level)}.svg", str(_drawings().swatch_svg(level, whole=True)).encode("ascii")
    if view.shop.logo is not None:
        yield "logo.png", view.shop.logo


def _view(view: ReportView, pictures: dict[int, ReportPicture]) -> Json:
    job = view.teardown.name
    return {
        "title": f"{words.TITLES['report']}: {job}",
        "titles": words.TITLES,
        "paper": view.shop.paper,
        "shop": {
            "name": view.shop.name,
            "lines": view.shop.lines,
            "logo": None if view.shop.logo is None else "logo.png",
            "logo_alt": view.shop.name or "logo of the shop",
        },
        "running": [_short(view.shop.name or words.TITLES["report"]), _short(job)],
        "name": job,
        "facts": view.facts,
        "no_pass": NO_PASS,
        "no_verdict": words.NO_VERDICT,
        "levels": {_key(level): words.swatch_alt(level) for level in _LEVELS},
        "glance_heads": words.GLANCE_HEADS,
        "nothing": words.NOTHING,
        "legend": {
            "heads": words.LEGEND_HEADS,
            "rows": [
                [_key(level), str(level), *names]
                for level, names in enumerate(zip(view.lining_levels, view.steel_levels, strict=True))
            ],
            "unknown": words.UNKNOWN_LEVEL,
            "about": words.ABOUT_LEVELS,
        },
        "elements": [_element(element, n, pictures) for n, element in enumerate(view.elements)],
        "part_heads": words.PART_HEADS,
        "before_heads": words.BEFORE_HEADS,
        "found_heads": words.FOUND_HEADS,
        "found": [_found(found) for found in view.found],
        "left": words.left_words(view.left),
        "found_across": min(2, len(view.found_photos)),
        "found_photos": [_photo(photo, pictures[photo.number]) for photo in view.found_photos],
        "measured_heads": words.MEASURED_HEADS,
        "measured": [_measured(one) for one in view.measured],
        "measured_across": min(2, len(view.measured_photos)),
        "measured_photos": [_photo(photo, pictures[photo.number]) for photo in view.measured_photos],
        "about_limits": words.ABOUT_LIMITS,
        "cautions": view.cautions,
        "evidence": {
            "heads": words.PHOTO_HEADS,
            "photos": [[str(p.number), p.file, p.colour_from, p.sha256] for p in view.photos],
            "versions": [
                *({"said": said, "hashes": hashes} for said, hashes in view.versions),
                {"said": view.written_by, "hashes": ()},
            ],
        },
    }


def _element(element: ElementView, n: int, pictures: dict[int, ReportPicture]) -> Json:
    pack = element.pack or {"explanation": (), "advice": ()}
    glance = element.glance
    return {
        "name": element.name,
        "news": element.news,
        "glance": {"level": _key(glance.level), "words": glance.words, "asides": glance.asides},
        "decided": [_decided(item) for item in element.decided],
        "long": sum(len(note) for item in element.decided for note in item.notes) > _LONG_NOTES,
        "expected": element.expected,
        "whole": _history(element.pack_verdicts),
        "picture": None if element.picture is None else _picture(element.picture, element.name, n),
        "shows": pack["explanation"],
        "checks": pack["advice"],
        "across": min(2, len(element.photos)),
        "photos": [_photo(photo, pictures[photo.number]) for photo in element.photos],
        "compared": element.compared,
        "parts": [_part(part, element.pack_verdicts) for part in element.parts],
        "before": None if element.before is None else _before(element.before),
        "linings": element.linings,
        "named": [
            {"name": name, "verdicts": _history(given)} for name, given in element.named_verdicts.items()
        ],
        "earlier": [
            {"place": words.earlier_place(given), "verdict": _verdict(given)}
            for given in element.verdicts_on_earlier_photos
        ],
    }


def _measured(one: MeasuredView) -> Json:
    told = {name: value for name, value in asdict(one).items() if name != "photos"}
    return told | {"photos": one.pictured.removeprefix(", ")}


def _before(before: BeforeView) -> Json:
    rows = [
        asdict(row) | {"then_level": _key(row.then_level), "now_level": _key(row.now_level)}
        for row in before.rows
    ]
    return {"title": before.title, "said": before.said, "rows": rows}


def _found(found: FoundView) -> Json:
    return {
        "item": found.item,
        "state": found.state,
        "photos": found.pictured,
        "note": found.note,
        "signature": found.signature,
    }


def _picture(picture: PackPicture, element: str, n: int) -> Json:
    return {
        "file": f"pack-{n}.svg",
        "alt": words.picture_alt(element),
        "share": min(1.0, picture.width / _FULL_WIDTH),
        "caption": words.picture_caption(picture),
    }


def _photo(photo: PhotoView, picture: ReportPicture) -> Json:
    return {
        "image": f"photo-{photo.number}.jpg",
        "shape": picture.width / picture.height,
        "alt": photo.alt,
        "title": f"Photo {photo.number}",
        "places": f": {photo.shows}" if photo.shows else "",
        "about": photo.about,
        "problems": photo.said_of_problems,
    }


def _part(part: PartView, whole: tuple[Verdict, ...]) -> Json:
    return {
        "label": part.label,
        "kind": part.kind,
        "photo": f"photo {part.photo_number}",
        "reference": part.reference,
        "level": _key(part.level),
        "words": words.level_words(part.level, part.name),
        "aside": words.CLEANEST_ONLY if part.relative else None,
        "seen": part.seen,
        "further": part.further,
        "doubts": part.doubts,
        "verdicts": _history(part.verdicts, whole),
    }


def _decided(item: Decided) -> Json:
    reason = f" ({words.REASONS[item.reason]})" if item.reason else ""
    return {"done": words.DONE[item.decision], "what": item.what + reason, "notes": item.notes}


def _history(given: tuple[Verdict, ...], whole: tuple[Verdict, ...] = ()) -> Json:
    return {
        "now": _verdict(given[-1]) if given else None,
        "before": [_verdict(earlier) for earlier in given[:-1]],
        "none_given": words.no_own_verdict(whole),
        "long": sum(len(verdict.note or "") for verdict in given) > _LONG_NOTES,
    }


def _verdict(verdict: Verdict) -> Json:
    return {
        "decision": words.DECISIONS[verdict.decision],
        "grounds": words.verdict_grounds(verdict),
        "note": verdict.note,
        "signature": words.verdict_signature(verdict),
    }


def _pack_svg(element: ElementView) -> bytes:
    drawn = _drawings().pack_svg(element.picture, element.name, _FONT, whole=True)
    return str(drawn).encode("utf-8", "replace")


def _drawings() -> Any:
    return templates().get_template("drawings.svg").module


def _key(level: int | None) -> str:
    return "unknown" if level is None else str(level)


def _short(name: str) -> str:
    return name if len(name) <= _RUNNING else f"{name[: _RUNNING - 1]}…"


def _plain(value: Any) -> Any:
    """The same data with every text as Unicode that can be written, and long words breakable."""
    if isinstance(value, str):
        return _breakable(value.encode("utf-8", "backslashreplace").decode("utf-8"))
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, Iterable):
        return [_plain(item) for item in value]
    return value


def _breakable(text: str) -> str:
    """Long words with a zero-width space every few characters; a hash in hexadecimal stays whole."""
    return re.sub(rf"\S{{{_LONGEST + 1},}}", lambda word: _broken(word[0]), text)


def _broken(word: str) -> str:
    if re.fullmatch(r"[0-9a-f]{64}", word):
        return word
    return "\u200b".join(re.findall(rf".{{1,{_LONGEST // 2}}}", word, re.DOTALL))
