"""Sensing principles, one module each. A module of this package that has a `PRINCIPLE` is found by itself."""

from __future__ import annotations

import pkgutil
from collections.abc import Callable, Sequence
from functools import cache
from importlib import import_module
from typing import TypeVar

from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.principles.protocol import Asked, ClassModel, Fact, Principle, SignalDistribution, Together

Ask = TypeVar("Ask")
Reply = TypeVar("Reply")


@cache
def principles() -> dict[str, Principle]:
    """Every principle by its id."""
    modules = (import_module(f"{__name__}.{info.name}") for info in pkgutil.iter_modules(__path__))
    found: list[Principle] = [module.PRINCIPLE for module in modules if hasattr(module, "PRINCIPLE")]
    return {principle.id: principle for principle in sorted(found, key=lambda p: p.id)}


def class_models(detector_classes: Sequence[DetectorClass], conditions: Conditions) -> list[ClassModel | Fact]:
    """Each class under these conditions, or why it cannot be mounted or used there."""

    def ask(principle: Principle, classes: list[DetectorClass]) -> list[ClassModel | Fact]:
        if isinstance(principle, Together):
            return principle.class_models(classes, conditions)
        return [principle.class_model(c, conditions) for c in classes]

    return _by_principle(detector_classes, lambda c: c.principle, ask)


def distributions(asked: Sequence[Asked]) -> list[SignalDistribution]:
    """Benches that were made together, each with a sheet at one setting, with every spread."""

    def ask(principle: Principle, some: list[Asked]) -> list[SignalDistribution]:
        if isinstance(principle, Together):
            return principle.distributions(some)
        return [class_model.distribution(sheet, setting) for class_model, sheet, setting in some]

    return _by_principle(asked, lambda a: a[0].detector_class.principle, ask)


def _by_principle(
    questions: Sequence[Ask],
    principle_of: Callable[[Ask], str],
    ask: Callable[[Principle, list[Ask]], list[Reply]],
) -> list[Reply]:
    """The replies in the order of the questions, asked principle by principle."""
    replies: dict[int, Reply] = {}
    for name in dict.fromkeys(map(principle_of, questions)):
        places = [i for i, resolved_job in enumerate(questions) if principle_of(resolved_job) == name]
        replies.update(zip(places, ask(principles()[name], [questions[i] for i in places]), strict=True))
    return [replies[i] for i in range(len(questions))]
