"""A converter's stock list, invented: good rows, rows that nothing serves, and rows that are bad in ten ways."""

from __future__ import annotations

import csv
import io
import random
from collections.abc import Mapping
from dataclasses import dataclass

COLUMNS = (
    *("article", "shelf", "reference", "label", "material", "grammage_gsm", "thickness_um", "caliper_pt"),
    *("basis_weight_lb", "basis", "flutter_mm", "clearance_above_mm", "clearance_below_mm"),
    *("temperature_min_c", "temperature_max_c", "ingress", "classes"),
)
"""The first two are the owner's own."""

GRAMMAGES = {
    "copy-paper": range(70, 151, 20),
    "coated-paper": range(100, 221, 30),
    "kraft-paper": range(60, 131, 20),
    "newsprint": range(40, 53, 6),
    "card-stock": range(170, 301, 30),
    "coated-board": range(200, 401, 50),
    "folding-boxboard": range(220, 451, 50),
    "greyboard": range(400, 801, 100),
}
"""Mass per area in g/m2 of sheets that a mid-range ultrasonic pair can serve."""

UNSUITABLE: tuple[Mapping[str, str], ...] = (
    {"material": "bopp", "grammage_gsm": "", "thickness_um": "20"},
    {"clearance_above_mm": "4", "clearance_below_mm": "4"},
    {"ingress": "IP69K"},
)
"""Too thin for sound; no room for a pair; a protection that no class of the list has."""


@dataclass(frozen=True, kw_only=True)
class Way:
    """One way to be bad: what differs from a good row, and the column that is to blame, if one is."""

    cells: Mapping[str, str]
    field: str | None
    extra: str | None = None


BAD = {
    "unknown material": Way(cells={"material": "coppy-paper"}, field="material"),
    "no material": Way(cells={"material": ""}, field="material"),
    "no size": Way(cells={"grammage_gsm": ""}, field="grammage_gsm"),
    "words for a number": Way(cells={"grammage_gsm": "eighty"}, field="grammage_gsm"),
    "a negative number": Way(cells={"grammage_gsm": "-80"}, field="grammage_gsm"),
    "mass against thickness": Way(cells={"thickness_um": "2"}, field="grammage_gsm"),
    "a weight without its basis": Way(cells={"grammage_gsm": "", "basis_weight_lb": "20"}, field="basis"),
    "air colder than itself": Way(
        cells={"temperature_min_c": "40", "temperature_max_c": "10"}, field="temperature_min_c"
    ),
    "unknown class": Way(cells={"classes": "own-181"}, field="classes"),
    "a comma not quoted": Way(cells={}, field=None, extra="white"),
}


@dataclass(frozen=True, kw_only=True)
class StockRow:
    """Cells by column; `kind` is `good`, `unsuitable` or a way of `BAD`."""

    kind: str
    cells: Mapping[str, str]
    extra: str | None = None


def stock_rows(*, good: int, unsuitable: int, bad: int, seed: int) -> list[StockRow]:
    """A list in an order that the seed gives; the same seed gives the same list."""
    chance = random.Random(seed)
    kinds = [
        *["good"] * good,
        *["unsuitable"] * unsuitable,
        *(list(BAD)[number % len(BAD)] for number in range(bad)),
    ]
    rows = []
    for number, kind in enumerate(kinds):
        material = chance.choice(list(GRAMMAGES))
        cells = {
            "shelf": f"{chance.randint(1, 40)}-{chance.choice('ABCD')}",
            "reference": f"order {number}",
            "label": f'{material}, "{chance.choice(("grain long", "grain short"))}"',
            "material": material,
            "grammage_gsm": str(chance.choice(GRAMMAGES[material])),
        }
        way = BAD.get(kind)
        if way is not None:
            cells |= way.cells
        elif kind == "unsuitable":
            cells |= UNSUITABLE[number % len(UNSUITABLE)]
        rows.append(StockRow(kind=kind, cells=cells, extra=way.extra if way else None))
    chance.shuffle(rows)
    # Numbers with leading zeros are names.
    return [
        StockRow(kind=row.kind, cells={"article": f"{number:06d}", **row.cells}, extra=row.extra)
        for number, row in enumerate(rows)
    ]


def stock_csv(rows: list[StockRow]) -> str:
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(COLUMNS)
    for row in rows:
        writer.writerow([*(row.cells.get(name, "") for name in COLUMNS), *([row.extra] if row.extra else [])])
    return text.getvalue()
