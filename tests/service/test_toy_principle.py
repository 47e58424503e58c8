"""A principle that only these tests know goes through every call, by the one folder that it is.

Nothing else is told of it: no central list, no table, no text.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from typing import Any

import pytest
import support
from flask.testing import FlaskClient
from scipy.stats import norm
from sheetmargin import cli
from sheetmargin.contract.answer import Answer
from sheetmargin.contract.job import Job, Line
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin_service import principles as package
from sheetmargin_service.app import create_app
from sheetmargin_service.config import Settings
from sheetmargin_service.detectors.catalogue import Catalogue
from sheetmargin_service.detectors.schema import catalogue_schema
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.messages import names, say
from sheetmargin_service.principles import catalogues
from sheetmargin_service.selection.recommend import recommend
from sheetmargin_service.web import embed

OWN = ("scale-fine", "scale-rough")
JOB: dict[str, Any] = {"sheets": [{"material": "copy-paper", "grammage_gsm": 100}], "classes": OWN}
KEPT = (package.principles, catalogues.reference_catalogue, say.texts, say.words, names.names, embed.script)


@pytest.fixture(autouse=True, scope="module")
def one_more_principle() -> Iterator[None]:
    """The toy's folder beside the others."""
    with pytest.MonkeyPatch.context() as patch:
        folder = Path(support.__file__).parent / "toy_principles"
        patch.setattr(package, "__path__", [*package.__path__, str(folder)])
        for kept in KEPT:
            kept.cache_clear()
        yield
    for kept in KEPT:
        kept.cache_clear()


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    classes = tuple(c for c in catalogues.reference_catalogue().classes if c.principle == "weighing")
    return Catalogue(name="toy", version="1", classes=classes)


@pytest.fixture(scope="module")
def api() -> FlaskClient:
    """The service, with all that it computes."""
    return create_app(Settings()).test_client()


def answer(catalogue: Catalogue, *sheets: SheetSpec, **job: object) -> Answer:
    return recommend(Job(sheets=sheets, **job), catalogue=catalogue, library=load_library())


PAPER = SheetSpec(material="copy-paper", grammage_gsm=100.0)


def test_it_is_found_beside_the_others() -> None:
    assert {"weighing", "ultrasonic", "thickness"} <= set(package.principles())


def test_it_answers_in_its_own_unit(catalogue: Catalogue) -> None:
    best = answer(catalogue, PAPER).recommendations[0]
    assert best.verdict == "suitable"
    assert best.setups[0].detector_class.id == "scale-fine"
    assert best.setups[0].detector_class.principle == "weighing"
    signal = best.sheets[0].signal
    assert (signal.quantity, signal.unit) == ("mass", "g/m2")
    assert (signal.single.p50, signal.double.p50) == pytest.approx((100.0, 200.0), abs=0.5)
    assert signal.single.p99 == pytest.approx(norm.ppf(0.99, 100.0, 4.49), abs=0.5)


def test_its_band_margins_and_misreads_follow(catalogue: Catalogue) -> None:
    """Nothing at 0, one at 100, two at 200 g/m2: a band from 50 to 150, each margin about 40."""
    best = answer(catalogue, PAPER).recommendations[0]
    band = best.setups[0].profile.band
    low, high = band.low, band.high
    assert (low, high) == pytest.approx((50, 150), abs=3)
    margin = best.sheets[0].margin
    assert min(margin.no_sheet, margin.single, margin.double) == pytest.approx(38.0, abs=4.0)
    assert all(misread.floored for misread in vars(best.sheets[0].misread_ppm).values())


def test_its_reasons_and_its_rejections_are_told(catalogue: Catalogue) -> None:
    told = answer(catalogue, PAPER)
    assert {"weighed", "limiting-margin", "deciding-misread"} <= {n.code for n in told.recommendations[0].reasons}
    unit = next(n for n in told.recommendations[0].reasons if n.code == "limiting-margin").values["unit"]
    assert unit == "g/m2"
    assert {r.detector_class: r.code for r in told.ruled_out} == {"scale-rough": "too-transparent"}


