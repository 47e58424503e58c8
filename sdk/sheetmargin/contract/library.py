"""What the service knows: materials, detector classes, catalogues, and itself."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from sheetmargin.contract.answer import Order
from sheetmargin.contract.fields import MM, about
from sheetmargin.contract.job import Sheet
from sheetmargin.contract.notes import Scalar

SIX = about(digits=6)
"""The library's quantities span twelve decades."""


@dataclass(frozen=True, kw_only=True)
class Interval:
    """A quantity that is known only within limits, believed to hold about 90 %."""

    low: float = field(metadata=SIX)
    """Lower limit."""
    nominal: float = field(metadata=SIX)
    """Best value."""
    high: float = field(metadata=SIX)
    """Upper limit."""
    source: str = field(repr=False)
    """Where it comes from."""


@dataclass(frozen=True, kw_only=True)
class MaterialTrappedAir:
    """Air between two sheets: percentiles of its thickness, and the rare loose or curled sheet."""

    p5_um: float = field(metadata=SIX)
    """5th percentile."""
    p50_um: float = field(metadata=SIX)
    """Median."""
    p95_um: float = field(metadata=SIX)
    """95th percentile."""
    loose_share: float = field(metadata=SIX)
    """Share of doubles that are loose or curled."""
    loose_max_um: float = field(metadata=SIX)
    """Widest air of those."""
    source: str
    """Where it comes from."""


@dataclass(frozen=True, kw_only=True)
class Porous:
    """Pore space of an air-permeable sheet."""

    porosity: float = field(metadata=SIX)
    """Share of air."""
    tortuosity: float = field(metadata=SIX)
    """Tortuosity."""
    permeance_um_per_pa_s: Interval
    """Typical air permeance (ISO 5636) of a sheet of `thickness_um`."""
    thickness_um: float = field(metadata=SIX)
    """Thickness that the permeance is for: flow resistance grows with it."""
    source: str
    """Where it comes from."""


@dataclass(frozen=True, kw_only=True)
class Material:
    """A material of the library, each number with its source."""

    id: str
    """Id to name it by."""
    name: str
    """Name in the answer's language."""
    synonyms: Sequence[str]
    """Other names in the answer's language; they are taken for the id."""
    family: str
    """Family."""
    density_kg_m3: Interval
    """Density."""
    elastic: Mapping[str, float | Interval] = field(repr=False, metadata=SIX)
    """Dynamic elastic constants by name, near 200 kHz."""
    loss_factor: Interval = field(repr=False)
    """Loss factor near 200 kHz."""
    mass_tolerance_pct: float = field(repr=False, metadata=SIX)
    """Half width of the mass per area that holds 95 % of sheets."""
    formation_pct: float = field(repr=False, metadata=SIX)
    """Half width of the mass per area from place to place in a sheet that holds 95 %."""
    trapped_air: MaterialTrappedAir = field(repr=False)
    """Air caught between two sheets."""
    thickness_range_um: Sequence[float] = field(metadata=SIX | about(fewest=2, most=2))
    """Usual thicknesses, from and to."""
    porous: Porous | None = field(repr=False)
    """Pores, where air passes."""
    sources: Sequence[str] = field(repr=False)
    """Every source of this entry."""


@dataclass(frozen=True, kw_only=True)
class Materials:
    """Materials found."""

    query: str
    """What was looked for; empty for all."""
    materials: Sequence[Material]
    """Best match first; by id for an empty query."""


@dataclass(frozen=True, kw_only=True)
class Housing:
    """Body of one head."""

    thread: str
    """Thread by ISO 261, or `rectangular`."""
    pitch_mm: float | None = field(metadata=about(unit="mm", decimals=2))
    """Pitch of the thread."""
    length_mm: float = field(metadata=MM)
    """Length."""
    width_mm: float = field(metadata=MM)
    """Width or diameter."""
    cable_exit_mm: float | None = field(metadata=MM)
    """Height that cable and bend take behind the body; null where the catalogue does not tell."""

    def __str__(self) -> str:
        if self.thread == "rectangular":
            return f"{self.length_mm:g} x {self.width_mm:g} mm"
        return f"{self.thread} x {self.pitch_mm:g}" if self.pitch_mm is not None else self.thread


@dataclass(frozen=True, kw_only=True)
class OrderLine(Order):
    """One thing to order for a class, and when."""

    when: Literal["always", "tilted", "upright", "taking-turns"]
    """For which set-ups it is needed."""
    serves_lanes: int
    """For how many lanes one quantity serves."""


@dataclass(frozen=True, kw_only=True)
class Filled:
    """Parameters that the catalogue does not give."""

    reference_class: str
    """The nearest reference class, from which they are taken."""
    parameters: Sequence[str]
    """Their names, as a catalogue file has them."""


