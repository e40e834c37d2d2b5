"""`wearview lining history`: one lining over all units of the shop."""

import argparse
from collections.abc import Iterable
from typing import Any

from wearview import store as record
from wearview.cli.outputs import write_json
from wearview.cli.tables import printable, table
from wearview.cli.where import open_record
from wearview.errors import CallError
from wearview.record import LEAST_PACKS, LEAST_PLATES, Followed, Heat
from wearview.report.words import ABOUT_PLACES, named_mileages, named_places
from wearview.terms import how_many


def history(args: argparse.Namespace) -> int:
    """Show how often a lining was hot, where in the pack, after what mileage."""
    store = open_record(args)
    found = record.followed(store, args.name)
    if not found.whole.n and not found.whole.ungraded:
        known = record.lining_names(store)
        remedy = f"Known: {', '.join(known[:8])}" if known else "No stored part was compared with one so far"
        raise CallError(args.name, "is the lining of no stored part", remedy)
    if args.json:
        write_json(args.json, _as_json(found))
    if args.json != "-":
        print(followed_text(found))
    return 0


def followed_text(found: Followed) -> str:
    """The figures with what they rest on."""
    whole = found.whole
    told = [
        f"{printable(found.lining)}: {how_many(whole.n, 'graded part')}, {how_many(whole.packs, 'pack')}, "
        f"{how_many(whole.units, 'unit')}"
    ]
    if whole.n < LEAST_PLATES:
        told.append(f"No share is given under {LEAST_PLATES} plates.")
    elif whole.packs < LEAST_PACKS:
        told.append(f"Under {LEAST_PACKS} packs a share hangs on single packs.")
    told.append(
        "plates by level: " + ", ".join(f"{n} of level {level}" for level, n in enumerate(whole.levels))
    )
    paragraphs = ["\n".join(told), _table("", [("all", whole)])]
    if found.by_place:
        paragraphs += [_table("from the reaction end", named_places(found)), ABOUT_PLACES]
    if found.by_mileage:
        paragraphs.append(_table("mileage of the unit", named_mileages(found)))
    else:
        paragraphs.append('no mileage was typed so far: wearview teardown change NAME --mileage "84000 km"')
    return "\n\n".join(paragraphs)


def _table(title: str, rows: Iterable[tuple[str, Heat]]) -> str:
    header = [title, "plates", "packs", "units", "hot", "share", "cannot tell"]
    cells = [
        [
            name,
            *map(str, (heat.n, heat.packs, heat.units, heat.hot)),
            _share(heat),
            str(heat.ungraded or ""),
        ]
        for name, heat in rows
    ]
    return table(header, cells, right=range(1, 7))


def _share(heat: Heat) -> str:
    return f"{heat.n} of {LEAST_PLATES}" if heat.share is None else f"{100 * heat.share:.0f} %"


def _as_json(found: Followed) -> dict[str, Any]:
    return {
        "lining": found.lining,
        "all": _heat_json(found.whole),
        "by_place_from_reaction_end": {
            str(place): _heat_json(heat) for place, heat in found.by_place.items()
        },
        "by_mileage_from_km": {str(km): _heat_json(heat) for km, heat in found.by_mileage.items()},
        "without_mileage": _heat_json(found.without_mileage),
    }


def _heat_json(heat: Heat) -> dict[str, Any]:
    return {
        "n": heat.n,
        "packs": heat.packs,
        "units": heat.units,
        "hot": heat.hot,
        "share": heat.share,
        "levels": list(heat.levels),
        "cannot_tell": heat.ungraded,
    }
