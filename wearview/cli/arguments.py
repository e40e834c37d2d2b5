"""Arguments that several commands share. Imports nothing that takes time."""

import argparse


def add_command(commands: argparse._SubParsersAction, command: str, text: str) -> argparse.ArgumentParser:
    """A parser for a command, whose last word `commands` does not have yet; `command` is set to it."""
    parser: argparse.ArgumentParser = commands.add_parser(
        command.split()[-1], help=text, description=text[0].upper() + text[1:] + "."
    )
    parser.set_defaults(command=command)
    return parser


def add_group(commands: argparse._SubParsersAction, name: str, text: str) -> argparse._SubParsersAction:
    """The actions of a command that has several."""
    group = commands.add_parser(name, help=text)
    actions: argparse._SubParsersAction = group.add_subparsers(
        title="actions", metavar="ACTION", required=True
    )
    return actions


def add_json(parser: argparse.ArgumentParser) -> None:
    """`--json`."""
    parser.add_argument("--json", metavar="FILE|-", help="as JSON; - for standard output")


def add_store(parser: argparse.ArgumentParser) -> None:
    """`--store`."""
    parser.add_argument(
        "--store",
        metavar="URL",
        help="the record: sqlite:///FILE or postgresql+psycopg://... (default: WEARVIEW_STORE, else SQLite "
        "in the user's data folder)",
    )
