"""A file that remembers which questions were answered, and how, so that a run that was broken off can go on.

It is an SQLite database: nothing is held in memory, and what a broken run was still writing is dropped.
"""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
import zlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from types import TracebackType
from typing import Any

from sheetmargin.errors import UnusableKeyFile


def key_of(question: bytes) -> bytes:
    """Names a question, its reference included."""
    return hashlib.sha256(question).digest()


class KeyFile:
    """Answers on disk by the key of their question."""

    def __init__(self, path: str | os.PathLike[str], *, service: Mapping[str, Any]) -> None:
        """Open or begin the file; `service` is what answers depend on beside the questions.

        Raises UnusableKeyFile where it was begun with another service, cannot be written, or is something else.
        """
        self._path = os.fspath(path)
        with self._told():
            # The reader of outcomes may hand them from thread to thread, one at a time.
            self._base = sqlite3.connect(self._path, check_same_thread=False)
        try:
            with self._told(), self._base:
                self._begin(json.dumps(service, sort_keys=True))
        except BaseException:
            self._base.close()
            raise

    def _begin(self, service: str) -> None:
        if self._base.execute("PRAGMA schema_version").fetchone() == (0,):
            self._base.execute("CREATE TABLE sheetmargin (service TEXT)")
            self._base.execute("CREATE TABLE answers (key BLOB PRIMARY KEY, answer BLOB)")
            self._base.execute("INSERT INTO sheetmargin VALUES (?)", (service,))
        (there,) = self._base.execute("SELECT service FROM sheetmargin").fetchone()
        if there != service:
            raise UnusableKeyFile(
                f"{self._path} was begun with another service, catalogue or language; its answers would be mixed.\n"
                f"  there: {there}\n  now:   {service}\nTake another file, or delete this one to ask everything anew."
            )

    def get(self, key: bytes) -> bytes | None:
        """The answer to a question, or None."""
        with self._told():
            row = self._base.execute("SELECT answer FROM answers WHERE key = ?", (key,)).fetchone()
        return None if row is None else zlib.decompress(row[0])

    def put(self, answers: Mapping[bytes, bytes]) -> None:
        """Remember answers: all of them or, where the power fails, none."""
        with self._told(), self._base:
            packed = [(key, zlib.compress(answer)) for key, answer in answers.items()]
            self._base.executemany("INSERT OR REPLACE INTO answers VALUES (?, ?)", packed)

    def __len__(self) -> int:
        (count,) = self._base.execute("SELECT count(*) FROM answers").fetchone()
        return int(count)

    def __enter__(self) -> KeyFile:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._base.close()

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            raise UnusableKeyFile(f"{self._path} cannot be used to go on from: {error}.") from error
