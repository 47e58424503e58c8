"""Answers that a process keeps in memory, as many as there is room for."""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import dataclass

from sheetmargin_service.api.service import Service

MOST_BYTES = 4 << 20
"""In each worker process: some 140 recommendations of 29 kB (a choice)."""
_BESIDES_BODY = 2048
"""Bytes that an entry takes beside its body: the question, the headers, its place in the table (rounded up)."""

Headers = tuple[tuple[str, str], ...]


@dataclass(frozen=True, kw_only=True)
class Kept:
    """A whole answer of a service. `etag` is without its quotes."""

    service: Service
    body: bytes
    headers: Headers
    etag: str

    @property
    def size(self) -> int:
        return len(self.body) + _BESIDES_BODY


class KeptAnswers:
    """The answers asked for last, as many as `most_bytes` hold. Threads may share it."""

    def __init__(self, most_bytes: int = MOST_BYTES) -> None:
        self.most_bytes = most_bytes
        self.bytes = 0
        self._answers: OrderedDict[tuple[str, ...], Kept] = OrderedDict()
        self._lock = threading.Lock()

    def __len__(self) -> int:
        return len(self._answers)

    def get(self, question: tuple[str, ...], service: Service) -> Kept | None:
        """The answer that this service gave to the question: one with other catalogues answers anew."""
        with self._lock:
            kept = self._answers.get(question)
            if kept is None or kept.service is not service:
                return None
            self._answers.move_to_end(question)
            return kept

    def put(self, question: tuple[str, ...], kept: Kept) -> None:
        """Keep an answer, and let go of those that nobody has asked for the longest."""
        with self._lock:
            before = self._answers.pop(question, None)
            self._answers[question] = kept
            self.bytes += kept.size - (before.size if before else 0)
            while self.bytes > self.most_bytes:
                _, oldest = self._answers.popitem(last=False)
                self.bytes -= oldest.size

    def clear(self) -> None:
        """Let go of all."""
        with self._lock:
            self._answers.clear()
            self.bytes = 0
