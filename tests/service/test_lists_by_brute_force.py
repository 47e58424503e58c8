"""Ten lists of real sheets: fewest detectors, positions and bands, proved by trying everything.

To first order, as a list is planned: which way of setting a class holds which sheet within its band. No search is
pruned here: every set of classes, every set of their positions, every set of bands, from the smallest up.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import combinations

import numpy as np
import pytest
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin_service.selection.list_cover.candidates import Candidates
from sheetmargin_service.selection.list_cover.cover import covers
from sheetmargin_service.selection.list_cover.options import list_of
from support.class_results import class_results

COATED = [SheetSpec(material="coated-paper", grammage_gsm=gsm) for gsm in (60, 80, 100, 150, 250, 300)]
OFFSET = [SheetSpec(material="offset-paper", grammage_gsm=gsm) for gsm in (60, 90, 150, 300)]
BOARDS = [
    SheetSpec(material=m, grammage_gsm=300) for m in ("folding-boxboard", "coated-board", "white-lined-chipboard")
]
STEEL = [SheetSpec(material="steel", thickness_um=um) for um in (300, 800, 1500)]
ALUMINIUM = [SheetSpec(material="aluminium", thickness_um=um) for um in (100, 280, 1000)]
FILMS = [SheetSpec(material="pet", thickness_um=um) for um in (50, 100, 250)]
CARD = SheetSpec(material="pvc-rigid", thickness_um=760)
SOUND = ("ultrasonic-180k", "ultrasonic-400k", "ultrasonic-180k-high-output")
MIXED = ("ultrasonic-300k", "capacitive-200k", "eddy-current-1k", "thickness-roller")
LISTS: dict[str, tuple[Sequence[SheetSpec], tuple[str, ...]]] = {
    "coated papers": (COATED, SOUND),
    "offset papers": (OFFSET, SOUND),
    "boards": (BOARDS, SOUND),
    "papers and boards": ([*OFFSET[1:3], *BOARDS], SOUND),
    "films": (FILMS, SOUND),
    "card among papers": ([*OFFSET[:2], CARD], SOUND),
    "steel": (STEEL, ("eddy-current-1k", "eddy-current-80", "thickness-laser")),
    "metals": ([*STEEL[:2], *ALUMINIUM], ("eddy-current-1k", "eddy-current-10k", "eddy-current-80")),
    "paper, board and steel": ([OFFSET[1], BOARDS[1], STEEL[1]], MIXED),
    "of every kind": ([COATED[1], BOARDS[0], FILMS[1], ALUMINIUM[1], CARD], MIXED),
}


def together(masks: Iterable[int]) -> int:
    result = 0
    for mask in masks:
        result |= mask
    return result


def fewest(candidates: Candidates) -> tuple[int, int, int]:
    """Detectors, positions and bands of the best way to serve all that can be served."""
    serves = [int(sum(1 << s for s in np.flatnonzero(np.isfinite(row)))) for row in candidates.margin]
    rows = list(zip(candidates.classes, candidates.positions, candidates.profiles, serves, strict=True))
    everyone = together(serves)
    names = sorted(set(candidates.classes))
    for size in range(1, len(names) + 1):
        found = [
            counted
            for group in combinations(names, size)
            if together(mask for name, _, _, mask in rows if name in group) == everyone
            and (counted := _of_classes([row for row in rows if row[0] in group], everyone)) is not None
        ]
        if found:
            return (size, *min(found))
    raise AssertionError("all classes together serve all that they serve")


def _of_classes(rows: list[tuple[str, tuple[float, float], str, int]], everyone: int) -> tuple[int, int] | None:
    """Positions and bands; every class of the group has a position at least, or the group would be smaller."""
    places: dict[tuple[str, tuple[float, float]], int] = {}
    for name, position, _, mask in rows:
        places[name, position] = places.get((name, position), 0) | mask
    for count in range(1, len(everyone_of(everyone)) + 1):
        at = [chosen for chosen in combinations(places, count) if together(places[p] for p in chosen) == everyone]
        if at:
            return count, min(_bands([row for row in rows if (row[0], row[1]) in chosen], everyone) for chosen in at)
    return None


def _bands(rows: list[tuple[str, tuple[float, float], str, int]], everyone: int) -> int:
    bands: dict[tuple[str, str], int] = {}
    for name, _, profile, mask in rows:
        bands[name, profile] = bands.get((name, profile), 0) | mask
    # A band that serves no more than another need not be tried.
    masks = [m for m in set(bands.values()) if not any(m != o and m & o == m for o in set(bands.values()))]
    return next(n for n in range(1, len(masks) + 1) if any(together(c) == everyone for c in combinations(masks, n)))


def everyone_of(mask: int) -> list[int]:
    return [bit for bit in range(mask.bit_length()) if mask >> bit & 1]


@pytest.mark.parametrize("name", LISTS)
def test_a_list_takes_no_more_than_it_must(name):
    sheets, classes = LISTS[name]
    tables = [list_of(found).candidates for found in class_results(*sheets, classes=classes)]
    merged = sorted(
        (
            row
            for table in tables
            for row in zip(table.classes, table.positions, table.profiles, table.margin, strict=True)
        ),
        key=lambda row: row[:3],
    )
    candidates = Candidates(
        classes=tuple(row[0] for row in merged),
        positions=tuple(row[1] for row in merged),
        profiles=tuple(row[2] for row in merged),
        margin=np.array([row[3] for row in merged]),
    )
    cover = next(covers(candidates, limit=1))
    positions = {(candidates.classes[row], candidates.positions[row]) for row in cover.rows}
    bands = {(candidates.classes[row], candidates.profiles[row]) for row in cover.rows}
    told = (len(cover.classes), len(positions), len(bands))
    print(name, told, "not served:", cover.unserved)
    assert told == fewest(candidates)
