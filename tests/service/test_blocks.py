"""Element-wise work in blocks."""

import numpy as np
import pytest
from sheetmargin_service.acoustics.blocks import ComplexArray, map_blocks


def add_and_scale(one: ComplexArray, two: ComplexArray, total: ComplexArray, scaled: ComplexArray) -> None:
    np.add(one, two, out=total)
    np.multiply(two, 2.0, out=scaled)


@pytest.mark.parametrize(
    ("one", "two"),
    [
        ((), ()),
        ((3,), ()),
        ((5000,), (5000,)),
        ((7, 1, 300), (5, 1)),
        ((1, 3000), (2, 1)),
        ((4, 1, 1, 1), (3, 2, 100)),
        ((0,), ()),
        ((2, 0, 3), (1, 3)),
    ],
)
def test_blocks_make_up_the_broadcast_result(one: tuple[int, ...], two: tuple[int, ...]) -> None:
    random = np.random.default_rng(1)
    first, second = random.normal(size=one), 1j * random.normal(size=two)
    total, scaled = map_blocks(add_and_scale, first, second, results=2)
    np.testing.assert_array_equal(total, first + second)
    np.testing.assert_array_equal(scaled, np.broadcast_to(2.0 * second, total.shape))
    assert total.shape == np.broadcast_shapes(one, two)


def test_shapes_that_do_not_broadcast_are_refused() -> None:
    with pytest.raises(ValueError, match="broadcast"):
        map_blocks(add_and_scale, np.zeros(3), np.zeros(4), results=2)
