"""The arguments of the commands that work on the record. Imports nothing that takes time."""

import argparse

from wearview.cli.arguments import add_command, add_group, add_json, add_store
from wearview.terms import (
    DIRECTIONS,
    EXPECTATIONS,
    LENGTH_UNITS,
    OUTCOMES,
    POLICY_CASES,
    REASONS,
    VERDICTS,
    WISHES,
)

YES_NO = ("yes", "no")


def add_record_commands(commands: argparse._SubParsersAction) -> None:
    """Teardowns with their elements, verdicts, parts list and customers; the shop's settings; backups."""
    _add_teardown(add_group(commands, "teardown", "open, find, show and compare teardowns"))
    _add_element(add_group(commands, "element", "what a clutch, brake or band does and should look like"))
    _add_verdict(commands)
    _add_checklist(add_group(commands, "checklist", "what the shop looks at beside the packs"))
    _add_finding(add_group(commands, "finding", "what was found beside the packs, with photos"))
    _add_measured(add_group(commands, "measured", "values measured with a tool, beside the limit you typed"))
    _add_policy(commands)
    _add_parts(commands)
    _add_customer(add_group(commands, "customer", "the customers' personal data: show, correct, erase"))
    _add_shop(commands)
    _add_care(commands)


def _add_teardown(actions: argparse._SubParsersAction) -> None:
    p = add_command(actions, "teardown new", "open a teardown: one unit opened for one customer")
    p.add_argument("name", metavar="NAME")
    _add_facts(p)
    p.add_argument("--like", metavar="TEARDOWN", help="with the elements of this one and their duties")
    add_store(p)
    p = add_command(actions, "teardown list", "list the teardowns, newest first")
    add_json(p)
    add_store(p)
    p = add_command(actions, "teardown find", "find teardowns by what is known of them, newest first")
    p.add_argument("text", nargs="?", metavar="TEXT", help="part of name, unit, serial or customer")
    p.add_argument("--unit", metavar="TYPE", help="part of the type of the unit")
    p.add_argument("--serial", metavar="S", help="part of the serial number; blanks and hyphens do not count")
    p.add_argument("--customer", metavar="REF", help="part of the customer's reference, name or plate number")
    p.add_argument("--date", metavar="DATE", help="when it was opened: 2026, 2026-03 or 2026-03-05 (UTC)")
    add_json(p)
    add_store(p)
    p = add_command(actions, "teardown show", "show a teardown with its grades and verdicts")
    p.add_argument("name", metavar="NAME")
    add_json(p)
    add_store(p)
    text = "show the unit's earlier teardowns, each element then and now, by the serial number"
    p = add_command(actions, "teardown history", text)
    p.add_argument("name", metavar="NAME")
    add_json(p)
    add_store(p)
    p = add_command(actions, "teardown change", "state facts anew; an empty text takes one back")
    p.add_argument("name", metavar="NAME")
    _add_facts(p)
    add_store(p)
    for action, text in (
        ("close", "close a teardown: nothing is added to it until it is opened again"),
        ("reopen", "open a closed teardown again"),
    ):
        p = add_command(actions, f"teardown {action}", text)
        p.add_argument("name", metavar="NAME")
        add_store(p)


