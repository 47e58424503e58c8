"""Why a set-up fails, or what limits it: one code with its numbers."""

from __future__ import annotations

from sheetmargin_service.principles.protocol import Fact, Receiver, SignalTable
from sheetmargin_service.selection.bands import Bands


def cause(signal_table: SignalTable, receiver: Receiver, bands: Bands, *, setting: int = 0) -> Fact:
    """The first of the classic failures that holds at one setting, in the order in which they hide."""
    i = setting
    no_sheet, single, double = signal_table.no_sheet, signal_table.single, signal_table.double
    lowest, highest = float(receiver.lowest_edge[i]), float(receiver.highest_edge[i])
    if no_sheet.p99[i] > single.p1[i]:
        return Fact(code="too-transparent", values={"single_p1": _r(single.p1[i]), "no_sheet_p99": _r(no_sheet.p99[i])})
    if single.p99[i] > highest:
        return Fact(code="below-noise", values={"single_p99": _r(single.p99[i]), "highest_edge": _r(highest)})
    if single.p1[i] < lowest:
        return Fact(
            code="overload",
            values={"single_p1": _r(single.p1[i]), "double_p1": _r(double.p1[i]), "lowest_edge": _r(lowest)},
        )
    if double.p1[i] < single.p99[i] and double.p99[i] > single.p1[i]:
        return Fact(code="one-looks-like-two", values={"single_p99": _r(single.p99[i]), "double_p1": _r(double.p1[i])})
    return Fact(
        code="narrow-band",
        values={
            "single_p1": _r(single.p1[i]),
            "single_p99": _r(single.p99[i]),
            "double_p1": _r(double.p1[i]),
            "band_low": _r(bands.low[i]),
            "band_high": _r(bands.high[i]),
        },
    )


def _r(value: float) -> float:
    return round(float(value), 1)
