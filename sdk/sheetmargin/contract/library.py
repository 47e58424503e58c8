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
    """A quantity with the limits within which it is believed to lie with a probability of 90 %."""

    low: float = field(metadata=SIX)
    """Lower limit, in the unit of the field's name."""
    nominal: float = field(metadata=SIX)
    """Best value, in the unit of the field's name."""
    high: float = field(metadata=SIX)
    """Upper limit, in the unit of the field's name."""
    source: str = field(repr=False, metadata=about(cited=True))
    """Publication or standard that the numbers come from."""


@dataclass(frozen=True, kw_only=True)
class MaterialTrappedAir:
    """Thickness of the air trapped between two sheets: percentiles, and the rare sheet that is loose or curled."""

    p5_um: float = field(metadata=SIX)
    """Thickness in µm that 5 % of doubles stay below."""
    p50_um: float = field(metadata=SIX)
    """Thickness in µm that half of the doubles stay below: the median."""
    p95_um: float = field(metadata=SIX)
    """Thickness in µm that 95 % of doubles stay below."""
    loose_share: float = field(metadata=SIX)
    """Share of doubles, from 0 to 1, that are loose or curled."""
    loose_max_um: float = field(metadata=SIX)
    """Largest thickness in µm of the air of those."""
    source: str = field(metadata=about(cited=True))
    """Publication or standard that the numbers come from."""


@dataclass(frozen=True, kw_only=True)
class Porous:
    """Pore space of a sheet that air passes through."""

    porosity: float = field(metadata=SIX)
    """Share of air in the sheet's volume, from 0 to 1."""
    tortuosity: float = field(metadata=SIX)
    """Tortuosity of the pores, without a unit, 1 for straight ones."""
    permeance_um_per_pa_s: Interval
    """Typical air permeance in µm/(Pa s) (ISO 5636) of a sheet of `thickness_um`."""
    thickness_um: float = field(metadata=SIX)
    """Thickness in µm that the permeance is for, as flow resistance grows with it."""
    source: str = field(metadata=about(cited=True))
    """Publication or standard that the numbers come from."""


@dataclass(frozen=True, kw_only=True)
class Material:
    """A material of the library, each number with its source."""

    id: str
    """Id of the material, which a job names it by."""
    name: str
    """Name of the material in the language of the request."""
    synonyms: Sequence[str]
    """Other names in the language of the request, which a job may use too."""
    family: str
    """Family of the material, such as paper or metal."""
    density_kg_m3: Interval
    """Density of the sheet in kg/m³, pores included."""
    elastic: Mapping[str, float | Interval] = field(repr=False, metadata=SIX)
    """Dynamic elastic constants by name, near 200 kHz, the unit in the name."""
    loss_factor: Interval = field(repr=False)
    """Loss factor near 200 kHz, without a unit."""
    mass_tolerance_pct: float = field(repr=False, metadata=SIX)
    """Half width, in % of the grammage, of the range that holds 95 % of sheets."""
    formation_pct: float = field(repr=False, metadata=SIX)
    """Half width, in % of the grammage, of the range that holds 95 % of places within a sheet."""
    trapped_air: MaterialTrappedAir = field(repr=False)
    """Thickness of the air trapped between two sheets."""
    thickness_range_um: Sequence[float] = field(metadata=SIX | about(fewest=2, most=2))
    """Usual thicknesses in µm: smallest and largest."""
    porous: Porous | None = field(repr=False)
    """Pore space of the sheet; null where air does not pass."""
    sources: Sequence[str] = field(repr=False, metadata=about(cited=True))
    """All sources of this entry."""


@dataclass(frozen=True, kw_only=True)
class Materials:
    """Materials of the library that match a query."""

    query: str
    """The query as it was given; empty for all materials."""
    materials: Sequence[Material]
    """Matching materials, best match first; sorted by id for an empty query."""


@dataclass(frozen=True, kw_only=True)
class Housing:
    """Housing of a detector's head with its dimensions."""

    thread: str
    """Thread of the housing (ISO 261), or `rectangular`."""
    pitch_mm: float | None = field(metadata=about(unit="mm", decimals=2))
    """Pitch of the thread in mm; null of a rectangular housing."""
    length_mm: float = field(metadata=MM)
    """Length of the housing in mm, without cable."""
    width_mm: float = field(metadata=MM)
    """Width or diameter of the housing in mm."""
    cable_exit_mm: float | None = field(metadata=MM)
    """Height in mm that cable and bend need behind the housing; null where the catalogue does not tell."""

    def __str__(self) -> str:
        if self.thread == "rectangular":
            return f"{self.length_mm:g} x {self.width_mm:g} mm"
        return f"{self.thread} x {self.pitch_mm:g}" if self.pitch_mm is not None else self.thread


@dataclass(frozen=True, kw_only=True)
class OrderLine(Order):
    """One item to order for a class, and when it is needed."""

    when: Literal["always", "tilted", "upright", "taking-turns"]
    """Set-ups for which it is needed: all, tilted ones, upright ones, or pairs that transmit by turns."""
    serves_lanes: int
    """Number of lanes that one quantity serves."""


@dataclass(frozen=True, kw_only=True)
class Filled:
    """Parameters that the catalogue does not give and that were taken from a reference class."""

    reference_class: str
    """Id of the nearest reference class, from which they were taken."""
    parameters: Sequence[str]
    """Names of those parameters, as a catalogue file has them."""


