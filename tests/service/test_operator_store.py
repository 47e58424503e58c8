"""Operators kept in a folder: the same as computed ones, and a folder that fails only costs time."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from sheetmargin_service.acoustics import store as store_module
from sheetmargin_service.acoustics.operators import Operator, apply_samples, gaussian_band, transmission_operator
from sheetmargin_service.acoustics.store import SUFFIX, OperatorStore, load_operator, save_operator
from sheetmargin_service.principles.ultrasonic import pair

BAND = gaussian_band(centre_hz=180e3, bandwidth_hz=12e3, nodes=3)
ARGUMENTS: dict[str, Any] = {
    "radius_m": 7e-3,
    "frequency_hz": BAND[0],
    "band_weight": BAND[1],
    "gap_m": np.array([0.03, 0.05]),
    "tilt_rad": np.array([0.0, 0.2, 0.4]),
    "sound_speed_m_per_s": 344.0,
}


@pytest.fixture(scope="module")
def operator() -> Operator:
    return transmission_operator(**ARGUMENTS)


class Counting:
    """Computes and counts."""

    def __init__(self, operator: Operator) -> None:
        self.operator, self.calls = operator, 0
        self.__qualname__ = "counting"

    def __call__(self, **_: Any) -> Operator:
        self.calls += 1
        return self.operator


@pytest.fixture
def counting(operator: Operator) -> Counting:
    return Counting(operator)


def same(one: Operator, other: Operator) -> bool:
    return all(np.array_equal(getattr(one, field.name), getattr(other, field.name)) for field in fields(Operator))


def test_what_is_kept_is_what_was_computed(operator: Operator, tmp_path: Path) -> None:
    save_operator(tmp_path / "one", operator)
    kept = load_operator(tmp_path / "one")
    assert same(kept, operator)

    samples = 1.0 / (1.0 + 1e-4j * operator.frequency_hz[:, None] * np.sqrt(1.0 - kept.sin_theta**2))
    assert kept.sin_theta is operator.sin_theta
    assert np.array_equal(
        apply_samples(operator=kept, samples=samples), apply_samples(operator=operator, samples=samples)
    )


def test_the_arrays_are_mapped(operator: Operator, tmp_path: Path) -> None:
    save_operator(tmp_path / "one", operator)
    kept = load_operator(tmp_path / "one")
    assert type(kept.at_nodes) is np.ndarray
    base: Any = kept.at_nodes
    while isinstance(base, np.ndarray):
        assert not base.flags.writeable
        base = base.base
    assert type(base).__name__ == "mmap"


def test_a_second_time_nothing_is_computed(counting: Counting, tmp_path: Path) -> None:
    for _ in range(2):
        assert same(OperatorStore(folder=tmp_path / "deep" / "er").get(counting, **ARGUMENTS), counting.operator)
    assert counting.calls == 1


@pytest.mark.parametrize("name", sorted(ARGUMENTS))
def test_other_arguments_are_another_operator(counting: Counting, tmp_path: Path, name: str) -> None:
    store = OperatorStore(folder=tmp_path)
    store.get(counting, **ARGUMENTS)
    store.get(counting, **{**ARGUMENTS, name: ARGUMENTS[name] * (1.0 + 1e-15)})
    assert counting.calls == 2
    assert len(list(tmp_path.iterdir())) == 2


def test_other_code_is_another_operator(counting: Counting, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store = OperatorStore(folder=tmp_path)
    store.get(counting, **ARGUMENTS)
    monkeypatch.setattr(store_module, "_code_version", lambda: "other")
    store.get(counting, **ARGUMENTS)
    assert counting.calls == 2


def flip_bit(content: bytes) -> bytes:
    middle = len(content) // 2
    return content[:middle] + bytes([content[middle] ^ 1]) + content[middle + 1 :]


@pytest.mark.parametrize(
    "damage",
    [
        lambda content: b"",
        lambda content: content[: len(content) // 2],
        lambda content: content[:-8],
        lambda content: content + bytes(8),
        lambda content: b"nonsense" * 100,
        lambda content: b"odd",
        lambda content: bytes(len(content)),
        flip_bit,
    ],
    ids=["empty", "half", "short", "long", "nonsense", "odd", "zeros", "bit"],
)
def test_a_broken_file_is_computed_anew(counting: Counting, tmp_path: Path, damage: Callable[[bytes], bytes]) -> None:
    store = OperatorStore(folder=tmp_path)
    store.get(counting, **ARGUMENTS)
    (file,) = tmp_path.glob(f"*{SUFFIX}")
    whole = file.read_bytes()
    replacement = tmp_path / "replacement"
    replacement.write_bytes(damage(whole))
    replacement.replace(file)
    assert same(store.get(counting, **ARGUMENTS), counting.operator)
    assert counting.calls == 2
    assert file.read_bytes() == whole


def test_a_full_disk_costs_only_time(counting: Counting, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: Any) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "replace", full)
    store = OperatorStore(folder=tmp_path)
    for _ in range(2):
        assert same(store.get(counting, **ARGUMENTS), counting.operator)
    assert counting.calls == 2
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("folder", ["/proc/nowhere", "file/below"])
def test_a_folder_that_cannot_be_costs_only_time(counting: Counting, tmp_path: Path, folder: str) -> None:
    (tmp_path / "file").touch()
    assert same(OperatorStore(folder=tmp_path / folder).get(counting, **ARGUMENTS), counting.operator)


def test_a_pair_keeps_what_every_resolved_job_needs(tmp_path: Path) -> None:
    beam = (211e3, 12e3, 6.5, (20.0, 40.0), (0.0, 10.0))
    pair.keep_operators(tmp_path)
    try:
        through, bounce = pair._searched(*beam)
        assert len(list(tmp_path.glob(f"*{SUFFIX}"))) == 1
        pair._asked(212e3, *beam[1:])
        assert len(list(tmp_path.glob(f"*{SUFFIX}"))) == 1
    finally:
        pair.keep_operators(None)
    computed = pair._compute(*beam)
    assert same(through, computed[0])
    assert np.array_equal(bounce, computed[1])
