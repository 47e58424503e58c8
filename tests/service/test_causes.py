"""Why a set-up fails: one code with its numbers, and the text that states them."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from sheetmargin_service.messages.names import Reader
from sheetmargin_service.messages.say import say, texts
from sheetmargin_service.principles.protocol import Receiver, SignalTable, Span
from sheetmargin_service.selection.bands import choose_bands
from sheetmargin_service.selection.compose import _limiting
from sheetmargin_service.selection.failure_modes import cause


def span(p1, p50, p99):
    return Span(**{name: np.array([float(v)]) for name, v in (("p1", p1), ("p50", p50), ("p99", p99))})


def told(single, double, *, lowest=5.0, highest=95.0, widest=200.0):
    signal_table = SignalTable(no_sheet=span(-4, 0, 4), single=span(*single), double=span(*double))
    receiver = Receiver(lowest_edge=np.array([lowest]), highest_edge=np.array([highest]), widest_band=widest)
    return cause(signal_table, receiver, choose_bands([signal_table], receiver, step=1))


CASES = {
    "too-transparent": told((2, 5, 9), (4, 9, 14)),
    "below-noise": told((85, 92, 98), (96, 97, 99)),
    "overload": told((40, 44, 48), (60, 70, 80), lowest=51.0),
    "one-looks-like-two": told((40, 44, 48), (46, 60, 80)),
    "narrow-band": told((40, 44, 48), (48.5, 60, 80)),
}


@pytest.mark.parametrize("code", CASES)
def test_each_classic_failure_has_its_code(code):
    assert CASES[code].code == code


@pytest.mark.parametrize("code", CASES)
def test_each_cause_can_be_told_in_both_languages(code):
    """A rejection whose text states only numbers that are among its values; missing ones would warn, which fails."""
    assert texts()[code].kind == "ruled-out"
    for language in ("en", "de"):
        text = say(code, CASES[code].values, reader=Reader(language=language))
        assert text != code
        assert "{" not in text


def test_values_are_rounded():
    assert told((40.123, 44, 48.456), (46.789, 60, 80)).values == {"single_p99": 48.5, "double_p1": 46.8}


def test_bonded_sheets_that_read_stronger_overlap_too():
    assert told((40, 44, 48), (30, 38, 42)).code == "one-looks-like-two"


def test_two_sheets_clear_on_the_other_side_are_no_overlap():
    assert told((50, 54, 58), (30, 34, 38)).code == "narrow-band"


def test_the_limiting_state_is_the_one_of_least_margin():
    signal_table = SignalTable(no_sheet=span(-4, 0, 4), single=span(40, 44, 48), double=span(50, 70, 90))
    receiver = Receiver(lowest_edge=np.array([1.0]), highest_edge=np.array([95.0]), widest_band=200.0)
    bands = choose_bands([signal_table], receiver, step=1)
    least = {"no_sheet": bands.no_sheet[0], "single": bands.single[0], "double": bands.double[0]}
    served = SimpleNamespace(margin=tuple(float(least[state]) for state in ("no_sheet", "single", "double")))
    configured_pair = SimpleNamespace(class_result=SimpleNamespace(principle=SimpleNamespace(unit="dB")))
    told = _limiting(configured_pair, served, 0).values
    assert least[told["state"]] == min(least.values()) == told["margin"]
