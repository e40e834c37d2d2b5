"""The arguments of every command. Imports nothing that takes time."""

import argparse
from collections.abc import Iterator, Sequence

from wearview import __version__
from wearview.cli.arguments import add_command, add_group, add_json, add_store
from wearview.cli.record_parser import add_record_commands
from wearview.terms import CHART_EDITIONS, KIND_WORDS

DESCRIPTION = """\
Photos of clutch plates, steels, reaction plates and bands into graded heat evidence, beside the
technician's own verdict. A photo shows heat, not thickness, flatness or bond: level 0 is no pass."""

EXIT_STATUS = """\
exit status:
  0  every photo was read (one that cannot be graded says so)
  1  some photo could not be read; the others are graded
  2  the call itself was wrong
  3  a result could not be written"""


def build_parser(typed: Sequence[str] = ()) -> argparse.ArgumentParser:
    """The parser of the `wearview` command; `command` names the one typed.

    Where `typed` begins with "grade" it knows no other command: the rest take 8 of 10 ms to build.
    """
    parser = argparse.ArgumentParser(
        "wearview", description=DESCRIPTION, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--version", action="version", version=f"wearview {__version__}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND")
    _add_grade(commands)
    if typed and typed[0] == "grade":
        return parser
    _add_demo(commands)
    add_record_commands(commands)
    _add_report(commands)
    _add_agreement(commands)
    _add_rules(commands)
    _add_lining(commands)
    _add_mat(commands)
    _add_app(commands)
    parser.epilog = "\n".join(["all options:", *_usages(commands), "", EXIT_STATUS])
    return parser


def _add_grade(commands: argparse._SubParsersAction) -> None:
    p = add_command(commands, "grade", "grade the photos of one pack or band")
    p.add_argument("photos", nargs="+", metavar="PHOTO", help="in position order, from the apply piston on")
    clean = p.add_mutually_exclusive_group()
    clean.add_argument("--reference", metavar="CLEAN_PHOTO", help="photo of a clean plate of the same lining")
    clean.add_argument("--lining", metavar="NAME", help="a lining of the shop's library (wearview lining)")
    p.add_argument(
        "--second-light",
        metavar="PHOTO",
        help="the one PHOTO again: same phone position, lamp moved, for glaze",
    )
    p.add_argument(
        "--apply-end",
        choices=("left", "right", "top", "bottom"),
        help="where the apply end lies in a photo of several parts (default: left, then top)",
    )
    p.add_argument(
        "--from",
        dest="first",
        choices=("apply", "reaction"),
        default="apply",
        help="the end at which the photos begin (default: apply)",
    )
    p.add_argument("--kinds", metavar="LIST", help=f"kinds in the order found, of {','.join(KIND_WORDS)}")
    p.add_argument(
        "--positions", metavar="LIST", help="positions in the order found; 3a and 3r are the sides of plate 3"
    )
    p.add_argument(
        "--shots",
        metavar="N",
        type=_count,
        default=1,
        help="N photos after each other show the same parts: one reading of all; "
        "kinds and positions are given once",
    )
    p.add_argument("--outlines", metavar="FILE", help="rims and band edges that you set yourself, as JSON")
    p.add_argument("--rules", metavar="ID", help="a version of the rules (default: the newest accepted)")
    _add_chart(p)
    p.add_argument("--json", metavar="FILE|-", help="write the grading document; - for standard output")
    p.add_argument("--masks", metavar="DIR", help="write the masks of every part and face")
    p.add_argument("--overlays", metavar="DIR", help="write the photos with what was found drawn on them")
    p.add_argument("--teardown", metavar="NAME", help="store what was graded, with --element")
    p.add_argument("--element", metavar="NAME", help="the clutch or brake by its shop name")
    add_store(p)


def _add_demo(commands: argparse._SubParsersAction) -> None:
    p = add_command(commands, "demo", "grade the demo photos of an invented shop and write its report")
    p.add_argument("--out", metavar="DIR", default="wearview-demo", help="default: wearview-demo here")


def _add_report(commands: argparse._SubParsersAction) -> None:
    p = add_command(
        commands, "report", "write report.html, report.pdf, photos.zip and parts.csv of a teardown"
    )
    p.add_argument("teardown", metavar="TEARDOWN")
    p.add_argument("--out", metavar="DIR", required=True)
    p.add_argument("--originals", action="store_true", help="put the photos themselves into photos.zip too")
    p.add_argument(
        "--shop",
        metavar="DIR",
        help="folder of the shop's name and logo: shop.toml, logo.png (default: shop in the data folder)",
    )
    p.add_argument(
        "--kept",
        metavar="N",
        type=_count,
        help="instead of a new report, write out the Nth that was handed over, as it was",
    )
    add_store(p)


def _count(text: str) -> int:
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"{text} is no number from 1 on")
    return int(text)


