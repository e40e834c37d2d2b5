"""`wearview lining`: the shop's own clean linings."""

import argparse
import math
import sys
from dataclasses import asdict, replace
from typing import Any

from wearview import library
from wearview.cli.outputs import write_json
from wearview.cli.tables import printable, table
from wearview.library import StoredLining
from wearview.shop import shop_settings
from wearview.terms import how_many

DARK = "nearly black: colour cannot show heat on it, only glaze and the steels beside it do"
_REFINED = "Its clean colour is the mean of its photos, those in surer light weighing more."


def add(args: argparse.Namespace) -> int:
    """Measure photos of clean plates and keep them as the next version of a lining."""
    library.check_name(args.name)
    settings = replace(shop_settings(), chart=args.chart)
    photos = [library.measure_clean(file, settings) for file in dict.fromkeys(args.photos)]
    kept, again = library.add(args.name, photos, args.wet)
    for photo in again:
        print(
            f"wearview: {printable(photo.file)}: is in {args.name} already, not counted again.",
            file=sys.stderr,
        )
    for doubt in library.doubts(photos):
        print(f"wearview: {printable(doubt)}.", file=sys.stderr)
    print(lining_text(kept, settings.rules.too_dark_below))
    if len(kept.photos) > 1:
        print(_REFINED)
    return 0


def list_all(args: argparse.Namespace) -> int:
    """List the linings in use."""
    dark = shop_settings().rules.too_dark_below
    kept = list(library.read_library().values())
    if args.json:
        write_json(args.json, [as_json(lining, dark) for lining in kept])
    if args.json != "-":
        header = ("lining", "version", "clean L* a* b*", "spread", "light", "plates", "", "")
        print(table(header, [_row(lining, dark) for lining in kept]) or "no lining in use")
        if gone := library.out_of_use():
            print(f"out of use: {', '.join(gone)} (wearview lining put-back NAME uses one again)")
    return 0


def show(args: argparse.Namespace) -> int:
    """Show a lining with its photos and its earlier versions, removed or not."""
    dark = shop_settings().rules.too_dark_below
    versions = library.history(args.name)
    newest = versions[-1]
    if args.json:
        told = as_json(newest, dark) | {"versions": [_version(v) for v in versions]}
        write_json(args.json, told)
    if args.json != "-":
        rows = [
            [
                printable(p.file),
                p.taken_at or "",
                p.light,
                f"{p.light_uncertainty:.1f}",
                str(len(p.plates)),
                p.sha256[:12],
            ]
            for p in newest.photos
        ]
        print(lining_text(newest, dark))
        print("\n" + table(("photo", "taken", "light", "known to", "plates", "sha256"), rows))
        print(
            "\n"
            + table(("version", "kept", "photos", "clean L* a* b*", "spread", ""), map(_history, versions))
        )
    return 0


def remove(args: argparse.Namespace) -> int:
    """Take a lining out of use; its versions stay."""
    gone = library.remove(args.name)
    print(f"{gone.name}: removed from use; {how_many(gone.version - 1, 'version')} of it in the history.")
    return 0


def put_back(args: argparse.Namespace) -> int:
    """Bring a lining that was removed into use again, as it was then."""
    used = library.put_back(args.name)
    print(f"{used.name}: in use again, as version {used.version}.")
    return 0


def lining_text(lining: StoredLining, dark_below: float) -> str:
    """A lining in sentences."""
    p, state = lining.pooled, "wet" if lining.wet else "dry"
    of = f"{how_many(len(lining.photos), 'photo')} with {how_many(lining.plates, 'plate')}"
    lines = [
        f"{lining.name}, version {lining.version}: clean {_lab(lining)}, {state}, from {of}",
        f"9 in 10 clean plates lie within Delta E {p.spread:.1f} of it",
        f"its light, best from {p.light}, is known to Delta E {p.light_uncertainty:.1f}",
        f"grain {_or_none(p.grain, '.2f')}; sheen {_or_none(p.sheen, '.4f')}",
    ]
    if is_dark(lining, dark_below):
        lines.append(DARK)
    if lining.removed:
        lines.append("removed from use")
    return "\n".join(lines)


def is_dark(lining: StoredLining, dark_below: float) -> bool:
    """Whether it is nearly black when clean."""
    return lining.pooled.lab[0] < dark_below


def as_json(lining: StoredLining, dark_below: float) -> dict[str, Any]:
    """A lining as JSON values; what is not known is null."""
    told = asdict(lining)
    told |= told.pop("pooled") | {"plates": lining.plates, "too_dark": is_dark(lining, dark_below)}
    nulled: dict[str, Any] = _nulled(told)
    return nulled


def _nulled(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _nulled(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_nulled(item) for item in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _version(lining: StoredLining) -> dict[str, Any]:
    return {
        "version": lining.version,
        "kept_at": lining.kept_at,
        "removed": lining.removed,
        "photos": len(lining.photos),
        "lab": list(lining.pooled.lab),
    }


def _row(lining: StoredLining, dark_below: float) -> list[str]:
    p = lining.pooled
    return [
        lining.name,
        str(lining.version),
        _lab(lining),
        f"{p.spread:.1f}",
        f"{p.light} {p.light_uncertainty:.1f}",
        str(lining.plates),
        "wet" if lining.wet else "dry",
        "nearly black" if is_dark(lining, dark_below) else "",
    ]


def _history(lining: StoredLining) -> list[str]:
    removed = "removed" if lining.removed else ""
    photos, spread = str(len(lining.photos)), f"{lining.pooled.spread:.1f}"
    return [str(lining.version), lining.kept_at, photos, _lab(lining), spread, removed]


def _lab(lining: StoredLining) -> str:
    return " ".join(f"{value:.1f}" for value in lining.pooled.lab)


def _or_none(value: float, how: str) -> str:
    return format(value, how) if math.isfinite(value) else "not known"