def _add_facts(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--unit", metavar="TYPE", help="type of the unit")
    parser.add_argument("--serial", metavar="S", help="its serial number")
    parser.add_argument("--customer", metavar="REF", help="the shop's reference for the customer")
    asked = " or ".join(f'"{wish}"' for wish in WISHES)
    parser.add_argument("--wish", metavar="TEXT", help=f"what the customer asked for: {asked}, or own words")
    parser.add_argument("--mileage", metavar="TEXT", help='how far it had run, as: "84000 km" or "52000 mi"')
    parser.add_argument("--blind", choices=YES_NO, help="whether grades are hidden until the verdict is in")


def _add_element(actions: argparse._SubParsersAction) -> None:
    p = add_command(actions, "element duty", "state what an element does; it is added if it is new")
    p.add_argument("teardown", metavar="TEARDOWN")
    p.add_argument("element", metavar="ELEMENT")
    p.add_argument("--direction", choices=DIRECTIONS, help="which way the apply piston pushes")
    p.add_argument("--plates", metavar="N", type=int, help="how many plates, frictions and steels together")
    p.add_argument("--applied", metavar="TEXT", help="when it is applied, as: 1st to 3rd")
    told = "; ".join(f"{name}: {sentence}" for name, sentence in EXPECTATIONS.items())
    p.add_argument("--expect", choices=EXPECTATIONS, help=told)
    p.add_argument("--words", metavar="TEXT", help="what is expected of it, in the shop's own words")
    p.add_argument("--example", metavar="NAME", help="begin with one of: wearview element examples")
    add_json(p)
    add_store(p)
    p = add_command(actions, "element examples", "list the examples of elements that ship with the program")
    add_json(p)


def _add_verdict(commands: argparse._SubParsersAction) -> None:
    p = add_command(commands, "verdict", "store the technician's verdict beside the grade")
    p.add_argument("teardown", metavar="TEARDOWN")
    p.add_argument("element", metavar="ELEMENT")
    p.add_argument("target", metavar="POSITION|pack|NAME", help="NAME: a part outside a pack, as a drum")
    p.add_argument("decision", choices=VERDICTS, metavar="|".join(VERDICTS))
    p.add_argument("--heat", type=int, choices=range(5), help="the technician's own heat level")
    p.add_argument("--reason", choices=REASONS)
    p.add_argument("--by", metavar="WHO")
    p.add_argument("--note", metavar="TEXT", help="in his own words")
    add_store(p)


def _add_checklist(actions: argparse._SubParsersAction) -> None:
    p = add_command(actions, "checklist set", "settle the items of a checklist, in teardown order")
    p.add_argument("items", nargs="*", metavar="ITEM")
    p.add_argument("--unit", metavar="TYPE", help="for this type of unit (default: for any other)")
    p.add_argument("--example", action="store_true", help="the items of: wearview checklist example")
    p.add_argument("--none", action="store_true", help="take the checklist of this type back")
    add_json(p)
    add_store(p)
    p = add_command(actions, "checklist show", "show the checklists that hold")
    add_json(p)
    add_store(p)
    p = add_command(actions, "checklist example", "list the example that ships with the program")
    add_json(p)


def _add_finding(actions: argparse._SubParsersAction) -> None:
    text = "store what was found at an item, of the checklist or not, in any order"
    p = add_command(actions, "finding add", text)
    p.add_argument("teardown", metavar="TEARDOWN")
    p.add_argument("item", metavar="ITEM")
    p.add_argument("outcome", choices=OUTCOMES, metavar="|".join(OUTCOMES))
    p.add_argument(
        "--photo", action="append", default=[], metavar="FILE", help="a photo of it; may be repeated"
    )
    p.add_argument("--by", metavar="WHO")
    p.add_argument("--note", metavar="TEXT", help="what was found, in his own words")
    add_json(p)
    add_store(p)
    p = add_command(actions, "finding list", "show the checklist: done, left out on purpose, not done")
    p.add_argument("teardown", metavar="TEARDOWN")
    add_json(p)
    add_store(p)
    p = add_command(actions, "finding take-back", "take back what was said of an item; the record keeps it")
    p.add_argument("teardown", metavar="TEARDOWN")
    p.add_argument("item", metavar="ITEM")
    add_store(p)


def _add_measured(actions: argparse._SubParsersAction) -> None:
    text = "store a measured value, with its limit if you took one from somewhere"
    p = add_command(actions, "measured add", text)
    p.add_argument("teardown", metavar="TEARDOWN")
    p.add_argument("what", metavar="WHAT", help="as: forward clutch clearance")
    p.add_argument("value", metavar="VALUE", help="as 0.045 or 3/64")
    p.add_argument("unit", choices=LENGTH_UNITS)
    p.add_argument("--tool", metavar="TOOL", required=True, help="what it was measured with")
    p.add_argument("--least", metavar="LIMIT", help="the least it may be")
    p.add_argument("--most", metavar="LIMIT", help="the most it may be")
    p.add_argument("--limit-from", metavar="TEXT", help="where the limit is from, as the manual and its page")
    p.add_argument(
        "--photo", action="append", default=[], metavar="FILE", help="a photo of it; may be repeated"
    )
    p.add_argument("--by", metavar="WHO")
    p.add_argument("--note", metavar="TEXT")
    add_json(p)
    add_store(p)
    p = add_command(actions, "measured list", "list the measured values and which are out of limit")
    p.add_argument("teardown", metavar="TEARDOWN")
    add_json(p)
    add_store(p)
    p = add_command(actions, "measured take-back", "take a measured value back; the record keeps it")
    p.add_argument("teardown", metavar="TEARDOWN")
    p.add_argument("what", metavar="WHAT")
    add_store(p)


def _add_policy(commands: argparse._SubParsersAction) -> None:
    actions = add_group(commands, "policy", "what the shop wants suggested where makers disagree")
    p = add_command(actions, "policy show", "show the policy in use, or an earlier version")
    p.add_argument("version_id", nargs="?", metavar="ID", help="as: policy-1")
    add_json(p)
    p = add_command(actions, "policy set", "settle what to suggest, as the policy's next version")
    for case, words in POLICY_CASES.items():
        option = f"--{case.replace('_', '-')}"
        p.add_argument(option, choices=(*VERDICTS, "none"), help=f"suggested for {words}")
    p.add_argument("--by", metavar="WHO", required=True, help="who settles it")
    add_json(p)
    text = "show what the shop's policy suggests beside grades and verdicts; it changes neither"
    p = add_command(commands, "suggest", text)
    p.add_argument("teardown", metavar="TEARDOWN")
    p.add_argument("--policy", metavar="ID", help="an earlier version")
    add_json(p)
    add_store(p)


def _add_parts(commands: argparse._SubParsersAction) -> None:
    p = add_command(commands, "parts", "list the parts to order by the verdicts: what, how many, why")
    p.add_argument("teardown", metavar="TEARDOWN")
    add_json(p)
    add_store(p)


def _add_customer(actions: argparse._SubParsersAction) -> None:
    p = add_command(actions, "customer list", "list the customers")
    add_json(p)
    add_store(p)
    p = add_command(actions, "customer show", "show what is kept of a customer")
    p.add_argument("reference", metavar="REF")
    add_json(p)
    add_store(p)
    p = add_command(actions, "customer change", "note or correct a customer's data; an empty text erases one")
    p.add_argument("reference", metavar="REF")
    p.add_argument("--ref", metavar="NEW", help="another reference")
    p.add_argument("--name", metavar="TEXT")
    p.add_argument("--phone", metavar="TEXT")
    p.add_argument("--plate", metavar="TEXT", help="the vehicle's plate number")
    add_store(p)
    text = "erase a customer's data for good; teardowns, grades and verdicts stay"
    p = add_command(actions, "customer erase", text)
    p.add_argument("reference", metavar="REF")
    add_store(p)


def _add_shop(commands: argparse._SubParsersAction) -> None:
    p = add_command(commands, "shop", "show or settle what holds for new teardowns")
    p.add_argument("--blind", choices=YES_NO, help="whether grades are hidden until the verdict is in")
    add_store(p)


def _add_care(commands: argparse._SubParsersAction) -> None:
    p = add_command(commands, "backup", "write the record and its photos into one file, and read it back")
    p.add_argument("file", metavar="FILE")
    add_store(p)
    p = add_command(commands, "restore", "make the record again from a backup, where there is none")
    p.add_argument("file", metavar="FILE")
    add_store(p)
    p = add_command(commands, "check", "look for rows and photos that are missing or were altered")
    add_json(p)
    add_store(p)
    p = add_command(commands, "regrade", "grade an archive of packs anew under other rules, on many cores")
    p.add_argument("archive", metavar="ARCHIVE", help="folder or fsspec address; a pack in each inner folder")
    p.add_argument("--into", required=True, metavar="URL", help="database for the results")
    p.add_argument("--rules", metavar="ID", help="default: the newest that were accepted")
    p.add_argument("--workers", type=int, default=2, metavar="N", help="processes here (default: 2)")
    p.add_argument("--scheduler", metavar="ADDRESS", help="of a Dask scheduler, instead of --workers")
