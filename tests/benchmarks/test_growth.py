"""How cost grows with what is asked: exponents, 1 being in proportion. What is constant makes them smaller."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from sheetmargin.contract.job import Job, Layer
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin.contract.measure import Grid, InstalledSetup, PredictionQuestion
from sheetmargin_service.acoustics.air import humid_air
from sheetmargin_service.acoustics.layered import Stack, stack_response
from sheetmargin_service.detectors.catalogue import Catalogue
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.measurement.predict import predict
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.principles.ultrasonic.pair_group import sheet_levels
from sheetmargin_service.principles.ultrasonic.responses import Case, SheetModel
from sheetmargin_service.selection.recommend import recommend
from support.costs import Work, exponent
from support.principle_cases import sheet

pytestmark = pytest.mark.long

Record = Callable[[str, object], None]
PAPER = SheetSpec(material="copy-paper", grammage_gsm=80.0)
AIR = humid_air()
ULTRASONIC = ("ultrasonic",)
LIMIT = 1.05


def asked(job: Job, catalogue: Catalogue | None = None) -> Work:
    def ask() -> None:
        sheet_levels.cache_clear()
        recommend(job, catalogue=catalogue or reference_catalogue(), library=load_library())

    return ask


def test_layers(record_property: Record) -> None:
    """Plane-wave responses of 4 to 32 layers, paper and polyester in turn, at 40 frequencies by 48 angles; and whole
    answers for sheets of 4 to 16, which grow thicker and so sharper over angle: reported."""
    made = [sheet("copy-paper", grammage_gsm=60), sheet("pet", thickness_um=12)]
    pair = tuple(SheetModel(sheet=one, air=AIR, cases=(Case(),)).layers[0] for one in made)
    frequency, sine = np.linspace(60e3, 500e3, 40)[:, None], np.linspace(0.0, 0.99, 48)

    def response(count: int) -> Work:
        stack = Stack(layers=pair * (count // 2))
        return lambda: stack_response(stack=stack, air=AIR, frequency_hz=frequency, sin_theta=sine)

    def laminate(count: int) -> SheetSpec:
        layers = (Layer(material="copy-paper", grammage_gsm=60.0), Layer(material="pet", thickness_um=12.0))
        return SheetSpec(layers=layers * (count // 2))

    sizes = (4, 8, 16, 32)
    found = exponent(sizes, [response(n) for n in sizes])
    record_property("exponent_layers", round(found, 2))
    whole = exponent(sizes[:3], [asked(Job(sheets=(laminate(n),), principles=ULTRASONIC)) for n in sizes[:3]])
    record_property("exponent_layers_answer", round(whole, 2))
    assert found <= LIMIT


def test_classes(record_property: Record) -> None:
    """Catalogues of 8 to 64 ultrasonic classes, each of a frequency of its own."""
    own = [c for c in reference_catalogue().classes if c.principle == "ultrasonic"]

    def catalogue(count: int) -> Catalogue:
        classes = []
        for number in range(count):
            one, turn = own[number % len(own)], number // len(own)
            moved = replace(one.parameters, frequency_hz=one.parameters.frequency_hz * (1.0 + 0.01 * turn))
            classes.append(replace(one, id=f"{one.id}-{turn}", parameters=moved))
        return Catalogue(name="many", version=str(count), classes=tuple(classes))

    sizes = (8, 16, 32, 64)
    job = Job(sheets=(PAPER,), principles=ULTRASONIC)
    found = exponent(sizes, [asked(job, catalogue(n)) for n in sizes])
    record_property("exponent_classes", round(found, 2))
    assert found <= LIMIT


def test_sheets(record_property: Record) -> None:
    """Lists of 5 to 40 papers before one class, so that the choice among classes, which is exact, has nothing to do."""
    sizes = (5, 10, 20, 40)

    def job(count: int) -> Job:
        sheets = [SheetSpec(material="copy-paper", grammage_gsm=70.0 + 20.0 * n / count) for n in range(count)]
        return Job(sheets=tuple(sheets), classes=("ultrasonic-400k",), limit=1)

    found = exponent(sizes, [asked(job(n)) for n in sizes], times=3)
    record_property("exponent_sheets", round(found, 2))
    assert found <= LIMIT


def test_grid(record_property: Record) -> None:
    """Maps of margin over 10 by 10 to 40 by 40 gaps and tilts."""
    sides = (10, 20, 40)

    def mapped(side: int) -> Work:
        resolved_job = PredictionQuestion(
            sheet=PAPER,
            setup=InstalledSetup(detector_class="ultrasonic-300k", gap_mm=30.0),
            grid=Grid(
                gap_mm=tuple(np.linspace(20.0, 40.0, side).round(2).tolist()),
                tilt_deg=tuple(np.linspace(0.0, 40.0, side).round(2).tolist()),
            ),
        )

        def ask() -> None:
            sheet_levels.cache_clear()
            predict(resolved_job, job=Job(sheets=(PAPER,)), catalogue=reference_catalogue(), library=load_library())

        return ask

    found = exponent([side * side for side in sides], [mapped(side) for side in sides], times=3)
    record_property("exponent_grid", round(found, 2))
    assert found <= LIMIT
