"""The two worked cases of docs/measurement.md, from a sample to a trial and from a symptom to a remedy."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from sheetmargin import (
    BenchReading,
    Client,
    DiagnosisQuestion,
    FitQuestion,
    InstalledBand,
    InstalledProfile,
    InstalledSetup,
    PredictionQuestion,
    Sheet,
)
from sheetmargin.readings_file import read_readings

READINGS = Path(__file__).parents[2] / "docs" / "readings" / "coated-paper.csv"
COATED = Sheet(material="coated-paper", grammage_gsm=150)
COPY = Sheet(material="copy-paper", grammage_gsm=80, air_permeance_um_per_pa_s=1e-4)


@pytest.fixture(scope="module")
def client() -> Iterator[Client]:
    with Client.in_process() as one:
        yield one


def test_a_sample_changes_the_recommendation_and_leads_to_a_trial(client: Client) -> None:
    readings = [BenchReading(**one) for one in read_readings(READINGS).readings]
    fit = client.fit(FitQuestion(sheet=COATED, readings=readings))
    air = next(one for one in fit.fit.estimates if one.name == "trapped_air_um")
    assert air.informative
    assert (air.fitted.high or 0.0) < (air.library.nominal or 0.0)
    assert fit.changed[0].code == "class-changed"
    assert {note.code for note in fit.fitted.trial} >= {"send-samples", "read-levels", "trial-doubles-short"}
    assert client.recommend(fit.sheet).best == fit.fitted.best
    # Less air between two sheets is for sound to tell, and it is then less likely to do.
    sound = client.fit(FitQuestion(sheet=COATED, readings=readings, classes=["ultrasonic-400k", "ultrasonic-500k"]))
    before, after = sound.library.best, sound.fitted.best
    assert before is not None
    assert after is not None
    assert before.chance > after.chance + 0.05
    assert (before.sheets[0].signal.double.p1 or 0.0) > (after.sheets[0].signal.double.p1 or 0.0) + 10.0
    assert sound.changed[0].code in ("geometry-changed", "profile-changed", "verdict-changed")


def test_a_symptom_leads_to_its_cause_and_the_remedy_helps(client: Client) -> None:
    setup = InstalledSetup(detector_class="ultrasonic-220k-continuous", gap_mm=40)
    found = client.diagnose(DiagnosisQuestion(sheet=COPY, setup=setup, symptoms=["false-stops", "depends-on-position"]))
    first = found.likeliest
    assert first is not None
    assert first.cause.code == "cause-standing-wave"
    assert first.test is not None
    assert (first.remedied_ppm.single_as_double or 0.0) < 0.25 * (first.rates_ppm.single_as_double or 0.0)
    values = first.remedy.values
    band = InstalledBand(low=int(str(values["band_low"])), high=int(str(values["band_high"])))
    remedied = InstalledSetup(
        detector_class=setup.detector_class,
        gap_mm=float(str(values["gap_mm"])),
        tilt_deg=float(str(values["tilt_deg"])),
        profile=InstalledProfile(band=band),
    )
    before, after = (client.predict(PredictionQuestion(sheet=COPY, setup=one)).predicted for one in (setup, remedied))
    assert (before.sheets[0].margin.single or 0.0) < 0.0 < (after.sheets[0].margin.single or 0.0)
    assert before.verdict == "unsuitable"
    assert after.verdict in ("trial-needed", "suitable")
