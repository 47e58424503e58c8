"""JSON read strictly: one meaning for every text, and every refusal says where.

RFC 8259 leaves open what duplicate names, NaN and deep nesting mean; here they are errors. Numbers too large for a
double come back as infinity for the schema to refuse at their place: that is right JSON with a wrong value.
"""

from __future__ import annotations

import json
import re
from codecs import BOM_UTF8
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import islice
from typing import Any, NoReturn

from sheetmargin_service.api.faults import Fault
from sheetmargin_service.errors import Filled, Path
from sheetmargin_service.selection.time_limit import check_time

MOST_FAULTS = 100
"""That are looked for in one text: one that is wrong in more places is wrong in one way."""
MAX_DEPTH = 32
"""Objects and arrays within each other. A job needs six."""

_LONGEST_INTEGER = 18
"""Digits that are read as an integer; longer ones are read as doubles, which Python does in linear time."""

# The closing quote is optional so that an unterminated text is consumed once: the scan stays linear on hostile input.
_STRING = r'"(?:[^"\\]|\\.)*+"?'
_SPACE = re.compile(r"[ \t\r\n]*")
_STRING_OR_BRACKET = re.compile(rf"{_STRING}|[\[\]{{}}]", re.DOTALL)
_STRING_OR_CONSTANT = re.compile(rf"{_STRING}|NaN|-?Infinity", re.DOTALL)


class JsonError(ValueError):
    """A text that is not the JSON meant here: the faults say what is wrong and where."""

    def __init__(self, *faults: Fault) -> None:
        super().__init__(faults[0].detail)
        self.faults = faults


class _Repeated(dict[str, Any]):
    """An object in which names came more than once."""

    names: tuple[str, ...] = ()


class _ConstantError(ValueError):
    pass


def loads(body: bytes) -> Any:
    """Read one JSON value from UTF-8 bytes; JsonError says what is wrong and at which line and column or pointer."""
    value, faults = parse(body)
    if faults:
        raise JsonError(*faults)
    return value


def parse(body: bytes) -> tuple[Any, list[Fault]]:
    """The value, and what is wrong with parts of it, the first of them each with its path; JsonError where the whole is
    no JSON."""
    text = _text(body)
    seen_twice: list[_Repeated] = []

    def read_object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        check_time()
        value = dict(pairs)
        if len(value) == len(pairs) or len(seen_twice) == MOST_FAULTS:
            return value
        seen_twice.append(_Repeated(value))
        seen_twice[-1].names = tuple(name for name, count in Counter(name for name, _ in pairs).items() if count > 1)
        return seen_twice[-1]

    with _syntax_told(text):
        value = json.loads(text, object_pairs_hook=read_object, parse_constant=_constant, parse_int=_integer)
    found = _repeated(value) if seen_twice else (), _surrogates(value) if "\\u" in text else ()
    return value, [fault for kind in found for fault in islice(kind, MOST_FAULTS)]


def items(body: bytes) -> Iterator[bytes]:
    """The JSON texts of the items of an array, each when it is asked for; JsonError where what is read is no JSON, and
    TypeError where it is no array."""
    text = _text(body)
    # Nothing is kept of what is read.
    read = json.JSONDecoder(
        object_pairs_hook=lambda _: check_time(), parse_constant=_constant, parse_int=len
    ).raw_decode
    at = _beyond_space(text, 0)
    if text[at] != "[":
        parse(body)
        raise TypeError("no array")
    with _syntax_told(text):
        at = _beyond_space(text, at + 1)
        if text[at : at + 1] != "]":
            while True:
                _, end = read(text, at)
                yield text[at:end].encode()
                at = _beyond_space(text, end)
                if text[at : at + 1] != ",":
                    break
                at = _beyond_space(text, at + 1)
        if text[at : at + 1] != "]":
            raise json.JSONDecodeError("Expecting ',' delimiter", text, at)
        if (rest := _beyond_space(text, at + 1)) != len(text):
            raise json.JSONDecodeError("Extra data", text, rest)


