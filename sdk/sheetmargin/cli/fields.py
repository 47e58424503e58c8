"""The plain fields of a job's parts, and how their texts are read from a command line."""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Mapping
from types import NoneType
from typing import Any, Literal, get_args, get_origin, get_type_hints

from sheetmargin.cli.speech import say


def number(text: str) -> float:
    """A finite number, for argparse."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise argparse.ArgumentTypeError(say("expected-number", text=text))
    return value


def positive(text: str) -> float:
    """A finite number above 0, for argparse."""
    value = number(text)
    if value <= 0:
        raise argparse.ArgumentTypeError(say("expected-positive", text=text))
    return value


def whole(text: str) -> int:
    """A whole number, for argparse."""
    try:
        return int(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(say("expected-whole", text=text)) from error


def plain_fields(kind: type[Any]) -> Mapping[str, Callable[[str], Any]]:
    """The fields of a part of a job that hold one value, and how its text is read."""
    readers: Mapping[Any, Callable[[str], Any]] = {str: str, float: number, int: whole, bool: bool}
    found = {}
    for name, hint in get_type_hints(kind).items():
        (some,) = [each for each in get_args(hint) if each is not NoneType] if NoneType in get_args(hint) else [hint]
        reader = str if get_origin(some) is Literal else readers.get(some)
        if reader is not None:
            found[name] = reader
    return found
