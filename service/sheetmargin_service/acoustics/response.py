"""What a sheet does to a plane wave in air, and the step from surface impedances to it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, is_dataclass
from typing import Any, TypeVar

import numpy as np

from sheetmargin_service.acoustics.blocks import ComplexArray, map_blocks

Arrays = TypeVar("Arrays")


@dataclass(frozen=True, kw_only=True)
class Response:
    """Pressure transmission from face to face, and reflection, of a sheet that is the same from both sides."""

    transmission: ComplexArray
    reflection: ComplexArray

    @property
    def reflection_below(self) -> ComplexArray:
        return self.reflection

    @property
    def reflection_above(self) -> ComplexArray:
        return self.reflection


@dataclass(frozen=True, kw_only=True)
class StackResponse:
    """The same for a sheet whose sides differ. Transmission is the same both ways (reciprocity)."""

    transmission: ComplexArray
    reflection_below: ComplexArray
    reflection_above: ComplexArray


def part_of(arrays: Arrays, part: Any) -> Arrays:
    """A part of a dataclass of arrays, and of those within it, by their axes."""

    def some(value: Any) -> Any:
        return part_of(value, part) if is_dataclass(value) else value[part]

    return type(arrays)(**{field.name: some(getattr(arrays, field.name)) for field in fields(arrays)})  # type: ignore[arg-type]


def impedance_shares(exponent: ComplexArray, weight: ComplexArray) -> tuple[ComplexArray, ComplexArray, ComplexArray]:
    """One partial wave's shares of Zs = -i a cot(w p h/2), Za = i a tan(w p h/2) and Zs - Za.

    `exponent` is -i w p h with a real part <= 0, `weight` is a. One exponential serves all three.
    """
    decay: ComplexArray = np.exp(exponent)
    plus: ComplexArray = 1.0 + decay
    minus: ComplexArray = 1.0 - decay
    common: ComplexArray = plus * minus
    np.reciprocal(common, out=common)
    common *= weight
    decay *= common
    decay *= 4.0
    np.square(plus, out=plus)
    plus *= common
    np.square(minus, out=minus)
    minus *= common
    return plus, minus, decay


def scatter(
    symmetric: ComplexArray,
    antisymmetric: ComplexArray,
    difference: ComplexArray,
    transmission: ComplexArray,
    reflection: ComplexArray,
) -> None:
    """Fill transmission and reflection from Zs, Za and Zs - Za in units of the air's impedance, which are used up.

    T = (Zs - Za)/((1 + Zs)(1 + Za)), R = (Zs Za - 1)/((1 + Zs)(1 + Za)).
    """
    np.multiply(symmetric, antisymmetric, out=reflection)
    reflection -= 1.0
    symmetric += 1.0
    antisymmetric += 1.0
    symmetric *= antisymmetric
    np.reciprocal(symmetric, out=symmetric)
    np.multiply(difference, symmetric, out=transmission)
    reflection *= symmetric


def beside(one: Response | StackResponse, other: Response | StackResponse) -> StackResponse:
    """Two paths through a sheet that share the pressure on both its faces, their flows adding: admittances add.

    With y of each path in units of the air's admittance, from its R and T: n = (1 + R)(1 + R') - T^2,
    y = ((1 - R)(1 + R') + T^2)/n, y' likewise from the other side, and across -2 T/n.
    """
    return combined(_beside, one, other)


def combined(
    kernel: Callable[..., None], one: Response | StackResponse, other: Response | StackResponse
) -> StackResponse:
    """Two responses made one by a kernel of `map_blocks`: T, R and R' of each, then the places of the result's."""
    transmission, reflection_below, reflection_above = map_blocks(
        kernel,
        one.transmission,
        one.reflection_below,
        one.reflection_above,
        other.transmission,
        other.reflection_below,
        other.reflection_above,
        results=3,
    )
    return StackResponse(
        transmission=transmission, reflection_below=reflection_below, reflection_above=reflection_above
    )


def _admittances(
    transmission: ComplexArray, below: ComplexArray, above: ComplexArray
) -> tuple[ComplexArray, ComplexArray, ComplexArray]:
    square = transmission * transmission
    inverse = np.reciprocal((1.0 + below) * (1.0 + above) - square)
    return (
        ((1.0 - below) * (1.0 + above) + square) * inverse,
        ((1.0 + below) * (1.0 - above) + square) * inverse,
        -2.0 * transmission * inverse,
    )


def _beside(
    transmission_1: ComplexArray,
    below_1: ComplexArray,
    above_1: ComplexArray,
    transmission_2: ComplexArray,
    below_2: ComplexArray,
    above_2: ComplexArray,
    transmission: ComplexArray,
    reflection_below: ComplexArray,
    reflection_above: ComplexArray,
) -> None:
    paths = (_admittances(transmission_1, below_1, above_1), _admittances(transmission_2, below_2, above_2))
    below, above, across = (one + two for one, two in zip(*paths, strict=True))
    square = across * across
    inverse = np.reciprocal((1.0 + below) * (1.0 + above) - square)
    np.multiply(-2.0 * across, inverse, out=transmission)
    np.multiply((1.0 - below) * (1.0 + above) + square, inverse, out=reflection_below)
    np.multiply((1.0 + below) * (1.0 - above) + square, inverse, out=reflection_above)
