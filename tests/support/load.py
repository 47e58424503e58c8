"""Callers that ask one question after another, each on a connection that it keeps."""

from __future__ import annotations

import http.client
import itertools
import json
import threading
import time
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field

LONGEST_S = 60.0


@dataclass(frozen=True, kw_only=True)
class Question:
    """One request; `kind` groups those that cost alike."""

    kind: str
    method: str = "GET"
    path: str
    body: bytes | None = None
    headers: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What became of one: status 0 where no whole answer came, with the `error`."""

    kind: str
    status: int
    seconds: float
    ended: float
    error: str = ""


@dataclass
class Crowd:
    """`callers` threads that ask what `question` makes of a running number, until they are told to stop."""

    port: int
    question: Callable[[int], Question]
    callers: int
    pause_s: float = 0.0
    asked: list[Asked] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._numbers = itertools.count()
        self._stop = threading.Event()
        self._threads = [threading.Thread(target=self._ask, daemon=True) for _ in range(self.callers)]

    def start(self) -> None:
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        self._stop.set()
        for thread in self._threads:
            thread.join(timeout=2.0 * LONGEST_S)
            assert not thread.is_alive(), "a caller waits for ever"

    def run(self, seconds: float = float("inf"), *, count: int | None = None) -> list[Asked]:
        """Ask for so long, or so many; what became of it."""
        begun = time.monotonic()
        self.start()
        while time.monotonic() - begun < seconds and (count is None or len(self.asked) < count):
            time.sleep(0.02)
        self.stop()
        return self.asked

    def wait_for(self, count: int) -> None:
        """Until so many have been answered."""
        ends = time.monotonic() + LONGEST_S
        while len(self.asked) < count:
            assert time.monotonic() < ends, "nothing is answered"
            time.sleep(0.01)

    def _ask(self) -> None:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=LONGEST_S)
        while not self._stop.is_set():
            question = self.question(next(self._numbers))
            begun = time.monotonic()
            status, error = 0, ""
            try:
                connection.request(question.method, question.path, question.body, dict(question.headers))
                answer = connection.getresponse()
                answer.read()
                status = answer.status
            except (OSError, http.client.HTTPException) as failure:
                error = repr(failure)
                connection.close()
            ended = time.monotonic()
            self.asked.append(Asked(kind=question.kind, status=status, seconds=ended - begun, ended=ended, error=error))
            if self.pause_s:
                self._stop.wait(self.pause_s)
        connection.close()


def by_kind(asked: Sequence[Asked]) -> dict[str, list[float]]:
    """Seconds of the answered, by kind."""
    found: dict[str, list[float]] = defaultdict(list)
    for one in asked:
        if one.status:
            found[one.kind].append(one.seconds)
    return dict(found)


def quantile(values: Sequence[float], share: float) -> float:
    """The value that so great a share does not exceed."""
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]


def json_question(kind: str, path: str, value: object) -> Question:
    """A POST of JSON."""
    headers = (("Content-Type", "application/json"),)
    return Question(kind=kind, method="POST", path=path, body=json.dumps(value).encode(), headers=headers)


def statuses(asked: Sequence[Asked]) -> dict[int, int]:
    """How many of each status."""
    found: dict[int, int] = defaultdict(int)
    for one in asked:
        found[one.status] += 1
    return dict(found)


def lost(asked: Sequence[Asked]) -> Iterator[Asked]:
    """Those without an answer, and those that the service failed."""
    return (one for one in asked if one.status == 0 or one.status >= 500)
