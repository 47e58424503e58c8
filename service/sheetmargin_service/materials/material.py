"""What the library knows of one material, each number with its source."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

from sheetmargin.contract.fields import about

from sheetmargin_service.cached import cached_property
from sheetmargin_service.errors import FieldError

LANGUAGES = {"en", "de"}
Family = Literal[
    "adhesive",
    "board",
    "ceramic",
    "coating",
    "core",
    "custom",
    "film",
    "foam",
    "glass",
    "leather",
    "metal",
    "nonwoven",
    "paper",
    "plastic",
    "rubber",
    "semiconductor",
    "textile",
    "wood",
]
_MODULUS = about(unit="GPa", ge=1e-6, le=1_500)
_AIR_UM = about(unit="um", ge=0.1, le=5_000)
_HALF_WIDTH = about(unit="%", ge=0, le=60)


def _named(names: tuple[str, ...], table: Any, *, key: str) -> Any:
    """The table with each number of the list at `key` under a name of its own."""
    numbers = table.get(key) if isinstance(table, dict) else None
    if not isinstance(numbers, list):
        return table
    if len(numbers) != len(names):
        raise FieldError(f"{key}: expected {len(names)} numbers, got {numbers!r}")
    return dict(zip(names, numbers, strict=True)) | {name: item for name, item in table.items() if name != key}


@dataclass(frozen=True, kw_only=True)
class Interval:
    """A quantity that is known only within limits: `low` and `high` are believed to hold about 90 %."""

    low: float
    nominal: float
    high: float

    @staticmethod
    def from_table(value: Any) -> Any:
        """A list of the three numbers, alone or as `range` beside a source."""
        table = {"range": value} if isinstance(value, list) else value
        return _named(("low", "nominal", "high"), table, key="range")

    def problems(self) -> list[str]:
        return [] if self.low <= self.nominal <= self.high else ["low, nominal and high that do not fall"]


@dataclass(frozen=True, kw_only=True)
class Sourced(Interval):
    """An interval with its own source."""

    source: str


@dataclass(frozen=True, kw_only=True)
class TrappedAir:
    """Air between two sheets of this material: a distribution of its thickness, never a number.

    The body is log-normal through the percentiles; `loose_share` of the doubles are curled or loose, their gap
    log-uniform from `p95_um` to `loose_max_um`. Nearer than `least_um` no two come that do not block.
    """

    p5_um: float = field(metadata=_AIR_UM)
    p50_um: float = field(metadata=_AIR_UM)
    p95_um: float = field(metadata=_AIR_UM)
    loose_share: float = field(metadata=about(ge=0, le=0.5))
    loose_max_um: float = field(metadata=_AIR_UM)
    source: str
    least_um: float = field(default=0.0, metadata=about(unit="um", ge=0, le=5_000))

    @staticmethod
    def from_table(value: Any) -> Any:
        """The four thicknesses are a list, `um`."""
        return _named(("p5_um", "p50_um", "p95_um", "loose_max_um"), value, key="um")

    def problems(self) -> list[str]:
        rises = self.p5_um < self.p50_um < self.p95_um < self.loose_max_um
        return [] if rises else ["um with p5 < p50 < p95 < loose_max"]


@dataclass(frozen=True, kw_only=True)
class Isotropic:
    """Dynamic elastic constants of an isotropic solid near 200 kHz."""

    kind: Literal["isotropic"] = "isotropic"
    youngs_modulus_gpa: Interval = field(metadata=_MODULUS)
    poisson_ratio: float = field(metadata=about(ge=0, le=0.4999))
    source: str


@dataclass(frozen=True, kw_only=True)
class SoftSolid:
    """A solid far softer and more lossy in shear than in compression (rubber, adhesives, soft plastics): moduli apart.

    The material's loss factor belongs to shear, `bulk_loss_factor` to the bulk modulus.
    """

    kind: Literal["soft"] = "soft"
    bulk_modulus_gpa: Interval = field(metadata=_MODULUS)
    shear_modulus_gpa: Interval = field(metadata=_MODULUS)
    bulk_loss_factor: float = field(metadata=about(ge=0, le=1))
    source: str


@dataclass(frozen=True, kw_only=True)
class TransverselyIsotropic:
    """Dynamic stiffnesses of a sheet with its symmetry axis through the thickness; `c11` spans cross to machine
    direction (low to high). Given at the material's nominal density and taken in proportion to density."""

    kind: Literal["transversely-isotropic"] = "transversely-isotropic"
    c11_gpa: Interval = field(metadata=_MODULUS)
    c13_gpa: Interval = field(metadata=_MODULUS)
    c33_gpa: Interval = field(metadata=_MODULUS)
    c55_gpa: Interval = field(metadata=_MODULUS)
    source: str

    def problems(self) -> list[str]:
        """The strain energy is positive at the low, nominal and high ends alike."""
        ends = zip(*((c.low, c.nominal, c.high) for c in (self.c11_gpa, self.c13_gpa, self.c33_gpa)), strict=True)
        stable = all(c11 * c33 > c13 * c13 for c11, c13, c33 in ends)
        return [] if stable else ["c11 c33 above c13^2: the stiffness is not positive definite"]


