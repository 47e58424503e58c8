"""From readings to a sheet: what is recovered, what is told, what is refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from sheetmargin.contract.job import Double, Job, Layer
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin_service.errors import QuestionError
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.materials.resolve import resolve_sheet
from sheetmargin_service.measurement.fit import answer_fit
from sheetmargin_service.measurement.forward_model import Physics, pairs_at
from sheetmargin_service.measurement.reading import Reading
from sheetmargin_service.measurement.sample import as_custom, sample_of
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.principles.ultrasonic.levels import levels_of
from sheetmargin_service.principles.ultrasonic.pair import pair_at
from sheetmargin_service.selection.recommend import recommend
from support.measurement_cases import COPY_PAPER, SETTING, conditions, fit, parameters_at, readings_of, sample
from support.measurement_truth import Truth

FAR_FROM_FLOORS = ("ultrasonic-180k", 40.0, 0.0)


def truth(**moved: float) -> Truth:
    usual = {"mass": 1.0, "stiffness": 1.0, "loss": 1.0, "air_median_um": 25.0, "air_width": 0.7}
    return Truth(sheet=sample(COPY_PAPER).sheet, **(usual | moved))


def codes(found) -> set[str]:
    return {note.code for note in found.notes}


@pytest.fixture(scope="module")
def clinging() -> list[Reading]:
    """Three single sheets, and twelve doubles that hold little air."""
    return readings_of(truth(air_median_um=10.0, air_width=0.4), doubles=12, seed=1, setting=FAR_FROM_FLOORS)


def test_clinging_sheets_are_seen_as_such(clinging: list[Reading]) -> None:
    found = fit(clinging)
    air, width = found.estimates[3:]
    assert air.informative
    assert width.informative
    # What was believed before pulls towards the library's 25 um; the readings pull further.
    assert 10.0 < air.fitted.nominal < np.sqrt(10.0 * 25.0)
    assert air.fitted.high < air.library.nominal
    assert air.sigma_share < 0.7
    assert width.fitted.low < 0.4 < width.fitted.high
    assert found.p_value > 0.01
    trapped = found.sheet.custom.trapped_air_um
    assert trapped.p5 < trapped.p50 < trapped.p95
    assert trapped.p50 == pytest.approx(air.fitted.nominal, rel=1e-4)


def test_what_readings_cannot_tell_is_said(clinging: list[Reading]) -> None:
    """One setting cannot tell the loss factor of paper: what comes back is what was believed."""
    found = fit(clinging)
    loss = found.estimates[2]
    assert not loss.informative
    assert loss.fitted.high / loss.fitted.low == pytest.approx(loss.library.high / loss.library.low, rel=0.1)
    assert "loss-not-told" in codes(found)
    assert "trapped-air-not-told" not in codes(found)


def test_the_covariance_is_that_of_the_intervals(clinging: list[Reading]) -> None:
    found = fit(clinging)
    sigma = np.sqrt(np.diag(found.covariance))
    for one, s in zip(found.estimates, sigma, strict=True):
        assert np.log(one.fitted.high / one.fitted.low) == pytest.approx(2.0 * 1.6449 * s, rel=1e-3)
    assert np.all(np.linalg.eigvalsh(found.covariance) > 0.0)
    np.testing.assert_allclose(found.covariance, np.transpose(found.covariance), atol=1e-12)


def test_one_wrong_reading_is_found_and_moves_little(clinging: list[Reading]) -> None:
    wrong = [replace(clinging[0], attenuation_db=clinging[0].attenuation_db + 12.0), *clinging[1:]]
    good, bad = fit(clinging), fit(wrong)
    assert [r.index for r in bad.residuals if r.outlier] == [0]
    assert {n.values["reading"] for n in bad.notes if n.code == "reading-wrong"} == {0}
    for one, other in zip(good.estimates, bad.estimates, strict=True):
        sigma = np.log(one.fitted.high / one.fitted.low) / (2.0 * 1.6449)
        assert abs(np.log(one.fitted.nominal / other.fitted.nominal)) < 0.6 * sigma


def test_the_fitted_sheet_reads_what_was_fitted(clinging: list[Reading]) -> None:
    """The sheet that comes back, resolved as any other, has the levels that the fit compares the readings with."""
    found = fit(clinging)
    _, gap, tilt = FAR_FROM_FLOORS
    pair = pair_at(parameters_at(FAR_FROM_FLOORS), conditions().mean_air(), gap_mm=(gap,), tilt_deg=(tilt,))
    levels = levels_of(resolve_sheet(found.sheet, load_library()), pair)
    single = next(r for r in found.residuals if r.state == "single")
    assert float(levels.single().attenuation_db[0, 0, 0]) == pytest.approx(single.fitted_db, abs=0.5)


def test_the_same_readings_give_the_same_fit(clinging: list[Reading]) -> None:
    assert fit(clinging).sheet == fit(list(clinging)).sheet


def test_doubles_of_one_specimen_tell_less_than_doubles_laid_anew(clinging: list[Reading]) -> None:
    same = [replace(r, specimen="A") if r.state == "double" else r for r in clinging]
    even = [replace(r, attenuation_db=72.0) if r.state == "double" else r for r in clinging]
    same = [replace(r, attenuation_db=72.0) if r.state == "double" else r for r in same]
    assert fit(same).estimates[3].sigma_share > fit(even).estimates[3].sigma_share


def test_without_doubles_the_air_stays_the_librarys() -> None:
    found = fit(readings_of(truth(), doubles=0, singles=4, seed=3))
    assert "no-double-read" in codes(found)
    assert [e.sigma_share for e in found.estimates[3:]] == pytest.approx([1.0, 1.0])
    assert found.sheet.custom.trapped_air_um.p50 == pytest.approx(25.0)


def test_another_material_is_noticed() -> None:
    """Film in setting of paper: 30 dB instead of 46, at two settings. No paper of this grammage explains it."""
    readings = [
        Reading(state="single", setting=setting, attenuation_db=level + 0.3 * i)
        for setting, level in ((SETTING, 30.0), (FAR_FROM_FLOORS, 24.0))
        for i in range(3)
    ]
    found = fit(readings)
    assert found.p_value < 0.01
    assert "model-does-not-explain" in codes(found)


def test_the_recommendation_stands_beside_the_librarys(clinging: list[Reading]) -> None:
    library, catalogue = load_library(), reference_catalogue()
    job = Job(sheets=(COPY_PAPER,), classes=(SETTING[0],), reference="sample 12")
    answer = answer_fit(
        tuple(clinging),
        job=job,
        catalogue=catalogue,
        library=library,
        recommend=lambda asked: recommend(asked, catalogue=catalogue, library=library),
    )
    assert answer.reference == "sample 12"
    assert answer.library == recommend(job, catalogue=catalogue, library=library)
    assert answer.fitted.sheets[0].material == "custom"
    assert answer.fitted.recommendations[0].sheets[0].signal.double.p50 < (
        answer.library.recommendations[0].sheets[0].signal.double.p50
    )
    assert answer.changed


LAYERED = SheetSpec(
    layers=(
        Layer(material="copy-paper", grammage_gsm=70),
        Layer(material="adhesive-acrylic", thickness_um=20),
        Layer(material="glassine", grammage_gsm=60),
    )
)


@pytest.mark.parametrize(
    ("spec", "tolerance_db"),
    [
        (COPY_PAPER, 0.01),
        (SheetSpec(material="kraft-paper", grammage_gsm=80), 0.05),
        (SheetSpec(material="pet", thickness_um=100), 0.01),
        (SheetSpec(material="steel", thickness_um=200), 0.01),
        (SheetSpec(material="tissue", grammage_gsm=20), 0.5),
        (SheetSpec(material="rubber", thickness_um=1000), 1.5),
        (LAYERED, 1.0),
    ],
    ids=lambda value: getattr(value, "material", None) or "",
)
def test_a_custom_sheet_stands_for_the_librarys(spec: SheetSpec, tolerance_db: float) -> None:
    """Exactly but for solids with two loss factors, and pores that are estimated from the density."""
    library = load_library()
    sheet = resolve_sheet(spec, library)
    pair = pair_at(parameters_at(SETTING), conditions().mean_air(), gap_mm=(26.0,), tilt_deg=(0.0,))
    one, other = (
        float(levels_of(s, pair).single().attenuation_db[0, 0, 0])
        for s in (sheet, resolve_sheet(as_custom(spec, sheet), library))
    )
    assert other == pytest.approx(one, abs=tolerance_db)


def test_mass_moves_the_level_as_the_mass_law_says() -> None:
    """Limp paper well below its resonance: 20 lg of the mass (Fahy and Gardonio, chapter 5)."""
    asked = sample(SheetSpec(material="tracing-paper", grammage_gsm=50))
    setting = ("ultrasonic-180k", 40.0, 0.0)
    physics = Physics(
        sample=asked,
        pairs=pairs_at([setting], {setting[0]: parameters_at(setting)}, conditions().mean_air()),
        settings=1,
        library=load_library(),
        doubles=False,
    )
    step = 0.1 / asked.solid[0].sigma
    moved = physics.levels(np.array([step, 0.0, 0.0])).single - physics.levels(np.zeros(3)).single
    assert moved[0] == pytest.approx(20.0 * 0.1 / np.log(10.0), rel=0.1)


SINGLE = Reading(state="single", setting=SETTING, attenuation_db=46.0)
DOUBLE = Reading(state="double", setting=SETTING, attenuation_db=75.0)


@pytest.mark.parametrize(
    ("readings", "spec", "code", "field"),
    [
        ([SINGLE, SINGLE], COPY_PAPER, "too-few-readings", "readings"),
        ([SINGLE, SINGLE, DOUBLE, DOUBLE], COPY_PAPER, "too-few-readings", "readings"),
        ([replace(SINGLE, state="no_sheet", attenuation_db=0.0)] * 5, COPY_PAPER, "too-few-readings", "readings"),
        ([replace(SINGLE, attenuation_db=120.0)] * 3, COPY_PAPER, "none-above-noise", "readings/0"),
        ([SINGLE] * 3, replace(COPY_PAPER, plies=2), "several-plies", "sheet/plies"),
        (
            [SINGLE] * 3 + [DOUBLE] * 2,
            replace(COPY_PAPER, double=Double(contact="bonded")),
            "contact-not-fitted",
            "sheet/double/contact",
        ),
        (
            [SINGLE] * 3,
            SheetSpec(construction="bubble-film"),
            "not-fitted",
            "sheet",
        ),
        (
            [replace(SINGLE, setting=("ultrasonic-400k", 500.0, 0.0))] * 3,
            COPY_PAPER,
            "out-of-range",
            "readings/0/gap_mm",
        ),
        ([replace(SINGLE, setting=("ultrasonic-400k", 26.0, 65.0))], COPY_PAPER, "out-of-range", "readings/0/tilt_deg"),
        (
            [replace(SINGLE, setting=("optical-850", 9.0, 0.0))],
            COPY_PAPER,
            "not-ultrasonic",
            "readings/0/detector_class",
        ),
        (
            [replace(SINGLE, setting=("ultrasonic-40k", 9.0, 0.0))],
            COPY_PAPER,
            "unknown-class",
            "readings/0/detector_class",
        ),
    ],
)
def test_readings_that_say_nothing_are_refused(readings: list[Reading], spec: SheetSpec, code: str, field: str) -> None:
    with pytest.raises(QuestionError) as caught:
        fit(readings, spec)
    assert (caught.value.code, caught.value.field) == (code, field)
    assert caught.value.detail
    assert caught.value.expected


def test_exchanged_states_are_refused() -> None:
    readings = [replace(SINGLE, attenuation_db=82.0)] * 3 + [replace(DOUBLE, attenuation_db=47.0)] * 3
    with pytest.raises(QuestionError) as caught:
        fit(readings)
    assert caught.value.code == "one-above-two"


def test_a_given_stiffness_is_not_moved() -> None:
    spec = as_custom(COPY_PAPER, resolve_sheet(COPY_PAPER, load_library()))
    exact = replace(spec, custom=replace(spec.custom, modulus_uncertainty_pct=0.0))
    assert sample_of(exact, load_library()).solid[1].sigma == 0.0
    found = fit(readings_of(truth(), doubles=0, singles=4, seed=5), exact)
    stiffness = found.estimates[1]
    assert (stiffness.fitted.low, stiffness.fitted.high, stiffness.informative) == (1.0, 1.0, False)
