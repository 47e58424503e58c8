"""How many plies can be counted: the decision fades with their number."""

from __future__ import annotations

from sheetmargin_service.principles.protocol import Fact
from sheetmargin_service.selection.bands import DECIMALS, choose_bands
from sheetmargin_service.selection.class_result import ClassResult

MOST = 16
"""Plies are counted up to this; nothing here tells more apart."""


def counting(class_result: ClassResult, index: int) -> Fact:
    """The greatest number of plies that the class tells from one fewer and one more, each at its own best setting."""
    largest, margin, asked = 0, 0.0, class_result.resolved_job.sheets[index].plies
    for plies in range(1, min(MOST, asked + 1) + 1):
        signal_table = class_result.class_model.signal_table(class_result.resolved_job.stack(index, plies))
        bands = choose_bands([signal_table], class_result.class_model.receiver, step=class_result.principle.band_step)
        worst = round(float(bands.worst[class_result.allowed].max()), DECIMALS)
        if worst <= 0.0:
            break
        largest, margin = plies, worst
    counted = {"plies": asked, "largest_plies": largest, "margin": margin}
    return Fact(code="plies-counted", values={**counted, "unit": class_result.principle.unit})