@dataclass(frozen=True, kw_only=True)
class Porous:
    """Pore space of an air-permeable sheet for the equivalent-fluid model; a job may give a permeance of its own.

    The permeance is that of a sheet of `thickness_um`.
    """

    porosity: float = field(metadata=about(ge=0.01, le=0.999))
    tortuosity: float = field(metadata=about(ge=1, le=20))
    permeance_um_per_pa_s: Interval = field(metadata=about(unit="um/(Pa s)", ge=1e-3, le=1e6))
    thickness_um: float = field(metadata=about(unit="um", ge=1, le=20_000))
    source: str

    def permeance_at(self, thickness_um: float) -> float:
        """Nominal permeance in um/(Pa s) of a sheet of another thickness: resistance to flow grows with it (Darcy)."""
        return self.permeance_um_per_pa_s.nominal * self.thickness_um / thickness_um


@dataclass(frozen=True, kw_only=True)
class Electrical:
    """For eddy-current and capacitive principles; None where it does not apply. `resistivity` in ohm m."""

    resistivity: Interval | None = field(default=None, metadata=about(unit="ohm m", ge=1e-9, le=1e3))
    relative_permeability: float = field(default=1.0, metadata=about(ge=0.9))
    permittivity: Interval | None = field(default=None, metadata=about(ge=1, le=1_000))
    moisture_content_pct: float = field(default=0.0, metadata=_HALF_WIDTH)
    source: str

    @property
    def resistivity_ohm_m(self) -> float | None:
        """The nominal resistivity."""
        return self.resistivity.nominal if self.resistivity else None


@dataclass(frozen=True, kw_only=True)
class Optical:
    """Kubelka-Munk coefficients per unit mass in the near infrared; `clear` films scatter almost nothing."""

    scattering_m2_per_kg: float = field(metadata=about(ge=0))
    absorption_m2_per_kg: float = field(metadata=about(ge=0))
    source: str


@dataclass(frozen=True, kw_only=True)
class MassSpread:
    """Half widths that hold 95 %: of the mass from sheet to sheet (`tolerance_pct`), and from place to place in a
    sheet, averaged over spots of about 5 mm (`formation_pct`)."""

    tolerance_pct: float = field(metadata=_HALF_WIDTH)
    formation_pct: float = field(metadata=_HALF_WIDTH)
    source: str


@dataclass(frozen=True, kw_only=True)
class UsualThickness:
    """The thicknesses in um that such a sheet usually has, from and to."""

    range: tuple[float, ...] = field(metadata=about(unit="um", ge=0.01, le=20_000))
    source: str

    def problems(self) -> list[str]:
        return (
            [] if len(self.range) == 2 and self.range[0] <= self.range[1] else ["range of two numbers that do not fall"]
        )


@dataclass(frozen=True, kw_only=True)
class Named:
    """Something by its id, with names and synonyms by language."""

    id: str
    name: dict[str, str]
    synonyms: dict[str, tuple[str, ...]]

    @property
    def names(self) -> tuple[str, ...]:
        """The names and synonyms in every language."""
        return (*self.name.values(), *(word for words in self.synonyms.values() for word in words))

    def problems(self) -> list[str]:
        complete = set(self.name) == LANGUAGES == set(self.synonyms) and all(name.strip() for name in self.names)
        return [] if complete else [f"a text for name and texts for synonyms in each of {sorted(LANGUAGES)}"]


@dataclass(frozen=True, kw_only=True)
class Material(Named):
    """A homogeneous sheet material."""

    family: Family
    density_kg_m3: Sourced = field(metadata=about(unit="kg/m3", ge=1, le=25_000))
    elastic: Isotropic | SoftSolid | TransverselyIsotropic
    loss_factor: Sourced = field(metadata=about(ge=1e-6, le=2))
    mass: MassSpread
    trapped_air: TrappedAir
    thickness_um: UsualThickness
    grown: bool = False
    """Grown, with knots, grain or scars: it differs within a piece by more than its formation says."""
    gritty: bool = False
    """Its surface wears down what touches it."""
    porous: Porous | None = None
    electrical: Electrical = Electrical(source="")
    optical: Optical | None = None

    @cached_property
    def sources(self) -> tuple[str, ...]:
        """Every source."""
        parts = (self.density_kg_m3, self.elastic, self.loss_factor, self.mass, self.trapped_air, self.thickness_um)
        more = (self.porous, self.electrical, self.optical)
        return tuple(sorted({part.source for part in (*parts, *more) if part is not None and part.source}))
