"""Operators kept in a folder: the next start need not compute them, and processes share them by memory mapping.

A file holds one operator as float64: the CRC-32 of what follows; how many frequencies, gaps, tilts, nodes of the path
and terms of the series, and the path's depth; then the arrays of `Operator` in their order, complex numbers as pairs.
Its name is a hash of the function, its
arguments and the code, so that a file is never out of date, only unused. Nothing depends on the folder: where a file
is missing, broken or cannot be written, the operator is computed.
"""

from __future__ import annotations

import hashlib
import logging
import os
import tempfile
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from sheetmargin_service.acoustics.contour import Contour
from sheetmargin_service.acoustics.operators import Operator

log = logging.getLogger(__name__)

HEAD = 7
SUFFIX = ".operator"
COMPLEX = frozenset({"at_nodes", "series"})


@dataclass(frozen=True, kw_only=True)
class OperatorStore:
    """A folder of operators."""

    folder: Path

    def get(self, compute: Callable[..., Operator], **arguments: ArrayLike) -> Operator:
        """`compute(**arguments)`, from the folder where it is there."""
        path = self.folder / f"{_key(compute, arguments)}{SUFFIX}"
        try:
            return load_operator(path)
        except FileNotFoundError:
            pass
        except (OSError, ValueError) as error:
            log.warning("operator %s cannot be read and is computed: %s", path.name, error)
        operator = compute(**arguments)
        try:
            save_operator(path, operator)
        except OSError as error:
            log.warning("operator %s cannot be kept: %s", path.name, error)
        return operator


def save_operator(path: Path, operator: Operator) -> None:
    """Write an operator; whoever reads the file meanwhile sees the old one or the new one. OSError where it fails."""
    parts = [np.ascontiguousarray(getattr(operator, name)).view(np.float64).ravel() for name in _shapes(*[0] * 5)]
    contour, order = operator.contour, operator.series.shape[-1]
    sizes = [len(operator.frequency_hz), len(operator.gap_m), len(operator.tilt_rad), contour.nodes, order]
    numbers = np.concatenate([np.array([*sizes, contour.depth_rad], dtype=np.float64), *parts])
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, temporary = tempfile.mkstemp(prefix=".", suffix=".tmp", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(np.float64(zlib.crc32(numbers.data)).tobytes())
            file.write(numbers.tobytes())
        os.replace(temporary, path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise


def load_operator(path: Path) -> Operator:
    """The operator in a file, its arrays mapped from it and not to be written to.

    OSError where the file cannot be read, ValueError where it does not hold a whole operator.
    """
    numbers = np.asarray(np.memmap(path, dtype=np.float64, mode="r"))
    if zlib.crc32(numbers[1:].data) != numbers[0]:
        raise ValueError("the checksum does not fit")
    sizes, body = numbers[1 : HEAD - 1].astype(int).tolist(), numbers[HEAD:]
    arrays: dict[str, Any] = {}
    at = 0
    for name, shape in _shapes(*sizes).items():
        size = int(np.prod(shape)) * (2 if name in COMPLEX else 1)
        part = body[at : at + size]
        arrays[name] = (part.view(np.complex128) if name in COMPLEX else part).reshape(shape)
        at += size
    if at != len(body):
        raise ValueError("too long")
    return Operator(contour=Contour(depth_rad=float(numbers[HEAD - 1]), nodes=sizes[3]), **arrays)


def _shapes(lines: int, gaps: int, tilts: int, nodes: int, order: int) -> dict[str, tuple[int, ...]]:
    return {
        "frequency_hz": (lines,),
        "band_weight": (lines,),
        "gap_m": (gaps,),
        "tilt_rad": (tilts,),
        "at_nodes": (lines, nodes, gaps * tilts),
        "series": (lines, gaps, order),
    }


def _key(compute: Callable[..., Operator], arguments: dict[str, ArrayLike]) -> str:
    digest = hashlib.sha256(f"{compute.__qualname__} {_code_version()}".encode())
    for name, value in sorted(arguments.items()):
        array: NDArray[np.float64] = np.asarray(value, dtype=np.float64)
        digest.update(f"{name} {array.shape} ".encode())
        digest.update(array.tobytes())
    return digest.hexdigest()[:32]


@cache
def _code_version() -> str:
    """A hash of everything that an operator comes from beside its arguments."""
    digest = hashlib.sha256(f"numpy {np.__version__} scipy {scipy.__version__}".encode())
    for path in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(path.name.encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()
