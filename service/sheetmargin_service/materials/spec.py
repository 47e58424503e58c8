"""A sheet as it is asked for: exactly the fields a caller may give, before the library fills the rest."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Contact = Literal["air", "partial", "bonded", "water-film"]
DoubleKind = Literal["another-piece", "one-ply-more"]


@dataclass(frozen=True, kw_only=True)
class GaugeSpec:
    """A sheet gauge; the systems differ, so the system is named."""

    system: Literal["steel", "aluminium", "film"]
    number: float


@dataclass(frozen=True, kw_only=True)
class DoubleSpec:
    """What comes on top of a correct sheet, the whole of it once more or one of its plies, and how it lies there."""

    kind: DoubleKind = "another-piece"
    contact: Contact = "air"
    overlap_mm: float | None = None


@dataclass(frozen=True, kw_only=True)
class TrappedAirSpec:
    """Thickness of the air caught between two sheets, as percentiles of its distribution."""

    p5: float
    p50: float
    p95: float


@dataclass(frozen=True, kw_only=True)
class CustomSpec:
    """A material given wholly by the caller: isotropic or transversely isotropic constants, or wave speeds."""

    density_kg_m3: float
    youngs_modulus_gpa: float | None = None
    poisson_ratio: float | None = None
    c11_gpa: float | None = None
    c13_gpa: float | None = None
    c33_gpa: float | None = None
    c55_gpa: float | None = None
    longitudinal_speed_m_per_s: float | None = None
    shear_speed_m_per_s: float | None = None
    loss_factor: float | None = None
    mass_tolerance_pct: float | None = None
    modulus_uncertainty_pct: float | None = None
    loss_uncertainty_pct: float | None = None
    trapped_air_um: TrappedAirSpec | None = None


@dataclass(frozen=True, kw_only=True)
class LayerSpec:
    """One layer of a layered sheet, from the emitter's side upwards."""

    material: str
    grammage_gsm: float | None = None
    thickness_um: float | None = None
    custom: CustomSpec | None = None


@dataclass(frozen=True, kw_only=True)
class WallSpec:
    """One fluted wall of a corrugated board."""

    flute: Literal["A", "B", "C", "E", "F", "N"]
    medium_gsm: float


@dataclass(frozen=True, kw_only=True)
class CorrugatedSpec:
    """Corrugated board: one liner more than walls."""

    liners_gsm: tuple[float, ...]
    walls: tuple[WallSpec, ...]


@dataclass(frozen=True, kw_only=True)
class SheetSpec:
    """A sheet of a job. One of `material`, `layers`, `corrugated`, `construction` says what it is made of."""

    label: str | None = None
    material: str | None = None
    construction: str | None = None
    label_state: Literal["present", "absent", "doubled"] | None = None
    layers: tuple[LayerSpec, ...] | None = None
    corrugated: CorrugatedSpec | None = None
    custom: CustomSpec | None = None
    grammage_gsm: float | None = None
    basis_weight_lb: float | None = None
    basis: Literal["bond", "cover", "bristol", "index", "text", "tag", "msf"] | None = None
    thickness_um: float | None = None
    caliper_pt: float | None = None
    thickness_in: float | None = None
    sheet_gauge: GaugeSpec | None = None
    grammage_tolerance_pct: float | None = None
    thickness_tolerance_pct: float | None = None
    plies: int = 1
    open_area_pct: float | None = None
    air_permeance_um_per_pa_s: float | None = None
    gurley_s_per_100ml: float | None = None
    air_permeability_mm_per_s: float | None = None
    test_pressure_pa: float | None = None
    double: DoubleSpec = DoubleSpec()
