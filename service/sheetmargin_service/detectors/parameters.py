"""What every detector class tells of itself physically, whatever it senses. The rest is its principle's."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

from sheetmargin_service.detectors.demands import Demands


class Parameters(Protocol):
    """A frozen dataclass in a principle's folder: what the owner of a catalogue is asked of a class, unit in the name.

    All have `reading_interval_ms`, the time from one reading to the next, and `response_ms`, the time from a change at
    the sheet to a change at the output.
    """

    @property
    def reading_interval_ms(self) -> float: ...

    @property
    def response_ms(self) -> float: ...

    def problems(self) -> list[str]:
        """The rules that the numbers break, each as what was expected."""


class Kind(Protocol):
    """What the classes of one principle have in common."""

    @property
    def parameters(self) -> type[Parameters]:
        """The dataclass that describes one."""

    @property
    def demands(self) -> Demands:
        """What they ask of their owner where a class says nothing else."""


Kinds = Mapping[str, Kind]
"""Every kind of class by the id of its principle."""


def broken_rules(parameters: Parameters, rules: Mapping[str, bool]) -> list[str]:
    """Those of a principle's rules that do not hold, and that of every class's times."""
    timed = 0 < parameters.reading_interval_ms <= parameters.response_ms
    every = {**rules, "0 < reading_interval_ms <= response_ms": timed}
    return [rule for rule, holds in every.items() if not holds]
