"""What a set-up needs that those before it have not brought already."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil

from sheetmargin.contract.answer import Order

from sheetmargin_service.detectors.model import OrderLine
from sheetmargin_service.selection.configured_pair import ConfiguredPair


def orders(configured_pairs: Sequence[ConfiguredPair]) -> list[tuple[Order, ...]]:
    """The order lines of each pair of a plan, in turn.

    Every lane has its own pair. Stations of one class are one pair that is set anew: a later one orders what its place
    needs beyond the earlier ones.
    """
    ordered: dict[tuple[str, int], int] = {}
    result = []
    for configured_pair in configured_pairs:
        c = configured_pair.class_result.detector_class
        lines = []
        for number, line in enumerate(c.order):
            had = ordered.get((c.id, number), 0)
            wanted = _quantity(line, configured_pair)
            if wanted > had:
                lines.append(Order(role=line.role, part_number=line.part_number, quantity=wanted - had))
                ordered[c.id, number] = wanted
        result.append(tuple(lines))
    return result


def _quantity(line: OrderLine, configured_pair: ConfiguredPair) -> int:
    tilted = configured_pair.choice.tilt is not None and configured_pair.choice.tilt.nominal != 0.0
    mounting = configured_pair.mounting
    needed = {
        "always": True,
        "tilted": tilted,
        "upright": not tilted,
        "taking-turns": mounting is not None and mounting.neighbours is not None and mounting.neighbours.time_slots > 1,
    }
    lanes = configured_pair.class_result.resolved_job.job.line.lanes
    return line.quantity * ceil(lanes / line.serves_lanes) if needed[line.when] else 0
