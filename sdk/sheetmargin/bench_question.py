"""Questions to the bench: an installed set-up, a grid for a plot, readings, symptoms."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sheetmargin.job import Controller, Environment, Line, Require, Sheet, Targets


@dataclass(frozen=True, kw_only=True)
class InstalledProfile:
    """What the receiver is set to: the attenuation that counts as one sheet, from and to."""

    single_band_attenuation_db: Sequence[float] | None = None
    hold_ms: float | None = None


@dataclass(frozen=True, kw_only=True)
class InstalledSetup:
    """A detector pair where it stands, and as it is set; without a band the best one is taken."""

    detector_class: str
    gap_mm: float
    tilt_deg: float | None = None
    profile: InstalledProfile | None = None


@dataclass(frozen=True, kw_only=True)
class Grid:
    """What to step through for a plot, one of three: gaps with tilts, positions of the sheet, or grammages."""

    gap_mm: Sequence[float] | None = None
    tilt_deg: Sequence[float] | None = None
    position_mm: Sequence[float] | None = None
    grammage_gsm: Sequence[float] | None = None


@dataclass(frozen=True, kw_only=True)
class MachineReading:
    """One reading at an installed set-up: `state` is `no_sheet`, `single` or `double`, with one of the three levels.

    Readings of one `specimen` are of the same two sheets, not laid anew.
    """

    state: str
    attenuation_db: float | None = None
    level_pct: float | None = None
    volts: float | None = None
    specimen: str | None = None


@dataclass(frozen=True, kw_only=True)
class BenchReading(MachineReading):
    """One reading on a bench, and where it was taken."""

    detector_class: str
    gap_mm: float
    tilt_deg: float | None = None


@dataclass(frozen=True, kw_only=True)
class PredictionQuestion:
    """What would I read?"""

    sheet: Sheet
    setup: InstalledSetup
    grid: Grid | None = None
    reference: str | None = None
    line: Line | None = None
    environment: Environment | None = None
    controller: Controller | None = None
    targets: Targets | None = None
    catalogue: str | None = None


@dataclass(frozen=True, kw_only=True)
class FitQuestion:
    """Readings of a sample, and the job that they are to help."""

    sheet: Sheet
    readings: Sequence[BenchReading]
    reference: str | None = None
    line: Line | None = None
    environment: Environment | None = None
    controller: Controller | None = None
    targets: Targets | None = None
    catalogue: str | None = None
    require: Require | None = None
    principles: Sequence[str] | None = None
    classes: Sequence[str] | None = None
    limit: int | None = None


@dataclass(frozen=True, kw_only=True)
class DiagnosisQuestion:
    """An installed ultrasonic set-up, what was noticed, and what was read there.

    `symptoms` are `false-stops`, `missed-doubles`, `flicker`, `no-open-path`, `depends-on-temperature`,
    `depends-on-speed`, `depends-on-position`, `only-some-sheets`.
    """

    sheet: Sheet
    setup: InstalledSetup
    symptoms: Sequence[str] | None = None
    readings: Sequence[MachineReading] | None = None
    reference: str | None = None
    line: Line | None = None
    environment: Environment | None = None
    controller: Controller | None = None
    targets: Targets | None = None
    catalogue: str | None = None
