"""What the service knows: materials, detector classes, catalogues, and itself.

As in answers, an unknown field is ignored and a missing one is None or empty.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from sheetmargin.answer import Order
from sheetmargin.notes import Scalar


@dataclass(frozen=True, kw_only=True)
class Interval:
    """A quantity known only within limits, believed to hold about 90 %."""

    low: float | None = None
    nominal: float | None = None
    high: float | None = None
    source: str | None = field(default=None, repr=False)


@dataclass(frozen=True, kw_only=True)
class MaterialTrappedAir:
    """Thickness of the air between two sheets: percentiles, and the rare loose or curled sheet."""

    p5_um: float | None = None
    p50_um: float | None = None
    p95_um: float | None = None
    loose_share: float | None = None
    loose_max_um: float | None = None
    source: str | None = None


@dataclass(frozen=True, kw_only=True)
class Porous:
    """Pore space of an air-permeable sheet."""

    porosity: float | None = None
    tortuosity: float | None = None
    permeance_um_per_pa_s: float | None = None
    source: str | None = None


@dataclass(frozen=True, kw_only=True)
class Material:
    """A material of the library. `elastic` holds dynamic constants by name, intervals or single numbers."""

    id: str | None = None
    name: str | None = None
    synonyms: tuple[str, ...] = ()
    family: str | None = None
    density_kg_m3: Interval = Interval()
    elastic: dict[str, float | Interval] = field(default_factory=dict, repr=False)
    loss_factor: Interval = field(default=Interval(), repr=False)
    mass_tolerance_pct: float | None = field(default=None, repr=False)
    formation_pct: float | None = field(default=None, repr=False)
    trapped_air: MaterialTrappedAir = field(default=MaterialTrappedAir(), repr=False)
    thickness_range_um: tuple[float, ...] = ()
    porous: Porous | None = field(default=None, repr=False)
    sources: tuple[str, ...] = field(default=(), repr=False)


@dataclass(frozen=True, kw_only=True)
class Housing:
    """Body of one head. `thread` is an ISO metric thread or `rectangular`."""

    thread: str | None = None
    pitch_mm: float | None = None
    length_mm: float | None = None
    width_mm: float | None = None
    cable_exit_mm: float | None = None

    def __str__(self) -> str:
        if self.thread == "rectangular":
            return f"{self.length_mm:g} x {self.width_mm:g} mm"
        return f"{self.thread} x {self.pitch_mm:g}" if self.pitch_mm is not None else f"{self.thread}"


@dataclass(frozen=True, kw_only=True)
class OrderLine(Order):
    """One thing to order for a class: `quantity` for every `serves_lanes` lanes, in set-ups of which `when` holds."""

    when: str | None = None
    serves_lanes: int | None = None


@dataclass(frozen=True, kw_only=True)
class Filled:
    """Parameters that the catalogue does not give, taken from the nearest reference class."""

    reference_class: str | None = None
    parameters: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class DetectorClass:
    """A kind of detector pair by its physical parameters, which belong to its principle."""

    id: str | None = None
    principle: str | None = None
    illustrative: bool | None = None
    housing: Housing = Housing()
    output: tuple[str, ...] = ()
    supply: str | None = None
    ingress: str | None = None
    temperature_min_c: float | None = None
    temperature_max_c: float | None = None
    contactless: bool | None = None
    parameters: dict[str, Scalar] = field(default_factory=dict)
    filled: Filled | None = None
    order: tuple[OrderLine, ...] = ()
    source: str | None = None


@dataclass(frozen=True, kw_only=True)
class Catalogue:
    """A named, versioned set of detector classes."""

    name: str | None = None
    version: str | None = None
    classes: int | None = None
    illustrative: bool | None = None
    default: bool | None = None


@dataclass(frozen=True, kw_only=True)
class Version:
    """What answered: versions of the contract, of the service's code, and of what its numbers rest on."""

    api: str | None = None
    build: str | None = None
    model_version: str | None = None
    principles: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Materials:
    """Envelope of the list of materials."""

    materials: tuple[Material, ...] = ()


@dataclass(frozen=True, kw_only=True)
class DetectorClasses:
    """Envelope of the list of classes."""

    classes: tuple[DetectorClass, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Catalogues:
    """Envelope of the list of catalogues."""

    catalogues: tuple[Catalogue, ...] = ()
