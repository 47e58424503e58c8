"""Grammage and thickness from every size by which sheets are ordered."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from sheetmargin.contract.job import Gauge
from sheetmargin.contract.job import Sheet as SheetSpec

from sheetmargin_service.errors import Filled, QuestionError
from sheetmargin_service.materials.material import Material
from sheetmargin_service.tables import load_table

UM_PER_INCH = 25_400.0  # exact, international inch
UM_PER_POINT = 25.4  # caliper point of the paper trade: a thousandth of an inch
GRAMS_PER_POUND = 453.59237  # exact, international avoirdupois pound
SQUARE_METRES_PER_SQUARE_INCH = 0.0254**2
SQUARE_INCHES_PER_SQUARE_FOOT = 144.0
SHEETS_PER_REAM = 500
GAUGES = ("steel", "aluminium", "film")
"""Systems of sheet gauges."""

# Widest limits of any sheet, whatever its material (20 mm is the thickest that a pair in air has room for).
THICKNESS_LIMITS_UM = (1.0, 20_000.0)
GRAMMAGE_LIMITS_GSM = (3.0, 200_000.0)


@dataclass(frozen=True, kw_only=True)
class Size:
    """A quantity (in um or g/m2) and the field that gave it."""

    value: float
    field: str


SUBJECTS: Mapping[str, Mapping[str, str]] = {
    "material": {"en": "material", "de": "Material"},
    "grammage": {"en": "grammage", "de": "flächenbezogene Masse"},
    "thickness": {"en": "thickness", "de": "Dicke"},
    "air permeance": {"en": "air permeance", "de": "Luftdurchlässigkeit"},
}
"""What several fields may give, each in its own form, by language."""


def at_most_one(given: dict[str, object], *, subject: str) -> str | None:
    """The one field that is given (not None), or None; QuestionError when two say the same thing."""
    fields = [field for field, value in given.items() if value is not None]
    if len(fields) > 1:
        raise QuestionError(
            code="conflicting-fields",
            field=fields[0],
            also=tuple(fields[1:]),
            detail=Filled("Give the {subject} in one form only.", subject=SUBJECTS[subject]),
            expected=Filled("one of {names}", names=", ".join(given)),
        )
    return fields[0] if fields else None


def grammage_of(spec: SheetSpec) -> Size | None:
    """Grammage in g/m2 as the sheet gives it, in any form; None when it does not."""
    at_most_one({"grammage_gsm": spec.grammage_gsm, "basis_weight_lb": spec.basis_weight_lb}, subject="grammage")
    if spec.basis is not None and spec.basis_weight_lb is None:
        raise QuestionError(
            code="missing-field",
            field="basis_weight_lb",
            detail="Enter the basis weight that the basis belongs to.",
            expected="a basis weight in pounds",
        )
    if spec.grammage_gsm is not None:
        return Size(value=spec.grammage_gsm, field="grammage_gsm")
    if spec.basis_weight_lb is None:
        return None
    if spec.basis is None:
        raise QuestionError(
            code="missing-field",
            field="basis",
            detail="Enter the basis of the basis weight.",
            expected=Filled("one of {names}", names=", ".join(basis_names())),
        )
    return Size(value=spec.basis_weight_lb * gsm_per_pound(spec.basis), field="basis_weight_lb")


def thickness_of(spec: SheetSpec, material: Material | None) -> Size | None:
    """Thickness in um as the sheet gives it, in any form; None when it does not.

    A gauge is read in its own system, and only for the metals or films that the system serves.
    """
    at_most_one(
        {
            "thickness_um": spec.thickness_um,
            "caliper_pt": spec.caliper_pt,
            "thickness_in": spec.thickness_in,
            "sheet_gauge": spec.sheet_gauge,
        },
        subject="thickness",
    )
    for field, value, factor in (
        ("thickness_um", spec.thickness_um, 1.0),
        ("caliper_pt", spec.caliper_pt, UM_PER_POINT),
        ("thickness_in", spec.thickness_in, UM_PER_INCH),
    ):
        if value is not None:
            return Size(value=value * factor, field=field)
    if spec.sheet_gauge is None:
        return None
    return Size(value=gauge_thickness_um(spec.sheet_gauge, material), field="sheet_gauge")


def basis_names() -> tuple[str, ...]:
    """Every basis of a basis weight; `msf` is a thousand square feet."""
    return (*(name for name in _sizes()["basis"] if name != "source"), "msf")


def gsm_per_pound(basis: str) -> float:
    """Grammage in g/m2 of one pound of basis weight: the weight of a ream of the basic size, or of 1000 square feet."""
    if basis == "msf":
        area = 1_000 * SQUARE_INCHES_PER_SQUARE_FOOT * SQUARE_METRES_PER_SQUARE_INCH
    else:
        width, length = _sizes()["basis"][basis]
        area = SHEETS_PER_REAM * width * length * SQUARE_METRES_PER_SQUARE_INCH
    return GRAMS_PER_POUND / area


def gauge_thickness_um(gauge: Gauge, material: Material | None) -> float:
    """Thickness in um of a sheet gauge; QuestionError for a number or a material that its system does not have."""
    sizes = _sizes()
    system = sizes[gauge.system]
    serves = (*system.get("materials", ()), *(f"any {family}" for family in system.get("families", ())))
    if material is None or (
        material.id not in system.get("materials", ()) and material.family not in system.get("families", ())
    ):
        raise QuestionError(
            code="not-applicable",
            field="sheet_gauge/system",
            detail=Filled("The {system} gauge is not used for this sheet.", system=gauge.system),
            expected=Filled("a thickness, or one of these materials: {names}", names=", ".join(serves)),
        )
    inches = {int(number): thickness for number, thickness in system.get("inches", {}).items()}
    low, high = (min(inches), max(inches)) if inches else system["numbers"]
    whole = gauge.system != "film"
    if not low <= gauge.number <= high or (whole and gauge.number != int(gauge.number)):
        raise QuestionError(
            code="out-of-range",
            field="sheet_gauge/number",
            detail=Filled("The {system} gauge has no number {number:g}.", system=gauge.system, number=gauge.number),
            expected=Filled(
                "a whole number, {low:g} to {high:g}" if whole else "a number, {low:g} to {high:g}", low=low, high=high
            ),
        )
    if not whole:
        return gauge.number * float(system["um_per_number"])
    if inches:
        return float(inches[int(gauge.number)]) * UM_PER_INCH
    # ASTM B258: a geometric series from 0.005 in at number 36, 92 times that 39 steps on.
    return 0.005 * math.pow(92.0, (36 - gauge.number) / 39) * UM_PER_INCH


@cache
def _sizes() -> dict[str, dict[str, Any]]:
    return load_table(__package__, "data/sizes.toml")
