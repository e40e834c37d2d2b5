"""`wearview grade`: photos in, a table or a document out, and the record where one is named."""

import argparse
import os
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from wearview.cli.outputs import write_text
from wearview.cli.tables import pack_text, printable
from wearview.errors import CallError
from wearview.library import find_lining, own_linings
from wearview.parts import Corrections
from wearview.pipeline import grade_photos
from wearview.record import (
    Document,
    Element,
    Graded,
    Grading,
    build_document,
    in_shots,
    parse_kinds,
    parse_places,
    part_lines,
    to_json,
    validate,
)
from wearview.shop import shop_settings


def grade(args: argparse.Namespace) -> int:
    """Grade the photos of one pack; 1 when some photo could not be read, else 0."""
    kinds, places = parse_kinds(args.kinds), parse_places(args.positions)
    _check_targets(args)
    keep = _keeper(args)
    settings = replace(shop_settings(args.rules), chart=args.chart)
    lining = None if args.lining is None else find_lining(args.lining, settings)
    outlines = {} if args.outlines is None else _outlines(args)
    graded = grade_photos(
        args.photos,
        settings,
        reference=args.reference,
        lining=lining,
        own=own_linings(),
        seconds=[args.second_light],
        apply_end=args.apply_end,
        first=args.first,
        kinds=kinds,
        places=places,
        shows=in_shots(len(args.photos), args.shots),
        corrections=outlines,
        workers=workers(),
        progress=show_progress,
    )
    document = build_document(graded, settings)
    if keep is not None:
        document = keep(graded, document)
    else:
        validate(document)
    if args.masks or args.overlays:
        _write_pictures(args, graded)
    if args.json:
        write_text(args.json, to_json(document))
    if args.json != "-" and document["photos"]:
        print(document_text(args.element or "Graded", document))
    tell_unread(graded)
    return 1 if graded.unread else 0


def workers() -> int:
    """How many photos a command looks at ahead; with more, Python's own lock lets them gain little."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return min(2, cores)


def document_text(title: str, document: Document) -> str:
    """The table and sentences of a document that need not be in a record."""
    alone = Element(title, None, (Grading(document, "", "", {}),), ())
    return pack_text(title, document, part_lines(alone))


def tell_unread(graded: Graded) -> None:
    """Say on standard error which photos could not be read or were given twice."""
    for error in graded.unread:
        print(f"wearview: {error}", file=sys.stderr)
    for file in graded.repeated:
        print(
            f"wearview: {printable(file)}: the same photo was given twice and graded once.", file=sys.stderr
        )


def show_progress(done: int, total: int, text: str) -> None:
    """One line on standard error for each photo, where there are several."""
    if total > 1 and text:
        print(f"[{done + 1}/{total}] {printable(text)}", file=sys.stderr, flush=True)


def _check_targets(args: argparse.Namespace) -> None:
    if (args.teardown is None) != (args.element is None):
        raise CallError("--teardown and --element", "belong together", "Give both or neither")
    if args.second_light is not None and len(args.photos) > 1:
        raise CallError("--second-light", "belongs to one photo", "Grade that photo by itself")
    inputs = {
        Path(name).absolute() for name in (*args.photos, args.reference or ".", args.second_light or ".")
    }
    if args.json and args.json != "-" and Path(args.json).absolute() in inputs:
        raise CallError(args.json, "is one of the photos", "Give --json another file")


# What only some calls need is loaded by these: the record's library alone takes as long as grading a photo.


def _keeper(args: argparse.Namespace) -> Callable[[Graded, Document], Document] | None:
    if args.teardown is None:
        return None
    from wearview.cli.keep import keeper

    return keeper(args)


def _outlines(args: argparse.Namespace) -> dict[str, Corrections]:
    from wearview.outlines import read_outlines

    return read_outlines(args.outlines, args.photos)


def _write_pictures(args: argparse.Namespace, graded: Graded) -> None:
    from wearview.cli.pictures import write_masks, write_overlays

    if args.masks:
        write_masks(Path(args.masks), graded)
    if args.overlays:
        write_overlays(Path(args.overlays), graded)
