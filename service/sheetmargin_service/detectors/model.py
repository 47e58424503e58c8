"""A detector class: a kind of detector pair by its physical parameters, never by a name."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from sheetmargin_service.detectors.demands import Demands
from sheetmargin_service.detectors.ingress import is_rating
from sheetmargin_service.detectors.parameters import Parameters
from sheetmargin_service.tables import NOT_IN_TABLES

CABLE_EXIT_MM = 25.0
"""A cable of 5 mm bent by 90 degrees at 4 to 5 times its diameter (typical, from memory)."""


@dataclass(frozen=True, kw_only=True)
class Housing:
    """Body of one head. `thread` is an ISO 261 designation or 'rectangular', which has no pitch.

    `cable_exit_mm` is the height that plug or cable and its bend take behind the body, 0 where it leaves at the side;
    where it is not given, 25 mm are assumed.
    """

    thread: str
    pitch_mm: float | None = None
    length_mm: float
    width_mm: float
    cable_exit_mm: float | None = None

    @property
    def depth_mm(self) -> float:
        """From the face to the end of the cable's bend."""
        return self.length_mm + (CABLE_EXIT_MM if self.cable_exit_mm is None else self.cable_exit_mm)

    def problems(self) -> list[str]:
        rules = {
            "pitch_mm for a thread, none for 'rectangular'": (self.pitch_mm is None) == (self.thread == "rectangular"),
            "length_mm and width_mm above 0": min(self.length_mm, self.width_mm) > 0,
            "cable_exit_mm not negative": self.cable_exit_mm is None or self.cable_exit_mm >= 0,
        }
        return [rule for rule, holds in rules.items() if not holds]


@dataclass(frozen=True, kw_only=True)
class OrderLine:
    """One thing to order for a class: `quantity` of it for every `serves_lanes` lanes.

    `when`: always, or only for a pair that is tilted, that stands upright, or that takes turns with its neighbours.
    """

    role: str
    part_number: str | None = None
    quantity: int
    when: Literal["always", "tilted", "upright", "taking-turns"] = "always"
    serves_lanes: int = 1

    def problems(self) -> list[str]:
        rules = {
            "role of at least one letter": bool(self.role.strip()),
            "quantity of at least 1": self.quantity >= 1,
            "serves_lanes of at least 1": self.serves_lanes >= 1,
        }
        return [rule for rule, holds in rules.items() if not holds]


@dataclass(frozen=True, kw_only=True)
class Filled:
    """Parameters that were taken from a reference class because the catalogue does not give them."""

    reference_class: str
    parameters: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class DetectorClass:
    """A class of detector pairs that one recommendation can name. `parameters` belongs to the principle.

    `illustrative`: invented by physical parameters, and no product.
    """

    id: str
    principle: str
    illustrative: bool = False
    housing: Housing
    output: tuple[str, ...]
    supply: str
    ingress: str
    temperature_min_c: float
    temperature_max_c: float
    contactless: bool
    demands: Demands = field(default_factory=Demands)
    order: tuple[OrderLine, ...]
    parameters: Parameters
    source: str
    filled: Filled | None = field(default=None, metadata=NOT_IN_TABLES)

    def problems(self) -> list[str]:
        rules = {
            "ingress as IP65, or several as IP66/IP67 (IEC 60529)": is_rating(self.ingress),
            "temperature_min_c below temperature_max_c": self.temperature_min_c < self.temperature_max_c,
            "at least one output": bool(self.output),
            "at least one order line": bool(self.order),
        }
        return [rule for rule, holds in rules.items() if not holds]
