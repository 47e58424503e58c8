"""Sensing principles, one module each. A module of this package that has a `PRINCIPLE` is found by itself."""

from __future__ import annotations

import pkgutil
from functools import cache
from importlib import import_module

from sheetmargin_service.prediction.principles.base import Principle


@cache
def principles() -> dict[str, Principle]:
    """Every principle by its id."""
    modules = (import_module(f"{__name__}.{info.name}") for info in pkgutil.iter_modules(__path__))
    found: list[Principle] = [module.PRINCIPLE for module in modules if hasattr(module, "PRINCIPLE")]
    return {principle.id: principle for principle in sorted(found, key=lambda p: p.id)}
