"""One caller at a time computes in a process: whoever has computed least.

Python lets one thread compute at a time anyway, and changes between them as it likes. Here they change at the steps of
a computation, so that who asks little does not wait for who asks much. Who comes is taken to have computed as much as
the least of those who are there, but for CREDIT_S: so long others wait, and no longer, whatever anybody did before.
A long computation counts dearer, so that sheets asked one by one go before a list of fifty. Of one caller's, those that
are short go one after another, before its long ones.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from sheetmargin_service.selection.time_limit import turns

CREDIT_S = 0.5
"""More than a sheet takes, less than a person notices (a choice)."""
LIGHT_S = 1.0
"""A few sheets of any kind take less (a choice)."""
HEAVY = 3.0
"""Times that its seconds beyond LIGHT_S count (a choice): it keeps a quarter beside one other caller."""


class TooManyAtOnce(Exception):  # noqa: N818 - what it says
    """The caller has as many computations under way as it may."""


@dataclass(eq=False, kw_only=True)
class Turn:
    """A computation of a caller, which is asked for at its first step. `used_s`: the processor time that it took."""

    turns: Turns
    name: Callable[[], str]
    caller: str | None = None
    used_s: float = 0.0
    since_s: float = 0.0

    def wait(self, ends: float | None) -> None:
        """Go on if nobody waits who has used less; else wait until it is so, or until `ends` of the monotonic clock."""
        self.turns.wait(self, ends)

    @contextmanager
    def computing(self) -> Iterator[None]:
        """Let what is computed within wait for this turn, and others compute afterwards."""
        with turns(self.wait):
            try:
                yield
            finally:
                self.turns.pause(self)

    def end(self) -> None:
        """Nothing more is computed in it."""
        self.turns.end(self)


@dataclass(kw_only=True)
class Turns:
    """The computations of a process. One caller may have `at_once` under way; None is no limit."""

    at_once: int | None = None
    _changed: threading.Condition = field(default_factory=threading.Condition)
    _computing: Turn | None = None
    _under_way: list[Turn] = field(default_factory=list)
    _waiting: list[Turn] = field(default_factory=list)
    _used_s: dict[str, float] = field(default_factory=dict)

    def wait(self, turn: Turn, ends: float | None) -> None:
        with self._changed:
            self._begin(turn)
            if self._computing is turn:
                self._count(turn)
                if not any(self._used(other) < self._used(turn) for other in self._waiting):
                    return
                self._computing = None
            self._waiting.append(turn)
            self._changed.notify_all()
            left_s = None if ends is None else min(max(0.0, ends - time.monotonic()), threading.TIMEOUT_MAX)
            mine = self._changed.wait_for(lambda: self._is_next(turn), left_s)
            self._waiting.remove(turn)
            if mine:
                self._computing = turn
                turn.since_s = time.thread_time()
            self._changed.notify_all()

    def pause(self, turn: Turn) -> None:
        """Let others compute, until the turn waits again: while an answer is being sent, say."""
        with self._changed:
            if self._computing is turn:
                self._count(turn)
                self._computing = None
                self._changed.notify_all()

    def end(self, turn: Turn) -> None:
        with self._changed:
            if turn in self._under_way:
                self._under_way.remove(turn)

    def _begin(self, turn: Turn) -> None:
        """TooManyAtOnce where the caller may not begin another one."""
        if turn.caller is None:
            caller = turn.name()
            if self.at_once is not None and sum(one.caller == caller for one in self._under_way) >= self.at_once:
                raise TooManyAtOnce
            turn.caller = caller
            if self._under_way:
                least = min(self._used_s[one.caller or ""] for one in self._under_way) - CREDIT_S
                # Who has computed less than that is as one who comes for the first time.
                self._used_s = {name: used for name, used in self._used_s.items() if used > least}
                self._used_s.setdefault(caller, least)
            else:
                self._used_s = {caller: 0.0}
            self._under_way.append(turn)

    def _is_next(self, turn: Turn) -> bool:
        return self._computing is None and turn is min(self._waiting, key=self._used)

    def _used(self, turn: Turn) -> tuple[float, bool, float]:
        long = turn.used_s > LIGHT_S
        # Those under way stand in the order in which they began.
        return self._used_s[turn.caller or ""], long, turn.used_s if long else self._under_way.index(turn)

    def _count(self, turn: Turn) -> None:
        seconds = time.thread_time() - turn.since_s
        turn.since_s += seconds
        turn.used_s += seconds
        self._used_s[turn.caller or ""] += seconds * (HEAVY if turn.used_s > LIGHT_S else 1.0)
