"""What the library knows of one material, each number with its source."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, kw_only=True)
class Interval:
    """A quantity that is known only within limits. `low` and `high` are believed to hold about 90 %."""

    low: float
    nominal: float
    high: float
    source: str


@dataclass(frozen=True, kw_only=True)
class TrappedAir:
    """Air between two sheets of this material: a distribution of its thickness, never a number.

    The body is log-normal through the percentiles; `loose_share` of the doubles are curled or loose, their gap
    log-uniform from `p95_um` to `loose_max_um`.
    """

    p5_um: float
    p50_um: float
    p95_um: float
    loose_share: float
    loose_max_um: float
    source: str


@dataclass(frozen=True, kw_only=True)
class Isotropic:
    """Dynamic elastic constants of an isotropic solid near 200 kHz."""

    youngs_modulus_gpa: Interval
    poisson_ratio: float


@dataclass(frozen=True, kw_only=True)
class SoftSolid:
    """A solid far softer and more lossy in shear than in compression (rubber, adhesives, soft plastics): moduli apart.

    The material's loss factor belongs to shear, `bulk_loss_factor` to the bulk modulus.
    """

    bulk_modulus_gpa: Interval
    shear_modulus_gpa: Interval
    bulk_loss_factor: float


@dataclass(frozen=True, kw_only=True)
class TransverselyIsotropic:
    """Dynamic stiffnesses of a sheet with its symmetry axis through the thickness; `c11` spans cross to machine
    direction (low to high). Given at the material's nominal density and taken in proportion to density."""

    c11_gpa: Interval
    c13_gpa: Interval
    c33_gpa: Interval
    c55_gpa: Interval


@dataclass(frozen=True, kw_only=True)
class Porous:
    """Pore space of an air-permeable sheet for the equivalent-fluid model; a job may give a permeance of its own.

    The permeance is that of a sheet of `thickness_um`.
    """

    porosity: float
    tortuosity: float
    permeance_um_per_pa_s: Interval
    thickness_um: float
    source: str

    def permeance_at(self, thickness_um: float) -> float:
        """Nominal permeance in um/(Pa s) of a sheet of another thickness: resistance to flow grows with it (Darcy)."""
        return self.permeance_um_per_pa_s.nominal * self.thickness_um / thickness_um


@dataclass(frozen=True, kw_only=True)
class Electrical:
    """For eddy-current and capacitive principles; None where it does not apply. `resistivity` in ohm m."""

    resistivity: Interval | None = None
    relative_permeability: float = 1.0
    permittivity: Interval | None = None
    moisture_content_pct: float = 0.0
    source: str = ""

    @property
    def resistivity_ohm_m(self) -> float | None:
        """The nominal resistivity."""
        return self.resistivity.nominal if self.resistivity else None


@dataclass(frozen=True, kw_only=True)
class Optical:
    """Kubelka-Munk coefficients per unit mass in the near infrared; `clear` films scatter almost nothing."""

    scattering_m2_per_kg: float
    absorption_m2_per_kg: float
    source: str


@dataclass(frozen=True, kw_only=True)
class Material:
    """A homogeneous sheet material.

    `mass_tolerance_pct` (from sheet to sheet) and `formation_pct` (from place to place in a sheet, averaged over spots
    of about 5 mm) are half widths that hold 95 %; `mass_source` is the source of both. `sources` lists every source.
    """

    id: str
    name: dict[str, str]
    synonyms: dict[str, tuple[str, ...]]
    family: str
    density_kg_m3: Interval
    elastic: Isotropic | SoftSolid | TransverselyIsotropic
    loss_factor: Interval
    mass_tolerance_pct: float
    formation_pct: float
    mass_source: str
    trapped_air: TrappedAir
    thickness_range_um: tuple[float, float]
    thickness_source: str
    sources: tuple[str, ...]
    porous: Porous | None = None
    electrical: Electrical = field(default_factory=Electrical)
    optical: Optical | None = None
