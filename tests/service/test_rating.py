"""The air against what a class is rated for, and the water that it leaves on the faces."""

from __future__ import annotations

from dataclasses import replace

import pytest
from sheetmargin.contract.job import Environment, Job, Line
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin.contract.measure import InstalledSetup, PredictionQuestion
from sheetmargin_service.acoustics.air import TEMPERATURE_LIMITS_C
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.measurement.predict import predict
from sheetmargin_service.messages.names import Reader
from sheetmargin_service.messages.say import say
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.selection.recommend import recommend

CATALOGUE, LIBRARY = reference_catalogue(), load_library()
BOARD = SheetSpec(material="folding-boxboard", grammage_gsm=350.0)
PAPER = SheetSpec(material="copy-paper", grammage_gsm=80.0)
STANDING = InstalledSetup(detector_class="ultrasonic-400k", gap_mm=30.0, tilt_deg=0.0)
HARDY = replace(
    CATALOGUE,
    classes=tuple(replace(c, temperature_min_c=-40.0, temperature_max_c=120.0) for c in CATALOGUE.classes),
)


def answer(catalogue=CATALOGUE, **environment):
    job = Job(sheets=(BOARD,), environment=Environment(**environment), limit=20)
    return recommend(job, catalogue=catalogue, library=LIBRARY)


def cautions(**environment):
    return {note.code: note.values for note in answer(**environment).cautions}


def rated_for(low, high):
    return {c.id for c in CATALOGUE.classes if c.temperature_min_c <= low and high <= c.temperature_max_c}


def recommended(found):
    return {setup.detector_class.id for r in found.recommendations for setup in r.setups}


@pytest.mark.parametrize(
    ("low", "high"),
    [(-20.0, 5.0), (-25.0, -20.0), (-0.5, 20.0), (-45.0, 5.0), (20.0, 90.0), (90.0, 90.0), (20.0, 60.5)],
)
def test_a_class_outside_its_rating_is_ruled_out_with_both_figures(low, high):
    found, rated = answer(temperature_min_c=low, temperature_max_c=high), rated_for(low, high)
    assert recommended(found) <= rated
    assert (found.verdict == "unsuitable") == (not found.recommendations)
    out = {r.detector_class: r for r in (*found.ruled_out, *found.alternatives) if r.code == "outside-rating"}
    assert set(out) == {c.id for c in CATALOGUE.classes} - rated
    for c in CATALOGUE.classes:
        if c.id not in rated:
            values = out[c.id].values
            assert (values["temperature_min_c"], values["temperature_max_c"]) == (low, high)
            assert (values["rated_min_c"], values["rated_max_c"]) == (c.temperature_min_c, c.temperature_max_c)
            for language in ("en", "de"):
                said = say("outside-rating", values, reader=Reader(language=language))
                assert all(f"{abs(bound):g}" in said for bound in (c.temperature_min_c, c.temperature_max_c))


def test_a_class_that_is_rated_for_the_cold_serves_there_and_no_other_does():
    assert rated_for(-20.0, 5.0) == {"ultrasonic-300k-cold"}
    assert recommended(answer(temperature_min_c=-20.0, temperature_max_c=5.0)) == {"ultrasonic-300k-cold"}


def test_one_bound_alone_is_held_against_the_rating():
    assert recommended(answer(temperature_min_c=-25.0)) == {"ultrasonic-300k-cold"}
    assert answer(temperature_min_c=-45.0).recommendations == ()
    assert answer(temperature_max_c=90.0).recommendations == ()
    assert answer(temperature_min_c=0.0, temperature_max_c=60.0).recommendations


def test_what_is_assumed_rules_nothing_out():
    """A class for 20 to 30 degrees stays where the job says nothing of the air."""
    tender = replace(
        CATALOGUE, classes=tuple(replace(c, temperature_min_c=20.0, temperature_max_c=30.0) for c in CATALOGUE.classes)
    )
    assert "outside-rating" not in {r.code for r in answer(tender).ruled_out}
    assert {r.code for r in answer(tender, temperature_min_c=15.0).ruled_out} == {"outside-rating"}