def _add_agreement(commands: argparse._SubParsersAction) -> None:
    p = add_command(commands, "agreement", "show how the grades and the technicians' own heat levels agree")
    add_json(p)
    add_store(p)


def _add_rules(commands: argparse._SubParsersAction) -> None:
    actions = add_group(commands, "rules", "the grade's thresholds, and new ones from heat levels")
    add_command(actions, "rules list", "list the versions and say which one grades")
    p = add_command(actions, "rules propose", "show thresholds that fit the technicians' heat levels better")
    add_store(p)
    p = add_command(
        actions, "rules accept", "make the proposed thresholds the next version; stored grades stay"
    )
    p.add_argument("--by", metavar="WHO", required=True, help="who accepts them")
    add_store(p)


def _add_lining(commands: argparse._SubParsersAction) -> None:
    actions = add_group(commands, "lining", "the shop's own clean linings, to compare with")
    p = add_command(actions, "lining add", "measure clean plates and keep them as a lining, or refine one")
    p.add_argument("name", metavar="NAME", help="small letters, digits and hyphens: tan-paper")
    p.add_argument("photos", nargs="+", metavar="PHOTO", help="of clean plates of this lining only")
    p.add_argument(
        "--wet", action="store_true", help="the plates are wet with fluid (default: washed and dried)"
    )
    _add_chart(p)
    add_json(add_command(actions, "lining list", "list the linings in use"))
    p = add_command(actions, "lining show", "show a lining with its photos and versions")
    p.add_argument("name", metavar="NAME")
    add_json(p)
    p = add_command(
        actions, "lining history", "follow a lining over all stored units: how often hot, where, when"
    )
    p.add_argument("name", metavar="NAME")
    add_json(p)
    add_store(p)
    p = add_command(actions, "lining remove", "take a lining out of use; its versions are kept")
    p.add_argument("name", metavar="NAME")
    p = add_command(actions, "lining put-back", "bring a lining that was removed into use again")
    p.add_argument("name", metavar="NAME")


def _add_mat(commands: argparse._SubParsersAction) -> None:
    p = add_command(commands, "mat", "make the bench mat to print: scale, slant and colour of a photo")
    p.add_argument("--paper", choices=("a4", "letter"), default="a4", help="default: a4")
    p.add_argument("--out", metavar="FILE.pdf", help="default: wearview-mat-a4.pdf or -letter.pdf here")
    actions = p.add_subparsers(title="actions", metavar="ACTION")
    p = add_command(actions, "mat calibrate", "measure the printed mat's colours beside a chart or grey card")
    p.add_argument("photo", metavar="PHOTO", help="the bare mat, a grey card or 24-patch chart on its middle")
    _add_chart(p)


def _add_chart(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--chart",
        choices=CHART_EDITIONS,
        default=CHART_EDITIONS[0],
        help=f"edition of the 24-patch chart, by November 2014 (default: {CHART_EDITIONS[0]})",
    )


def _add_app(commands: argparse._SubParsersAction) -> None:
    p = add_command(commands, "app", "open the page in the browser; this computer only unless --lan")
    p.add_argument("--port", metavar="N", type=int, default=8501, help="default: 8501")
    p.add_argument("--lan", action="store_true", help="let other devices of the local network in")
    add_store(p)


def _usages(commands: argparse._SubParsersAction) -> Iterator[str]:
    for parser in commands.choices.values():
        deeper = [a for a in parser._actions if isinstance(a, argparse._SubParsersAction)]
        if deeper:
            yield from _usages(deeper[0])
        if not deeper or not deeper[0].required:
            yield "  " + parser.format_usage().removeprefix("usage: ").replace("\n", "\n  ").rstrip()
