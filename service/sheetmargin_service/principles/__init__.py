"""Sensing principles, a folder each. A folder of this package that has a `PRINCIPLE` is found by itself."""

from __future__ import annotations

import pkgutil
from collections.abc import Callable, Sequence
from functools import cache
from importlib import import_module
from typing import Any, TypeVar

from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.principles.protocol import Asked, ClassModel, Fact, Principle, Scalar, SignalDistribution

Ask = TypeVar("Ask")
Reply = TypeVar("Reply")


@cache
def principles() -> dict[str, Principle[Any]]:
    """Every principle by its id."""
    folders = (import_module(f"{__name__}.{info.name}") for info in pkgutil.iter_modules(__path__) if info.ispkg)
    found: list[Principle[Any]] = [folder.PRINCIPLE for folder in folders]
    return {principle.id: principle for principle in sorted(found, key=lambda p: p.id)}


def principle_of(detector_class: DetectorClass) -> Principle[Any]:
    """The principle of a class."""
    return principles()[detector_class.principle]


def frequency_khz(detector_class: DetectorClass) -> float | None:
    """What a class works at; None where it has no frequency."""
    hertz = principle_of(detector_class).frequency_hz(detector_class.parameters)
    return None if hertz is None else 1e-3 * hertz


def detector_values(detector_class: DetectorClass) -> dict[str, Scalar]:
    """What a text needs to name a detector."""
    return {
        "detector_class": detector_class.id,
        "detector": principle_of(detector_class).detector_kind(detector_class.parameters),
        "frequency_khz": frequency_khz(detector_class),
    }


def class_models(detector_classes: Sequence[DetectorClass], conditions: Conditions) -> list[ClassModel | Fact]:
    """Each class under these conditions, or why it cannot be mounted or used there."""
    return _by_principle(
        detector_classes, lambda c: c.principle, lambda principle, some: principle.class_models(some, conditions)
    )


def distributions(asked: Sequence[Asked]) -> list[SignalDistribution]:
    """Class models that were made together, each with a sheet at one setting, with every spread."""
    return _by_principle(
        asked, lambda a: a[0].detector_class.principle, lambda principle, some: principle.distributions(some)
    )


def _by_principle(
    questions: Sequence[Ask],
    name_of: Callable[[Ask], str],
    ask: Callable[[Principle[Any], list[Ask]], Sequence[Reply]],
) -> list[Reply]:
    """The replies in the order of the questions, asked principle by principle."""
    replies: dict[int, Reply] = {}
    for name in dict.fromkeys(map(name_of, questions)):
        places = [i for i, question in enumerate(questions) if name_of(question) == name]
        replies.update(zip(places, ask(principles()[name], [questions[i] for i in places]), strict=True))
    return [replies[i] for i in range(len(questions))]