def test_what_it_refuses_is_told(catalogue: Catalogue) -> None:
    told = answer(catalogue, SheetSpec(material="greyboard", thickness_um=2000.0))
    assert told.verdict == "unsuitable"
    assert {r.code for r in told.ruled_out} == {"too-heavy"}


def test_it_has_neither_tilt_nor_beam(catalogue: Catalogue) -> None:
    line = Line(speed_m_per_min=60.0, sheet_length_mm=300.0, sheet_spacing_mm=100.0, lanes=2, lane_pitch_mm=200.0)
    setup = answer(catalogue, PAPER, line=line).recommendations[0].setups[0]
    assert setup.geometry.tilt_deg is None
    assert setup.detector_class.frequency_khz is None
    assert setup.head is None
    assert setup.timing is not None
    assert setup.timing.readings_per_sheet == 250


def test_it_serves_a_list(catalogue: Catalogue) -> None:
    """80 and 100 g/m2 in one band; 300 g/m2 in another of the same scale."""
    best = answer(catalogue, PAPER, SheetSpec(material="copy-paper", grammage_gsm=110.0)).recommendations[0]
    assert len(best.setups) == 1
    heavy = SheetSpec(material="card-stock", grammage_gsm=300.0)
    best = answer(catalogue, PAPER, heavy).recommendations[0]
    assert [s.detector_class.id for s in best.setups] == ["scale-fine"] * 2
    assert best.changeovers.profile == 1


def test_it_stands_beside_other_principles() -> None:
    told = answer(catalogues.reference_catalogue(), PAPER, limit=30)
    principles = {r.setups[0].detector_class.principle for r in told.recommendations}
    assert {"weighing", "ultrasonic"} <= principles
    units = {r.setups[0].detector_class.principle: r.sheets[0].signal.unit for r in told.recommendations}
    assert units["weighing"] == "g/m2"
    assert units["ultrasonic"] == "dB"


def test_the_job_filters_by_it(catalogue: Catalogue) -> None:
    assert answer(catalogue, PAPER, principles=("ultrasonic",)).recommendations == ()
    assert answer(catalogue, PAPER, principles=("weighing",)).recommendations


def post(api: FlaskClient, path: str, body: dict[str, Any], **headers: str) -> Any:
    response = api.post(path, json=body, headers=headers)
    assert response.status_code == 200, response.text
    return response.get_json() if response.is_json else unescape(response.text)


def test_its_texts_are_told_in_both_languages(api: FlaskClient) -> None:
    for language, weighed, shaking in (
        ("en", "One sheet weighs 100 g/m².", "the machine's shaking"),
        ("de", "Ein Bogen wiegt 100 g/m².", "das Rütteln der Maschine"),
    ):
        best = post(api, "/v1/recommendations", JOB, **{"Accept-Language": language})["recommendations"][0]
        texts = {reason["code"]: reason["text"] for reason in best["reasons"]}
        assert texts["weighed"] == weighed
        assert shaking in texts["most-sensitive"]


def test_it_is_predicted_over_every_grid(api: FlaskClient) -> None:
    question = {"sheet": JOB["sheets"][0], "setup": {"detector_class": "scale-fine", "gap_mm": 7.5}}

    def over(**grid: list[float]) -> Any:
        return post(api, "/v1/predictions", {**question, "grid": grid})

    found = over(gap_mm=[6.0, 9.0, 12.0], tilt_deg=[0.0])
    signal = found["predicted"]["sheets"][0]["signal"]
    assert (signal["single"]["p50"], signal["double"]["p50"]) == pytest.approx((100.0, 200.0), abs=0.5)
    assert found["predicted"]["setups"][0]["geometry"]["gap_mm"]["nominal"] == 7.5
    assert found["gap_tilt"]["single"] == [[signal["single"]["p50"]]] * 3
    positions = over(position_mm=[-2.0, 0.0])["positions"]
    assert [at["single"] for at in positions] == [signal["single"]["p50"]] * 2
    grammages = over(grammage_gsm=[80.0, 120.0])["grammages"]
    assert [at["single"]["p50"] for at in grammages] == pytest.approx([80.0, 120.0], abs=0.5)