@dataclass(frozen=True, kw_only=True)
class Demands:
    """What a class demands of its owner, by common practice and as an example: no source is claimed."""

    effort: int
    """Effort to buy and mount it, from 1 (as any proximity switch) to 5 (costly, set by an expert)."""
    marks: bool
    """Whether it may leave marks on the sheet."""
    access: Literal["both-sides", "one-side"]
    """Sides from which it must reach the sheet."""
    bed_needed: bool
    """Whether a support must carry the sheet below it."""
    moving_parts: bool
    """Whether it has moving parts that wear."""
    gap_set_by: Literal["rule", "gauge", "fixture", "contact"]
    """Means to set its gap: a rule, a gauge, a fixture, or contact with the sheet."""
    stays_clean: bool
    """Whether it keeps itself clean."""
    moved_by: Sequence[str]
    """Influences that change its readings and are not calculated."""
    price: float | None = field(metadata=about(digits=6))
    """Price of the catalogue's owner, in `currency`; null where the catalogue has none."""
    currency: str | None
    """Currency of the price (ISO 4217); null where the catalogue has no price."""
    stock: int | None
    """Number that the catalogue's owner has in stock; null where the catalogue does not tell."""


@dataclass(frozen=True, kw_only=True)
class DetectorClass:
    """A detector class: a kind of detector by its physical parameters."""

    id: str
    """Id of the class, which a job names it by."""
    principle: str
    """Id of its sensing principle."""
    illustrative: bool
    """Whether the class is an invented example and not a product."""
    housing: Housing
    """Housing of either head with its dimensions."""
    output: Sequence[str]
    """Outputs that it is available with."""
    supply: str
    """Electrical supply that it needs."""
    ingress: str
    """Degree of protection (IEC 60529), such as IP65."""
    temperature_min_c: float = field(metadata=about(unit="degrees C", decimals=1))
    """Lowest air temperature in °C that it is rated for."""
    temperature_max_c: float = field(metadata=about(unit="degrees C", decimals=1))
    """Highest air temperature in °C that it is rated for."""
    contactless: bool
    """Whether it senses the sheet without touching it."""
    demands: Demands
    """What the class demands of its owner."""
    gap_min_mm: float = field(metadata=MM)
    """Smallest gap in mm that it is made for."""
    gap_max_mm: float = field(metadata=MM)
    """Largest gap in mm that it is made for."""
    frequency_khz: float | None = field(metadata=about(unit="kHz", decimals=1))
    """Working frequency in kHz; null where its principle has none."""
    parameters: Mapping[str, Scalar] = field(metadata=SIX)
    """Physical parameters by name, the unit in the name."""
    filled: Filled | None
    """Parameters that were taken from a reference class; null where the catalogue gives all."""
    order: Sequence[OrderLine]
    """Items to order for the class."""
    source: str
    """Where the numbers of the class come from."""


@dataclass(frozen=True, kw_only=True)
class DetectorClasses:
    """The detector classes of one catalogue."""

    catalogue: str
    """Name of the catalogue that the classes are from."""
    catalogue_version: str
    """Version of the content of the catalogue."""
    classes: Sequence[DetectorClass]
    """The classes in the order of the catalogue."""


@dataclass(frozen=True, kw_only=True)
class Catalogue:
    """A catalogue of detector classes in short."""

    name: str
    """Name of the catalogue, which a job chooses it by."""
    version: str
    """Version of the content of the catalogue."""
    classes: int
    """Number of classes that it has."""
    illustrative: bool
    """Whether any of its classes is an invented example."""
    default: bool
    """Whether it is used for jobs that name no catalogue."""


@dataclass(frozen=True, kw_only=True)
class Catalogues:
    """The catalogues of this service."""

    catalogues: Sequence[Catalogue]
    """The catalogues, sorted by name."""


@dataclass(frozen=True, kw_only=True)
class Stock:
    """A stock of the owner's sheets in short."""

    name: str
    """Name of the stock, which a job chooses it by."""
    version: str
    """Version of the content of its file."""
    articles: int
    """Number of articles that it has."""


@dataclass(frozen=True, kw_only=True)
class Stocks:
    """The stocks of the owner's sheets."""

    stocks: Sequence[Stock]
    """The stocks; the first is for jobs that name none."""


@dataclass(frozen=True, kw_only=True)
class Version:
    """Versions of this service, and what it computes."""

    api: str
    """Version of the API contract, such as v1."""
    build: str
    """Version of the service with a hash of its code."""
    model_version: str
    """Version of the physics, the material library and the decision rules."""
    principles: Sequence[str]
    """Ids of the sensing principles that it computes."""
    results: str = "/docs/results"
    """Path of the page that tells what moved results from one version to the next."""


@dataclass(frozen=True, kw_only=True)
class Status:
    """Whether the service is alive or ready."""

    status: Literal["ok"]
    """Always `ok`; otherwise a problem is returned."""


@dataclass(frozen=True, kw_only=True)
class SheetReading:
    """One meaning that a text about a sheet may have."""

    text: str
    """The meaning in the service's own words and the language of the request, which is understood as the same sheet
    again."""
    certain: bool
    """Whether it is meant without doubt; choose among the others."""
    sheet: Sheet | None
    """The sheet as a job takes it; null where its size is missing or cannot be right."""
    grammage_gsm: float | None = field(metadata=about(unit="g/m2", decimals=2))
    """Grammage of one ply in g/m²; null where `sheet` is."""
    thickness_um: float | None = field(metadata=about(unit="um", decimals=1))
    """Thickness of one ply in µm; null where `sheet` is."""
    detail: str | None
    """What cannot be right; null where only the size is missing, or nothing is wrong."""
    expected: str | None
    """What would be right instead; null where `detail` is."""


@dataclass(frozen=True, kw_only=True)
class SheetReadings:
    """The meanings that a text about a sheet may have."""

    text: str
    """The text as it was given."""
    readings: Sequence[SheetReading]
    """Possible meanings, best first; empty where nothing in the text is known."""
