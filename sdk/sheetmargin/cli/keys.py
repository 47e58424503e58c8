"""`sheetmargin keys add|list|revoke FILE`: the file of keys that a service asks for."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from sheetmargin.errors import InvalidJob
from sheetmargin.local import load_key_commands

DONE = 0


def add_keys_options(parser: argparse.ArgumentParser) -> None:
    actions = parser.add_subparsers(dest="action", required=True, metavar="ACTION")
    add = actions.add_parser("add", help="make a key; its token is told on standard error, once")
    listing = actions.add_parser("list", help="id, scopes and origins of each key")
    revoke = actions.add_parser("revoke", help="take a key out; running workers refuse it within seconds")
    for action in (add, listing, revoke):
        action.add_argument("file", type=Path, metavar="FILE", help="the file that SHEETMARGIN_KEYS_FILE names")
    for action in (add, revoke):
        action.add_argument("id", metavar="ID", help="name of the key: letters, digits and _")
    add.add_argument("scopes", nargs="+", metavar="SCOPE", help="recommend, batch, measure or metrics")
    add.add_argument(
        "--origin", action="append", default=[], metavar="URL", help="of a shop's pages: makes the key publishable"
    )


def keys(arguments: argparse.Namespace) -> int:
    """Do one of them. InvalidJob where the file or what is asked for is wrong."""
    commands = load_key_commands()
    try:
        match arguments.action:
            case "add":
                token = commands.add_key(arguments.file, arguments.id, arguments.scopes, arguments.origin)
                print(token, file=sys.stderr)
            case "revoke":
                commands.revoke_key(arguments.file, arguments.id)
            case _:
                print("\n".join(commands.list_keys(arguments.file)))
    except (OSError, ValueError) as error:
        raise InvalidJob(str(error)) from error
    return DONE
