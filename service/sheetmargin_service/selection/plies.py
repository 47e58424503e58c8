"""How many plies can be counted: the decision fades with their number."""

from __future__ import annotations

from dataclasses import replace

from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.prediction.principles.base import Bench, Fact
from sheetmargin_service.selection.bands import choose_bands
from sheetmargin_service.selection.stations import DECIMALS, Flags

MOST = 16
"""Plies are counted up to this; nothing here tells more apart."""


def counting(bench: Bench, sheet: Sheet, *, allowed: Flags, step: int) -> Fact:
    """The greatest number of plies that the class tells from one fewer and one more, each at its own best setting."""
    largest, margin = 0, 0.0
    for plies in range(1, min(MOST, sheet.plies + 1) + 1):
        survey = bench.survey(replace(sheet, plies=plies))
        worst = round(float(choose_bands([survey], bench.receiver, step=step).worst[allowed].max()), DECIMALS)
        if worst <= 0.0:
            break
        largest, margin = plies, worst
    return Fact(code="plies-counted", values={"plies": sheet.plies, "largest_plies": largest, "margin": margin})
