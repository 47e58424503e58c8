"""Layers that pass a part of a field and send a part back, added one upon another.

Stokes (On the intensity of the light reflected from or transmitted through a pile of plates, Proc. R. Soc. London 11,
545, 1862): summing the passes between two layers gives
    t = t1 t2 / (1 - r1b r2f)     rf = r1f + t1^2 r2f / (1 - r1b r2f)     rb likewise from behind.
It holds for any linear field with one incoming and one outgoing part on each face, reciprocal in transmission: diffuse
power (Kubelka and Munk) and each spatial frequency of a quasi-static magnetic field alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce
from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

T = TypeVar("T", NDArray[np.float64], NDArray[np.complex128])


@dataclass(frozen=True, kw_only=True)
class Layer(Generic[T]):
    """What a layer passes (both ways alike), sends back at its front and at its back: arrays of one shape."""

    passed: T
    front: T
    back: T


def add(first: Layer[T], second: Layer[T]) -> Layer[T]:
    """The layer made of two, `first` in front."""
    among = 1.0 / (1.0 - first.back * second.front)
    return Layer(
        passed=first.passed * second.passed * among,
        front=first.front + first.passed**2 * second.front * among,
        back=second.back + second.passed**2 * first.back * among,
    )


def stack(layers: Sequence[Layer[T]]) -> Layer[T]:
    """One or more layers from front to back as one."""
    return reduce(add, layers)
