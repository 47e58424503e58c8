"""What a detector class asks of its owner: effort, access, and what else than the sheets moves its readings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Access = Literal["both-sides", "one-side"]
GapSetBy = Literal["rule", "gauge", "fixture", "contact"]
Influence = Literal["print", "gloss", "transparency", "moisture", "oil", "dust", "temperature", "magnetism"]


@dataclass(frozen=True, kw_only=True)
class Demands:
    """What a class asks of its owner. By order, illustrative: nobody has published such figures.

    `effort` runs from 1, bought and mounted like any proximity switch, to 5, dear and set by an expert. `moved_by`:
    what moves a reading and is not computed, as the air's temperature is for sound, and as is what is not known of
    steel's permeability. `price` in `currency` and `stock` are an owner's own, and only passed on.
    """

    effort: int = 3
    marks: bool = False
    access: Access = "both-sides"
    bed_needed: bool = False
    moving_parts: bool = False
    gap_set_by: GapSetBy = "rule"
    stays_clean: bool = True
    moved_by: tuple[Influence, ...] = ()
    price: float | None = None
    currency: str | None = None
    stock: int | None = None

    def problems(self) -> list[str]:
        rules = {
            "effort of 1 to 5": 1 <= self.effort <= 5,
            "price not negative": self.price is None or self.price >= 0,
            "currency of three capitals (ISO 4217) with a price": (self.price is None) == (self.currency is None)
            and (self.currency is None or (len(self.currency) == 3 and self.currency.isupper())),
            "stock not negative": self.stock is None or self.stock >= 0,
        }
        return [rule for rule, holds in rules.items() if not holds]
