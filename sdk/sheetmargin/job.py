"""A job as a caller writes it: the sheets, the line, the surroundings and what is wanted of the answer.

Field names are those of the HTTP contract, with the unit in the name. None means "not given": such a field is left out
of the JSON, and the service answers with the default it took, in `assumptions`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Gauge:
    """A sheet gauge number; the systems differ, so the system is named: `steel`, `aluminium` or `film`."""

    system: str
    number: float


@dataclass(frozen=True, kw_only=True)
class Double:
    """What comes on top of a correct sheet, and how it lies there.

    `kind` is `another-piece` (the default) or `one-ply-more`, `contact` is `air` (the default), `partial`, `bonded` or
    `water-film`.
    """

    kind: str | None = None
    contact: str | None = None
    overlap_mm: float | None = None


@dataclass(frozen=True, kw_only=True)
class TrappedAir:
    """Thickness in um of the air caught between two sheets, as percentiles of its distribution."""

    p5: float
    p50: float
    p95: float


@dataclass(frozen=True, kw_only=True)
class Custom:
    """A material given by its numbers: isotropic or transversely isotropic constants, or wave speeds."""

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
    trapped_air_um: TrappedAir | None = None


@dataclass(frozen=True, kw_only=True)
class Layer:
    """One layer of a layered sheet, from the emitter's side upwards."""

    material: str
    grammage_gsm: float | None = None
    thickness_um: float | None = None
    custom: Custom | None = None


@dataclass(frozen=True, kw_only=True)
class Wall:
    """One fluted wall of a corrugated board."""

    flute: str
    medium_gsm: float


@dataclass(frozen=True, kw_only=True)
class Corrugated:
    """Corrugated board: one liner more than walls."""

    liners_gsm: Sequence[float]
    walls: Sequence[Wall]


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """One sheet of a job: what it is made of and one size. Tolerances are half widths that hold 95 %.

    Made of: `material` (an id or a trade name of it), `layers`, `corrugated` or `construction`. Size: a mass per area
    (`grammage_gsm`, or `basis_weight_lb` with its `basis`), a thickness (`thickness_um`, `caliper_pt`, `thickness_in`,
    `sheet_gauge`), or both.
    """

    label: str | None = None
    material: str | None = None
    construction: str | None = None
    label_state: str | None = None
    layers: Sequence[Layer] | None = None
    corrugated: Corrugated | None = None
    custom: Custom | None = None
    grammage_gsm: float | None = None
    basis_weight_lb: float | None = None
    basis: str | None = None
    thickness_um: float | None = None
    caliper_pt: float | None = None
    thickness_in: float | None = None
    sheet_gauge: Gauge | None = None
    grammage_tolerance_pct: float | None = None
    thickness_tolerance_pct: float | None = None
    plies: int | None = None
    open_area_pct: float | None = None
    air_permeance_um_per_pa_s: float | None = None
    gurley_s_per_100ml: float | None = None
    air_permeability_mm_per_s: float | None = None
    test_pressure_pa: float | None = None
    double: Double | None = None


@dataclass(frozen=True, kw_only=True)
class Line:
    """The machine at the place of the detector.

    `feeding` is `singulated` (the default) or `shingled`, which needs `sheet_length_mm` and `shingle_pitch_mm`.
    `body_through_frame`: bodies and cables may reach beyond the clearances; `bed`: something carries the sheet below.
    """

    clearance_above_mm: float | None = None
    clearance_below_mm: float | None = None
    speed_m_per_min: float | None = None
    sheet_length_mm: float | None = None
    sheet_width_mm: float | None = None
    sheet_spacing_mm: float | None = None
    shingle_pitch_mm: float | None = None
    flutter_mm: float | None = None
    flutter_deg: float | None = None
    max_tilt_deg: float | None = None
    feeding: str | None = None
    lanes: int | None = None
    lane_pitch_mm: float | None = None
    edge_distance_mm: float | None = None
    body_through_frame: bool | None = None
    bed: bool | None = None


@dataclass(frozen=True, kw_only=True)
class Environment:
    """Air at the detector."""

    temperature_min_c: float | None = None
    temperature_max_c: float | None = None
    relative_humidity_min_pct: float | None = None
    relative_humidity_max_pct: float | None = None
    pressure_kpa: float | None = None


@dataclass(frozen=True, kw_only=True)
class Controller:
    """What reads the detector's output."""

    scan_ms: float | None = None
    input_filter_ms: float | None = None


@dataclass(frozen=True, kw_only=True)
class Targets:
    """Greatest misreads accepted, per million events of the true state."""

    single_as_double: float | None = None
    single_as_no_sheet: float | None = None
    double_as_single: float | None = None
    double_as_no_sheet: float | None = None
    no_sheet_as_single: float | None = None
    no_sheet_as_double: float | None = None


@dataclass(frozen=True, kw_only=True)
class Require:
    """Properties a detector class must have to be admitted."""

    housing: Sequence[str] | None = None
    output: Sequence[str] | None = None
    supply: Sequence[str] | None = None
    ingress: str | None = None
    temperature_min_c: float | None = None
    temperature_max_c: float | None = None
    contactless: bool | None = None


@dataclass(frozen=True, kw_only=True)
class Job:
    """One question. `reference` is echoed in the answer and changes nothing else."""

    sheets: Sequence[Sheet]
    reference: str | None = None
    line: Line | None = None
    environment: Environment | None = None
    controller: Controller | None = None
    targets: Targets | None = None
    require: Require | None = None
    principles: Sequence[str] | None = None
    classes: Sequence[str] | None = None
    catalogue: str | None = None
    ordered: bool | None = None
    limit: int | None = None
