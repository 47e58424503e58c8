"""Strict reading of the library's TOML tables: every key is known, every number is finite, every source is named."""

from __future__ import annotations

import math
from collections.abc import Mapping

from sheetmargin_service.errors import FieldError
from sheetmargin_service.tables import load_table


def load_sources() -> dict[str, str]:
    """Every source by its key."""
    sources = load_table(__package__, "data/sources.toml")
    if not all(isinstance(text, str) and text.strip() for text in sources.values()):
        raise FieldError("sources.toml: expected texts")
    return sources


class Reader:
    """Takes the keys of one table one by one; `close` refuses what nobody took."""

    def __init__(self, table: object, *, where: str, sources: Mapping[str, str]) -> None:
        if not isinstance(table, dict):
            raise FieldError(f"{where}: expected a table")
        self._left = dict(table)
        self._sources = sources
        self.where = where

    def __contains__(self, key: str) -> bool:
        return key in self._left

    def error(self, message: str) -> FieldError:
        return FieldError(f"{self.where}: {message}")

    def close(self) -> None:
        if self._left:
            raise self.error(f"unknown keys {sorted(self._left)}")

    def number(self, key: str, *, low: float = 0.0, high: float = math.inf) -> float:
        return self._number(key, self._take(key), low=low, high=high)

    def list_of_numbers(self, key: str, *, low: float = 0.0, high: float = math.inf) -> tuple[float, ...]:
        values = self._take(key)
        if not isinstance(values, list):
            raise self.error(f"{key}: expected a list of numbers")
        return tuple(self._number(key, value, low=low, high=high) for value in values)

    def numbers(self, key: str, *, count: int, low: float = 0.0, high: float = math.inf) -> tuple[float, ...]:
        """`count` numbers that do not fall."""
        numbers = self.list_of_numbers(key, low=low, high=high)
        if len(numbers) != count or list(numbers) != sorted(numbers):
            raise self.error(f"{key}: expected {count} numbers that do not fall, not {numbers}")
        return numbers

    def text(self, key: str) -> str:
        value = self._take(key)
        if not isinstance(value, str) or not value.strip():
            raise self.error(f"{key}: expected a text")
        return value

    def texts(self, key: str) -> tuple[str, ...]:
        values = self._take(key)
        if not isinstance(values, list) or not all(isinstance(value, str) and value.strip() for value in values):
            raise self.error(f"{key}: expected a list of texts")
        return tuple(values)

    def source(self) -> str:
        key = self.text("source")
        if key not in self._sources:
            raise self.error(f"source {key!r} is not in sources.toml")
        return self._sources[key]

    def table(self, key: str) -> Reader:
        return Reader(self._take(key), where=f"{self.where}.{key}", sources=self._sources)

    def tables(self, key: str) -> list[Reader]:
        values = self._take(key)
        if not isinstance(values, list):
            raise self.error(f"{key}: expected a list of tables")
        return [
            Reader(value, where=f"{self.where}.{key}[{index}]", sources=self._sources)
            for index, value in enumerate(values)
        ]

    def _take(self, key: str) -> object:
        if key not in self._left:
            raise self.error(f"{key} is missing")
        return self._left.pop(key)

    def _number(self, key: str, value: object, *, low: float, high: float) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise self.error(f"{key}: {value!r} is not a finite number")
        if not low <= value <= high:
            raise self.error(f"{key}: {value!r} is outside {low} to {high}")
        return float(value)
