"""Questions to the bench that several tests ask."""

from __future__ import annotations

from functools import cache

import numpy as np
from sheetmargin.contract.job import Job
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.measurement.fit import Fit, fit_sample
from sheetmargin_service.measurement.reading import Reading, Setting
from sheetmargin_service.measurement.sample import Sample, sample_of
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.principles.ultrasonic.parameters import UltrasonicParameters
from sheetmargin_service.selection.defaults import conditions_of
from sheetmargin_service.selection.installation import class_of

from support.measurement_truth import Truth, drawn_readings, drawn_truth

COPY_PAPER = SheetSpec(material="copy-paper", grammage_gsm=80, air_permeance_um_per_pa_s=1e-4)
"""As good as tight: what a film does to two sheets is then at its strongest, where pores would hide most of it."""
SAMPLES = (
    COPY_PAPER,
    SheetSpec(material="coated-paper", grammage_gsm=135),
    SheetSpec(material="card-stock", grammage_gsm=250),
)
SETTINGS: tuple[Setting, ...] = (
    ("ultrasonic-180k", 40.0, 0.0),
    ("ultrasonic-180k", 40.0, 25.0),
    ("ultrasonic-400k", 26.0, 0.0),
)
SETTING = ("ultrasonic-400k", 26.0, 0.0)


@cache
def conditions() -> Conditions:
    """The default surroundings."""
    return conditions_of(Job(sheets=()))[0]


def parameters_at(setting: Setting) -> UltrasonicParameters:
    """The parameters of a setting's class."""
    found = class_of(setting[0], reference_catalogue(), field="").parameters
    assert isinstance(found, UltrasonicParameters)
    return found


def fit(readings: list[Reading], spec: SheetSpec = COPY_PAPER) -> Fit:
    """The fit of some readings in the default surroundings."""
    return fit_sample(spec, readings, conditions=conditions(), catalogue=reference_catalogue(), library=load_library())


def sample(spec: SheetSpec) -> Sample:
    """The sample of a sheet."""
    return sample_of(spec, load_library())


def true_case(seed: int) -> tuple[SheetSpec, np.ndarray, list[Reading]]:
    """A sheet drawn from what is believed of a sample, its parameters, and 12 readings with all that a bench adds; in
    every fourth case one of them is wrong."""
    rng = np.random.default_rng(seed)
    spec = SAMPLES[seed % len(SAMPLES)]
    asked = sample(spec)
    truth, x = drawn_truth(asked, rng)
    readings = drawn_readings(
        truth,
        settings=[(setting, parameters_at(setting)) for setting in SETTINGS],
        repeats=2,
        air=conditions().mean_air(),
        rng=rng,
        wrong=seed % 4 == 0,
    )
    values = [p.nominal * np.exp(p.sigma * z) for p, z in zip((*asked.solid, *asked.air), x, strict=True)]
    return spec, np.array(values), readings


def readings_of(
    truth: Truth, *, doubles: int, seed: int, singles: int = 3, setting: Setting = SETTING
) -> list[Reading]:
    """Readings of a known sheet at one setting with what a bench adds."""
    found = drawn_readings(
        truth,
        settings=[(setting, parameters_at(setting))],
        repeats=max(doubles, singles),
        air=conditions().mean_air(),
        rng=np.random.default_rng(seed),
    )
    return [r for r in found if r.state == "single"][:singles] + [r for r in found if r.state == "double"][:doubles]
