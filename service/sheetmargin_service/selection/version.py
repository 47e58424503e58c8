"""The model's version: a hash of everything that can change an answer, and of nothing else."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Callable
from functools import cache
from pathlib import Path
from types import CodeType

from sheetmargin import contract

PARTS = (
    *("cached.py", "constants.py", "errors.py", "tables.py", "acoustics", "materials", "detectors"),
    *("principles", "mounting", "selection", "measurement"),
)
"""What computes, with all that it imports of this project beside the contract, whose defaults and bounds count too."""

TEXTS = "texts.toml"
"""What a principle says in its folder: no result depends on it."""


@cache
def model_version() -> str:
    """Twelve hex digits over the program and the tables below the transport layer, by one version of Python."""
    return version_of(Path(__file__).resolve().parent.parent, contract=Path(contract.__file__).parent)


def version_of(root: Path, *, contract: Path) -> str:
    """The version of the parts in a folder, with the contract in its own.

    Comments and docstrings have no part in it, nor has the way that a table or a program is written.
    """
    digest = hashlib.sha256()
    for folder in (contract, *(root / part for part in PARTS)):
        for path in sorted([folder, *folder.rglob("*")]):
            if path.suffix in _READ and path.name != TEXTS:
                digest.update(path.relative_to(folder.parent).as_posix().encode())
                digest.update(_READ[path.suffix](path.read_text(encoding="utf-8")).encode())
    return digest.hexdigest()[:12]


def _program(text: str) -> str:
    # Compiled, a program has no comments, and at this level no docstrings. A syntax tree would take four times as long.
    return repr(_code(compile(text, "", "exec", dont_inherit=True, optimize=2)))


def _code(code: CodeType) -> tuple[object, ...]:
    """All of a compiled program but its lines."""
    names = code.co_name, code.co_names, code.co_varnames, code.co_freevars, code.co_cellvars
    counts = code.co_argcount, code.co_posonlyargcount, code.co_kwonlyargcount, code.co_flags
    return *names, *counts, code.co_code, [_constant(constant) for constant in code.co_consts]


def _constant(constant: object) -> object:
    if isinstance(constant, CodeType):
        return _code(constant)
    # A set has another order in every process.
    return sorted(map(repr, constant)) if isinstance(constant, frozenset) else constant


def _table(text: str) -> str:
    return repr(tomllib.loads(text))


_READ: dict[str, Callable[[str], str]] = {".py": _program, ".toml": _table, ".csv": str.strip}
