"""Shingled sheets: how many lie on one another, and what of that is correct.

Of sheets of length L whose starts follow each other by the pitch p, floor(L/p) lie on one another over a part of each
pitch, and one more over the other, L - floor(L/p) p; where L/p is whole their number never changes. Both numbers are
correct. A double is one more than the greater of them, over the part where that is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import reduce
from math import floor

import numpy as np
from sheetmargin.contract.job import Line

from sheetmargin_service.materials.sheet import Lap, Sheet
from sheetmargin_service.principles.protocol import ClassModel, SignalDistribution, SignalTable, Span

WHOLE = 1e-9
"""A length is a whole number of pitches within this share of one: what is left is rounding of the numbers given."""


@dataclass(frozen=True, kw_only=True)
class Stream:
    """Sheets of one length at one pitch."""

    length_mm: float
    pitch_mm: float

    @property
    def fewest(self) -> int:
        return floor(self.length_mm / self.pitch_mm + WHOLE)

    @property
    def thick_mm(self) -> float:
        """How much of each pitch one more than the fewest lie on one another over; 0 where their number is steady."""
        left = self.length_mm - self.fewest * self.pitch_mm
        return left if left > WHOLE * self.pitch_mm else 0.0

    @property
    def most(self) -> int:
        return self.fewest + 1 if self.thick_mm > 0.0 else self.fewest

    @property
    def counts(self) -> tuple[int, ...]:
        """The numbers that lie on one another, the one that is there for longer first."""
        if self.fewest == self.most:
            return (self.fewest,)
        return (self.fewest, self.most) if self.pitch_mm >= 2.0 * self.thick_mm else (self.most, self.fewest)

    @property
    def double_mm(self) -> float:
        """Length over which a double has one more than the most."""
        return self.thick_mm if self.thick_mm > 0.0 else self.length_mm


def stream_of(line: Line) -> Stream | None:
    """The stream of a line; None where sheets do not lie on one another."""
    length, pitch = line.sheet_length_mm, line.shingle_pitch_mm
    if not line.shingled or length is None or pitch is None or pitch > length:
        return None
    return Stream(length_mm=length, pitch_mm=pitch)


def in_stream(sheet: Sheet, stream: Stream) -> tuple[Sheet, ...]:
    """What a correct stream of a sheet has in the beam, in turn, the one that is there for longer first."""
    one_more = sheet.plies if sheet.double_kind == "another-piece" else 1
    fewer = stream.fewest * sheet.plies - 1 if sheet.double_kind == "one-ply-more" else 0
    return tuple(
        replace(
            sheet,
            plies=count * sheet.plies,
            lap=Lap(
                double_plies=stream.most * sheet.plies + one_more,
                fewer_plies=fewer if fewer and count == stream.fewest else None,
                taught_plies=stream.counts[0] * sheet.plies,
            ),
        )
        for count in stream.counts
    )


def signal_table_in_beam(class_model: ClassModel, in_beam: Sequence[Sheet]) -> SignalTable:
    """What a class sees of all that is correct in the beam, as one: from the least to the greatest, in the middle what
    is there for longer."""
    signal_tables = [class_model.signal_table(sheet) for sheet in in_beam]
    fewer = next((signal_table.fewer for signal_table in signal_tables if signal_table.fewer is not None), None)
    return replace(
        signal_tables[0], single=widest([signal_table.single for signal_table in signal_tables]), fewer=fewer
    )


def distribution_in_beam(distributions: Sequence[SignalDistribution]) -> SignalDistribution:
    """The same of what a class reads at one setting, of one or two correct states."""
    first, *rest = distributions
    fewer = next((distribution.fewer for distribution in distributions if distribution.fewer is not None), None)
    return replace(first, fewer=fewer, other=rest[0].single if rest else None)


def widest(spans: Sequence[Span]) -> Span:
    """From the least p1 to the greatest p99 of some spans, with the first one's p50."""
    return Span(
        p1=reduce(np.minimum, [span.p1 for span in spans]),
        p50=spans[0].p50,
        p99=reduce(np.maximum, [span.p99 for span in spans]),
    )
