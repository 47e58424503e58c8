"""What processes tell each other of what they have to do."""

from __future__ import annotations

import os

import pytest
from sheetmargin_service.serving.loads import PLACES, Loads


@pytest.fixture
def loads() -> Loads:
    return Loads()


def test_alone_nobody_has_less(loads: Loads) -> None:
    loads.tell(1, 5)
    assert not loads.another_has_less(1)


@pytest.mark.parametrize(("other", "less"), [(4, True), (5, False), (6, False), (0, True)])
def test_another_has_less(loads: Loads, other: int, less: bool) -> None:
    loads.tell(1, 5)
    loads.tell(2, other)
    assert loads.another_has_less(1) is less


def test_who_has_left_is_not_waited_for(loads: Loads) -> None:
    loads.tell(1, 5)
    loads.tell(2, 0)
    loads.leave(2)
    assert not loads.another_has_less(1)


def test_numbers_without_end(loads: Loads) -> None:
    loads.tell(3 * PLACES + 1, 5)
    loads.tell(3 * PLACES + 2, 0)
    assert loads.another_has_less(3 * PLACES + 1)


@pytest.mark.filterwarnings("ignore:.*fork")
def test_a_process_tells_the_one_it_was_forked_from(loads: Loads) -> None:
    loads.tell(1, 5)
    loads.tell(2, 9)
    if not (child := os.fork()):
        loads.tell(2, 4)
        os._exit(0)
    os.waitpid(child, 0)
    assert loads.another_has_less(1)
