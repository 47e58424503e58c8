"""Element-wise work on large broadcast arrays, in blocks that stay in the processor's cache."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Real = float | NDArray[np.float64]
Complex = complex | NDArray[np.inexact[Any]]
ComplexArray = NDArray[np.complexfloating[Any, Any]]

# Points in a block: a dozen complex temporaries then fit a second-level cache of 512 KiB. Measured: blocks of 1024
# to 4096 points are alike, whole arrays of 10^5 points cost twice as much, mostly in fetching fresh memory.
_BLOCK = 2048


def map_blocks(kernel: Callable[..., None], *arguments: ArrayLike, results: int) -> tuple[ComplexArray, ...]:
    """Call `kernel(*blocks of the arguments, *blocks of the results)` over the broadcast arguments.

    The kernel works element by element on one-dimensional blocks, leaves the arguments alone and fills the complex
    results, which have the broadcast shape.
    """
    inputs = [np.asarray(argument) for argument in arguments]
    outputs: list[Any] = [None] * results
    access: list[Any] = [["readonly"]] * len(inputs) + [["writeonly", "allocate"]] * results
    blocks: Any = np.nditer(
        inputs + outputs,
        flags=["external_loop", "buffered", "zerosize_ok"],
        op_flags=access,
        op_dtypes=[array.dtype for array in inputs] + [np.dtype(np.complex128)] * results,
        order="C",
        buffersize=_BLOCK,
    )
    with blocks:
        for block in blocks:
            kernel(*block)
        return tuple(blocks.operands[len(inputs) :])
