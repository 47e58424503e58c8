"""What an object computes once, when it is first asked for.

Up to Python 3.11 `functools.cached_property` computes under a lock that all objects of a class share. A computation
lets others go first at its steps (see `selection.time_limit`): within such a lock it would wait for one that waits for
the lock. Whoever comes while a value is computed computes it as well; either is kept.
"""

from __future__ import annotations

import functools
import sys
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING or sys.version_info >= (3, 12):
    from functools import cached_property
else:

    class cached_property(functools.cached_property):  # noqa: N801 - in its place
        """`functools.cached_property` without a lock."""

        def __get__(self, instance: Any, owner: type | None = None) -> Any:
            if instance is None:
                return self
            kept = instance.__dict__
            if self.attrname not in kept:
                kept[self.attrname] = self.func(instance)
            return kept[self.attrname]


__all__ = ["cached_property"]