def _beyond_space(text: str, at: int) -> int:
    return _SPACE.match(text, at).end()  # type: ignore[union-attr]


def _text(body: bytes) -> str:
    """The text of a body, if it is one and not nested too deeply."""
    # RFC 8259, section 8.1: a reader may ignore a byte order mark, which spreadsheets and shells like to write.
    body = body.removeprefix(BOM_UTF8)
    try:
        text = body.decode("utf-8")
    except UnicodeDecodeError as error:
        good = body[: error.start].decode("utf-8")
        raise JsonError(
            _at(good, len(good), code="not-utf-8", detail="The body is not UTF-8.", expected="JSON in UTF-8")
        ) from error
    if not text.strip(" \t\r\n"):
        raise JsonError(Fault(code="empty-body", detail="The body is empty.", expected="a JSON object"))
    _refuse_depth(text)
    return text


@contextmanager
def _syntax_told(text: str) -> Iterator[None]:
    try:
        yield
    except json.JSONDecodeError as error:
        fault = _at(
            text,
            error.pos,
            code="json-syntax",
            detail=Filled("The body is not JSON: {reason}.", reason=error.msg),
            expected="JSON (RFC 8259)",
        )
        raise JsonError(fault) from error
    except _ConstantError as error:
        position = next(m.start() for m in _STRING_OR_CONSTANT.finditer(text) if not m[0].startswith('"'))
        fault = _at(
            text,
            position,
            code="json-syntax",
            detail=Filled("{value} is not JSON.", value=str(error)),
            expected="a finite number",
        )
        raise JsonError(fault) from error


def _at(text: str, position: int, *, code: str, detail: str, expected: str) -> Fault:
    line = text.count("\n", 0, position) + 1
    column = position - text.rfind("\n", 0, position)
    return Fault(code=code, detail=detail, expected=expected, line=line, column=column)


def _refuse_depth(text: str) -> None:
    if text.count("[") + text.count("{") <= MAX_DEPTH:
        return
    depth = 0
    for match in _STRING_OR_BRACKET.finditer(text):
        if match[0] in "[{":
            depth += 1
        elif match[0] in "]}":
            depth -= 1
        if depth > MAX_DEPTH:
            expected = Filled("at most {most} levels", most=MAX_DEPTH)
            raise JsonError(
                _at(
                    text,
                    match.start(),
                    code="nesting",
                    detail="Objects and lists are nested too deeply.",
                    expected=expected,
                )
            )


def _constant(name: str) -> NoReturn:
    raise _ConstantError(name)


def _integer(digits: str) -> int | float:
    return int(digits) if len(digits) <= _LONGEST_INTEGER else float(digits)


def _walk(value: Any, path: Path = ()) -> Iterator[tuple[Path, Any]]:
    check_time()
    yield path, value
    if isinstance(value, dict):
        for name, item in value.items():
            yield from _walk(item, (*path, name))
    elif isinstance(value, list):
        for index, item in enumerate(value):
            yield from _walk(item, (*path, index))


def _repeated(value: Any) -> Iterator[Fault]:
    for where, item in _walk(value):
        if isinstance(item, _Repeated):
            for name in item.names:
                yield Fault(
                    code="duplicate-key",
                    detail="This name occurs more than once in one object.",
                    expected="each name once",
                    path=(*where, name),
                )


def _surrogates(value: Any) -> Iterator[Fault]:
    """Half of a surrogate pair is legal in an escape, and no text that can be sent back."""
    for where, item in _walk(value):
        texts = [item] if isinstance(item, str) else list(item) if isinstance(item, dict) else []
        if any("\ud800" <= character <= "\udfff" for text in texts for character in text):
            yield Fault(
                code="not-unicode",
                detail="This text has half of a surrogate pair.",
                expected="whole Unicode characters",
                path=where,
            )