@pytest.mark.parametrize(
    "environment",
    [
        {"temperature_min_c": TEMPERATURE_LIMITS_C[0], "temperature_max_c": TEMPERATURE_LIMITS_C[0]},
        {"temperature_min_c": TEMPERATURE_LIMITS_C[0], "temperature_max_c": TEMPERATURE_LIMITS_C[1]},
        {"temperature_min_c": -25.0, "temperature_max_c": 5.0},
        {"temperature_min_c": 90.0, "temperature_max_c": 90.0},
        {
            "temperature_min_c": TEMPERATURE_LIMITS_C[1],
            "temperature_max_c": TEMPERATURE_LIMITS_C[1],
            "relative_humidity_max_pct": 100.0,
            "pressure_kpa": 50.0,
        },
    ],
    ids=["cold", "all", "cold store", "dryer", "steam"],
)
def test_classes_that_are_rated_for_it_are_computed_at_every_temperature(environment):
    found = answer(HARDY, **environment)
    assert "outside-rating" not in {r.code for r in (*found.ruled_out, *found.alternatives)}
    for r in found.recommendations:
        for sheet in r.sheets:
            assert sheet.signal.single.p1 <= sheet.signal.single.p50 <= sheet.signal.single.p99


def test_a_steady_cold_or_warm_place_serves_what_a_hall_does():
    for temperature in (-30.0, 100.0):
        found = answer(HARDY, temperature_min_c=temperature, temperature_max_c=temperature)
        assert found.recommendations
        assert any(s.detector_class.principle == "ultrasonic" for r in found.recommendations for s in r.setups)


def test_condensation_is_a_caution_where_the_dew_point_is_crossed():
    assert "condensation" not in cautions()
    assert "condensation" not in cautions(temperature_min_c=20.0, temperature_max_c=30.0)
    store = cautions(temperature_min_c=-25.0, temperature_max_c=5.0)
    assert {"condensation", "frost"} <= set(store)
    assert store["condensation"]["temperature_min_c"] == -25.0
    # 25 degrees at 80 % have their dew point at 21.3.
    damp = {"temperature_max_c": 25.0, "relative_humidity_max_pct": 80.0}
    assert cautions(**damp, temperature_min_c=20.0)["condensation"]["dew_point_c"] == pytest.approx(21.3, abs=0.1)
    assert "condensation" not in cautions(**damp, temperature_min_c=22.0)
    assert "condensation" in cautions(relative_humidity_max_pct=100.0, temperature_min_c=20.0, temperature_max_c=20.0)


def test_frost_is_a_caution_where_0_degrees_are_crossed():
    assert "frost" in cautions(temperature_min_c=-1.0, temperature_max_c=10.0)
    assert "frost" not in cautions(temperature_min_c=0.0, temperature_max_c=10.0)
    # Always below and dry: nothing thaws and nothing settles.
    dry = {"relative_humidity_min_pct": 20.0, "relative_humidity_max_pct": 40.0}
    assert "frost" not in cautions(temperature_min_c=-12.0, temperature_max_c=-10.0, **dry)


def test_a_pair_that_stands_outside_its_rating_is_told_so():
    """Its levels are told as the physics has them, never as suitable."""
    rated, cold = (
        predict(
            PredictionQuestion(sheet=PAPER, setup=STANDING),
            job=Job(sheets=(PAPER,), environment=environment),
            catalogue=CATALOGUE,
            library=LIBRARY,
        )
        for environment in (Environment(temperature_min_c=15.0), Environment(temperature_min_c=-10.0))
    )
    assert "air-beyond-rating" not in {note.code for note in rated.cautions}
    (told,) = [note for note in cold.cautions if note.code == "air-beyond-rating"]
    assert told.values["temperature_min_c"] == -10.0
    assert (rated.predicted.verdict, cold.predicted.verdict) == ("suitable", "unsuitable")


@pytest.mark.parametrize(("above", "verdict"), [(500.0, "suitable"), (30.0, "unsuitable")])
def test_a_pair_that_does_not_fit_is_told_so(above, verdict):
    job = Job(sheets=(PAPER,), line=Line(clearance_above_mm=above))
    asked = PredictionQuestion(sheet=PAPER, setup=STANDING)
    found = predict(asked, job=job, catalogue=CATALOGUE, library=LIBRARY).predicted
    assert (found.setups[0].mounting.fits, found.verdict) == (above > 100.0, verdict)
