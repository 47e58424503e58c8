"""What a field of the contract tells of itself beside its type and its text."""

from __future__ import annotations

import ast
import inspect
import sys
from collections.abc import Mapping
from dataclasses import is_dataclass
from functools import cache
from types import ModuleType
from typing import Any, TypedDict, Unpack


class Told(TypedDict, total=False):
    """The metadata of a field. In a list they hold for each member, but for `fewest` and `most`."""

    unit: str
    decimals: int
    """Of a number of an answer: places after the point."""
    digits: int
    """Of a number of an answer that may have any size: significant digits."""
    gt: float
    ge: float
    lt: float
    le: float
    """Bounds of a number that is asked for: `gt` and `lt` exclude the bound."""
    shortest: int
    longest: int
    """Characters of a text that is asked for."""
    shape: str
    """Pattern of a text that is asked for, in the common part of ECMA-262 and Python."""
    expected: str
    """What that pattern means."""
    vocabulary: str
    """Name of the table whose names a text may be; the service has it."""
    fewest: int
    most: int
    """Members of a list."""
    key: str
    """Name in JSON, where it is no name in Python."""
    worded: bool
    """Whether the service writes it from what stands beside it, in the language asked for."""
    cited: bool
    """Whether it tells where figures come from, which the service writes in the language asked for."""
    always: bool
    """Whether an answer always has it, for all that the dataclass has a default."""


def about(**told: Unpack[Told]) -> dict[str, Any]:
    """The metadata of a field."""
    return dict(told)


MM = about(unit="mm", decimals=1)
MS = about(unit="ms", decimals=1)
DEGREES = about(unit="deg", decimals=1)
DB = about(unit="dB", decimals=1)
SIGNAL = about(decimals=1)
"""A level in the signal's own unit, which stands beside it."""
PPM = about(unit="per million", decimals=3)


def field_texts(kind: type[Any]) -> Mapping[str, str]:
    """The text below each field of a dataclass and of those it derives from."""
    texts: dict[str, str] = {}
    for each in reversed(kind.__mro__):
        texts |= _module_texts(sys.modules[each.__module__]).get(each.__name__, {}) if is_dataclass(each) else {}
    return texts


@cache
def _module_texts(module: ModuleType) -> Mapping[str, Mapping[str, str]]:
    """Of each class of a module, the string after each annotated name."""
    found: dict[str, dict[str, str]] = {}
    for node in ast.parse(inspect.getsource(module)).body:
        if isinstance(node, ast.ClassDef):
            found[node.name] = {
                first.target.id: " ".join(second.value.value.split())
                for first, second in zip(node.body, node.body[1:], strict=False)
                if isinstance(first, ast.AnnAssign)
                and isinstance(first.target, ast.Name)
                and isinstance(second, ast.Expr)
                and isinstance(second.value, ast.Constant)
                and isinstance(second.value.value, str)
            }
    return found
