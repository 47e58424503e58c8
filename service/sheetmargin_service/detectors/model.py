"""A detector class: a kind of detector pair by its physical parameters, never by a name."""

from __future__ import annotations

from dataclasses import dataclass

from sheetmargin_service.detectors.parameters import (
    CaliperParameters,
    CapacitiveParameters,
    EddyCurrentParameters,
    OpticalParameters,
    Parameters,
    UltrasonicParameters,
)

__all__ = [
    "CaliperParameters",
    "CapacitiveParameters",
    "DetectorClass",
    "EddyCurrentParameters",
    "Housing",
    "OpticalParameters",
    "OrderLine",
    "Parameters",
    "UltrasonicParameters",
]


@dataclass(frozen=True, kw_only=True)
class Housing:
    """Body of one head. `thread` is an ISO 261 designation or 'rectangular', which has no pitch."""

    thread: str
    pitch_mm: float | None = None
    length_mm: float
    width_mm: float

    def problems(self) -> list[str]:
        rules = {
            "pitch_mm for a thread, none for 'rectangular'": (self.pitch_mm is None) == (self.thread == "rectangular"),
            "length_mm and width_mm above 0": min(self.length_mm, self.width_mm) > 0,
        }
        return [rule for rule, holds in rules.items() if not holds]


@dataclass(frozen=True, kw_only=True)
class OrderLine:
    """One thing to order for a class."""

    role: str
    part_number: str | None = None
    quantity: int

    def problems(self) -> list[str]:
        return [] if self.quantity >= 1 else ["quantity of at least 1"]


@dataclass(frozen=True, kw_only=True)
class DetectorClass:
    """A class of detector pairs that one recommendation can name. `parameters` belongs to the principle."""

    id: str
    principle: str
    illustrative: bool = True
    housing: Housing
    output: tuple[str, ...]
    supply: str
    ingress: str
    temperature_min_c: float
    temperature_max_c: float
    contactless: bool
    order: tuple[OrderLine, ...]
    parameters: Parameters
    source: str

    def problems(self) -> list[str]:
        rules = {
            "temperature_min_c below temperature_max_c": self.temperature_min_c < self.temperature_max_c,
            "at least one output": bool(self.output),
            "at least one order line": bool(self.order),
        }
        return [rule for rule, holds in rules.items() if not holds]
