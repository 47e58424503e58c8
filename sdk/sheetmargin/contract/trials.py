"""What a trial of a sheet showed: at which set-up, over how many teach-ins, of what was fed, what was misread."""

from __future__ import annotations

from dataclasses import dataclass, field

from sheetmargin.contract.fields import about

GAP = about(unit="mm", ge=0, le=2000)
TILT = about(unit="deg", ge=0, le=80)
_FED = about(ge=0, le=10_000_000)


@dataclass(frozen=True, kw_only=True)
class InstalledBand:
    """Band of an installed detector: readings that count as a single sheet, in the unit of the class's signal."""

    low: int = field(metadata=about(ge=-1000, le=100_000))
    """Lower threshold of the band, in the unit of the class's signal."""
    high: int = field(metadata=about(ge=-1000, le=100_000))
    """Upper threshold of the band, in the unit of the class's signal."""


@dataclass(frozen=True, kw_only=True)
class Trial:
    """Outcome of a trial of a sheet: its set-up, teach-ins, sheets fed and misreads."""

    detector_class: str
    """Id of the detector class in the catalogue."""
    gap_mm: float = field(metadata=GAP)
    """Gap in mm from sensing face to sensing face."""
    tilt_deg: float = field(default=0.0, metadata=TILT)
    """Tilt in ° of the detector's axis against the sheet's normal, 0 where perpendicular."""
    band: InstalledBand
    """Readings that counted as a single sheet."""
    teach_ins: int = field(default=1, metadata=about(ge=1, le=100))
    """Number of teach-ins that the sheets were spread over evenly."""
    singles: int = field(default=0, metadata=_FED)
    """Number of single sheets fed."""
    doubles: int = field(default=0, metadata=_FED)
    """Number of doubles fed, every one laid anew."""
    single_as_double: int = field(default=0, metadata=_FED)
    """How many of the single sheets were read as a double."""
    double_as_single: int = field(default=0, metadata=_FED)
    """How many of the doubles were read as a single sheet."""
    date: str | None = field(default=None, metadata=about(shortest=1, longest=40))
    """Day of the trial, such as 2026-03-02, which changes no result; not known if not given."""
