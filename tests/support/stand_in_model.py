"""A bench whose surveys are written down, for tests of what is made of them."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray
from sheetmargin_service.principles.protocol import Receiver, Settings, SignalTable, Span

Array = NDArray[np.float64]


def span(p1: ArrayLike, p50: ArrayLike, p99: ArrayLike, *, count: int) -> Span:
    """Percentiles at `count` settings, each a number or one for every setting."""
    full = {
        name: np.broadcast_to(np.asarray(v, dtype=float), count).copy()
        for name, v in (("p1", p1), ("p50", p50), ("p99", p99))
    }
    return Span(**full)


@dataclass(frozen=True, kw_only=True)
class StandIn:
    """Gaps and tilts, and how far the receiver reaches."""

    gaps_mm: tuple[float, ...] = (20.0, 30.0, 40.0, 50.0, 60.0)
    tilts_deg: tuple[float, ...] = (0.0, 10.0, 20.0)
    lowest: float = 1.0
    highest: float = 120.0
    tilts: bool = True
    marks: dict[str, object] = field(default_factory=dict)

    @property
    def count(self) -> int:
        return len(self.gaps_mm) * len(self.tilts_deg)

    @property
    def settings(self) -> Settings:
        """Gap major, tilt minor."""
        return Settings(
            gap_mm=np.repeat(np.array(self.gaps_mm), len(self.tilts_deg)),
            tilt_deg=np.tile(np.array(self.tilts_deg), len(self.gaps_mm)),
            tilts=self.tilts,
        )

    @property
    def receiver(self) -> Receiver:
        return Receiver(
            lowest_edge=np.full(self.count, self.lowest),
            highest_edge=np.full(self.count, self.highest),
            widest_band=200.0,
        )

    def signal_table(self, *, single: ArrayLike, double: ArrayLike, half: float = 4.0) -> SignalTable:
        """One sheet and two about these medians, p1 and p99 `half` away."""
        one, two = (np.broadcast_to(np.asarray(v, dtype=float), self.count) for v in (single, double))
        return SignalTable(
            no_sheet=span(-half, 0.0, half, count=self.count),
            single=span(one - half, one, one + half, count=self.count),
            double=span(two - half, two, two + half, count=self.count),
        )
