"""Parameters that an owner does not know, taken from the nearest reference class."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sheetmargin_service.detectors.model import DetectorClass, Filled
from sheetmargin_service.tables import table_fields


@dataclass(frozen=True, kw_only=True)
class Filling:
    """A whole table of parameters, and what of it was taken from where; None where the owner gave everything."""

    values: Mapping[str, Any]
    filled: Filled | None


def fill(principle: str, given: Mapping[str, Any], *, width_mm: object, among: Sequence[DetectorClass]) -> Filling:
    """The given parameters and, for those not given, the nearest class's.

    Nearest is the class of the same principle that agrees in every word given (drive, contact) and whose numbers and
    housing width differ least: the root mean square of the logarithms of their ratios, of those that both have above 0.
    Heads on one bracket stand for no others: their gap is the bracket's.
    """
    related = [c for c in among if c.principle == principle and c.demands.gap_set_by != "fixture"]
    agreeing = [c for c in related if _agrees(given, c)] or related
    if not agreeing:
        return Filling(values=given, filled=None)
    nearest = min(agreeing, key=lambda c: (_distance({**given, "width": width_mm}, c), c.id))
    parameters = vars(nearest.parameters)
    # A word that has a usual one, as sharp limiting, is no figure that somebody would have to measure.
    fields = table_fields(type(nearest.parameters))
    names = [name for name, field in fields.items() if name not in given and not isinstance(field.default, str)]
    taken = tuple(name for name in names if parameters[name] is not None)
    return Filling(
        values={**given, **{name: parameters[name] for name in taken}},
        filled=Filled(reference_class=nearest.id, parameters=taken) if taken else None,
    )


def _agrees(given: Mapping[str, Any], detector_class: DetectorClass) -> bool:
    own = vars(detector_class.parameters)
    return all(own.get(name) == value for name, value in given.items() if isinstance(value, str | bool))


def _distance(given: Mapping[str, Any], detector_class: DetectorClass) -> float:
    own = {**vars(detector_class.parameters), "width": detector_class.housing.width_mm}
    squares = [math.log(value / own[name]) ** 2 for name, value in _sizes(given) if _is_size(own.get(name))]
    return math.sqrt(math.fsum(squares) / len(squares)) if squares else 0.0


def _sizes(values: Mapping[str, Any]) -> Iterator[tuple[str, float]]:
    return ((name, value) for name, value in values.items() if _is_size(value))


def _is_size(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and 0 < value < math.inf