@dataclass(frozen=True, kw_only=True)
class Demands:
    """What a class asks of its owner, by order and illustrative: common practice, no source."""

    effort: int
    """To buy and to mount: 1, like any proximity switch, to 5, dear and set by an expert."""
    marks: bool
    """Whether it may leave marks on the sheet."""
    access: Literal["both-sides", "one-side"]
    """From where it must reach the sheet."""
    bed_needed: bool
    """Whether something must carry the sheet below it."""
    moving_parts: bool
    """Whether it has parts that wear."""
    gap_set_by: Literal["rule", "gauge", "fixture", "contact"]
    """What its gap is set with."""
    stays_clean: bool
    """Whether it keeps clean by itself."""
    moved_by: Sequence[str]
    """What moves a reading and is not computed."""
    price: float | None = field(metadata=about(digits=6))
    """The owner's price; null where the catalogue has none."""
    currency: str | None
    """Currency of the price (ISO 4217)."""
    stock: int | None
    """How many the owner has; null where the catalogue does not tell."""


@dataclass(frozen=True, kw_only=True)
class DetectorClass:
    """A kind of detector pair by its physical parameters."""

    id: str
    """Id to name it by."""
    principle: str
    """Sensing principle."""
    illustrative: bool
    """Whether it is invented, and no product."""
    housing: Housing
    """Body."""
    output: Sequence[str]
    """Outputs it comes with."""
    supply: str
    """Supply."""
    ingress: str
    """Ingress protection (IEC 60529)."""
    temperature_min_c: float = field(metadata=about(unit="degrees C", decimals=1))
    """Lowest temperature."""
    temperature_max_c: float = field(metadata=about(unit="degrees C", decimals=1))
    """Highest temperature."""
    contactless: bool
    """Whether it leaves the sheet untouched."""
    demands: Demands
    """What it asks of its owner."""
    gap_min_mm: float = field(metadata=MM)
    """Least gap that it is made for."""
    gap_max_mm: float = field(metadata=MM)
    """Greatest gap that it is made for."""
    frequency_khz: float | None = field(metadata=about(unit="kHz", decimals=1))
    """Working frequency; null where its principle has none."""
    parameters: Mapping[str, Scalar] = field(metadata=SIX)
    """Physical parameters by name, with the unit in the name."""
    filled: Filled | None
    """What was taken from a reference class, if anything."""
    order: Sequence[OrderLine]
    """What to order."""
    source: str
    """Where the numbers come from."""


@dataclass(frozen=True, kw_only=True)
class DetectorClasses:
    """The detector classes of a catalogue."""

    catalogue: str
    """Name of the catalogue."""
    catalogue_version: str
    """Version of its content."""
    classes: Sequence[DetectorClass]
    """Its classes."""


@dataclass(frozen=True, kw_only=True)
class Catalogue:
    """A catalogue of detector classes."""

    name: str
    """Name to choose it by."""
    version: str
    """Version of its content."""
    classes: int
    """How many classes it has."""
    illustrative: bool
    """Whether any of its classes is invented."""
    default: bool
    """Whether it is the one for jobs that name none."""


@dataclass(frozen=True, kw_only=True)
class Catalogues:
    """The catalogues of this service."""

    catalogues: Sequence[Catalogue]
    """By name."""


@dataclass(frozen=True, kw_only=True)
class Version:
    """What this service is."""

    api: str
    """Version of the contract."""
    build: str
    """Version of the service and a hash of its code."""
    model_version: str
    """Version of the physics, the library and the decision."""
    principles: Sequence[str]
    """Sensing principles it computes."""


@dataclass(frozen=True, kw_only=True)
class Status:
    """How the service is."""

    status: Literal["ok"]
    """`ok`."""


@dataclass(frozen=True, kw_only=True)
class SheetReading:
    """One way to read a text about a sheet."""

    text: str
    """The same in the service's words and the answer's language; it is read as the same sheet again."""
    certain: bool
    """Whether it is meant without a doubt; others are to be picked from."""
    sheet: Sheet | None
    """As a job takes it; null while its size is missing or cannot be right."""
    grammage_gsm: float | None = field(metadata=about(unit="g/m2", decimals=2))
    """Mass per area of one ply."""
    thickness_um: float | None = field(metadata=about(unit="um", decimals=1))
    """Thickness of one ply."""
    detail: str | None
    """What cannot be right; null where only the size is missing."""
    expected: str | None
    """What would be right instead."""


@dataclass(frozen=True, kw_only=True)
class SheetReadings:
    """What a text about a sheet may mean."""

    text: str
    """The text."""
    readings: Sequence[SheetReading]
    """Best first; empty where nothing in the text is known."""
