"""A detector pair where it stands, and as it is set."""

from __future__ import annotations

from difflib import get_close_matches

from sheetmargin.contract.measure import InstalledSetup

from sheetmargin_service.detectors.catalogue import Catalogue
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.errors import Filled, QuestionError
from sheetmargin_service.principles import principle_of


def band_of(setup: InstalledSetup) -> tuple[int, int] | None:
    """The band that its profile is set to; None where it does not say."""
    band = setup.profile.band
    return None if band is None else (band.low, band.high)


def class_of(name: str, catalogue: Catalogue, *, field: str) -> DetectorClass:
    """The class of an id; QuestionError where there is none."""
    for found in catalogue.classes:
        if found.id == name:
            return found
    ids = tuple(c.id for c in catalogue.classes)
    raise QuestionError(
        code="unknown-class",
        field=field,
        detail="This detector class is not in the catalogue.",
        expected=Filled("one of {names}", names=", ".join(ids)),
        suggestions=tuple(get_close_matches(name[:100], ids)),
    )


def check_gap(detector_class: DetectorClass, gap_mm: float, *, field: str) -> None:
    """QuestionError for a gap that the class is not made for."""
    low, high = principle_of(detector_class).gap_limits_mm(detector_class.parameters)
    if not low <= gap_mm <= high:
        raise QuestionError(
            code="out-of-range",
            field=field,
            detail=Filled("{name} is not made for a gap of {gap:g} mm.", name=detector_class.id, gap=gap_mm),
            expected=Filled("{low:g} to {high:g} {unit}", low=low, high=high, unit="mm"),
        )


def check_tilt(detector_class: DetectorClass, tilt_deg: float, *, field: str) -> None:
    """QuestionError for a tilt that the class is not computed for."""
    most = principle_of(detector_class).greatest_tilt_deg(detector_class.parameters)
    if not 0.0 <= tilt_deg <= most:
        raise QuestionError(
            code="out-of-range",
            field=field,
            detail=Filled("{name} is not calculated for a tilt of {tilt:g}°.", name=detector_class.id, tilt=tilt_deg),
            expected=Filled("0 to {most:g}°", most=most) if most else "0°",
        )