@pytest.mark.parametrize(("field", "value"), [("gap_mm", 30.0), ("tilt_deg", 10.0)])
def test_a_place_that_it_is_not_made_for_is_told(api: FlaskClient, field: str, value: float) -> None:
    setup = {"detector_class": "scale-fine", "gap_mm": 7.5, field: value}
    response = api.post("/v1/predictions", json={"sheet": JOB["sheets"][0], "setup": setup})
    assert response.status_code == 422
    (error,) = response.get_json()["errors"]
    assert error["pointer"] == f"/setup/{field}"


def test_readings_are_explained_for_sound_alone(api: FlaskClient) -> None:
    setup = {"detector_class": "scale-fine", "gap_mm": 7.5}
    body = {"sheet": JOB["sheets"][0], "setup": setup, "symptoms": ["missed-doubles"]}
    response = api.post("/v1/diagnoses", json=body)
    assert response.status_code == 422
    assert response.get_json()["errors"][0]["code"] == "not-ultrasonic"


def test_its_set_up_sheet_is_printed(api: FlaskClient) -> None:
    text = post(api, "/v1/setup-sheets", JOB)
    assert "scale-fine" in text
    assert "g/m2" in text


def test_the_selector_knows_its_names(api: FlaskClient) -> None:
    script = api.get("/embed/v1/selector.js").text
    assert '"weighing": "Weighing"' in script
    assert '"weighing": "Wägung"' in script
    assert '"mass": "Masse"' in script


def test_its_classes_are_listed(api: FlaskClient) -> None:
    listed = {c["id"]: c for c in api.get("/v1/detector-classes").get_json()["classes"]}
    fine = listed["scale-fine"]
    assert (fine["gap_min_mm"], fine["gap_max_mm"], fine["frequency_khz"]) == (5.0, 20.0, None)
    assert fine["parameters"]["deviation_gsm"] == 4.0
    assert "weighing" in api.get("/v1/version").get_json()["principles"]


def test_a_catalogue_may_hold_its_classes() -> None:
    schema = catalogue_schema(package.principles())
    assert "deviation_gsm" in schema["$defs"]["WeighingParameters"]["properties"]
    told = {"deviation_gsm": 5.0, "heaviest_gsm": 400.0}
    entry = {"id": "own", "principle": "weighing", "parameters": told, **shared()}
    reference = catalogues.reference_catalogue().classes
    (own,) = catalogues.read_catalogue(
        name="own", text=json.dumps({"class": [entry]}), syntax="json", reference=reference
    ).classes
    assert own.filled is not None
    assert (own.filled.reference_class, own.parameters.response_ms) == ("scale-fine", 2)


def shared() -> dict[str, Any]:
    """What the toy's classes share."""
    housing = {"thread": "rectangular", "length_mm": 30, "width_mm": 50}
    order = [{"role": "head", "quantity": 1}]
    rated = {"ingress": "IP65", "temperature_min_c": 0, "temperature_max_c": 60}
    return {"housing": housing, "order": order, "output": ["pnp"], "supply": "24 V DC", "contactless": False, **rated}


def test_the_command_line_tells_it(capsys: pytest.CaptureFixture[str]) -> None:
    paper = ["--material", "copy-paper", "--grammage-gsm", "100"]
    assert cli.main(["recommend", *paper, "--classes", *OWN]) == 0
    assert re.search(r"Band +\d+ to \d+ g/m² means a single sheet", capsys.readouterr().out)
    assert cli.main(["recommend", *paper, "--classes", *OWN, "--show", "why"]) == 0
    assert "One sheet weighs 100 g/m²." in capsys.readouterr().out
    assert cli.main(["classes"]) == 0
    assert any(
        line.split()[:1] == ["scale-fine"] and "5 to 20" in line for line in capsys.readouterr().out.splitlines()
    )
    assert cli.main(["predict", *paper, "--detector-class", "scale-fine", "--gap-mm", "7.5"]) == 0
    assert "scale-fine" in capsys.readouterr().out
