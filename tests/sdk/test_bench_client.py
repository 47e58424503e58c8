"""The client's calls of the bench: what is sent, what comes back, reports and notebooks; all of it the contract's."""

from __future__ import annotations

import json
from html import escape
from typing import Any

import pytest
import responses
from sheetmargin import (
    Answer,
    BenchReading,
    Client,
    Diagnosis,
    DiagnosisQuestion,
    Fit,
    FitQuestion,
    Grid,
    InstalledBand,
    InstalledProfile,
    InstalledSetup,
    Line,
    MachineReading,
    Prediction,
    PredictionQuestion,
    Sheet,
)
from support.whole import made, whole

URL = "http://service.example"
PAPER = Sheet(material="copy-paper", grammage_gsm=80)
SETUP = InstalledSetup(
    detector_class="ultrasonic-400k", gap_mm=26, profile=InstalledProfile(band=InstalledBand(low=25, high=60))
)
SPREAD = {"p1": 40.0, "p50": 45.0, "p99": 50.0}
PREDICTED = {
    "verdict": "trial-needed",
    "setups": [
        {
            "detector_class": {"id": "ultrasonic-400k"},
            "geometry": {"gap_mm": {"nominal": 26.0, "min": 26.0, "max": 26.0}, "tilt_deg": {"nominal": 0.0}},
            "profile": {"band": {"low": 25, "high": 60, "unit": "dB"}},
        }
    ],
    "sheets": [
        {
            "signal": {"quantity": "attenuation", "unit": "dB", "no_sheet": SPREAD, "single": SPREAD, "double": SPREAD},
            "margin": {"no_sheet": 1.5, "single": 2.5, "double": -3.5},
        }
    ],
    "reasons": [{"code": "mass-law", "text": "It is <heavy>."}],
}
FITTED = {
    "fit": {
        "sheet": {
            "material": "custom",
            "grammage_gsm": 83.2,
            "custom": {"density_kg_m3": 780, "c33_gpa": 0.05, "trapped_air_um": {"p5": 2, "p50": 8, "p95": 30}},
            "double": {"contact": "partial"},
        },
        "estimates": [
            {
                "name": "grammage_gsm",
                "library": {"low": 75, "nominal": 80, "high": 85},
                "fitted": {"low": 80, "nominal": 83.2, "high": 86},
                "sigma_share": 0.61,
                "informative": True,
            }
        ],
        "residuals": [
            {
                "index": 0,
                "state": "single",
                "measured_db": 45.1,
                "fitted_db": 44.0,
                "residual_db": 1.1,
                "sigma_db": 1.2,
            },
            {
                "index": 1,
                "state": "double",
                "measured_db": 90,
                "fitted_db": 70,
                "residual_db": 20,
                "sigma_db": 1,
                "outlier": True,
            },
        ],
        "notes": [{"code": "loss-not-told", "text": "The readings cannot tell the loss factor."}],
    },
    "changed": [{"code": "recommendation-same", "text": "The readings confirm the first choice."}],
    "library": {"verdict": "suitable", "recommendations": [PREDICTED]},
    "fitted": {"verdict": "trial-needed", "trial": [{"code": "send", "text": "Send some."}]},
}
CAUSES = {
    "causes": [
        {
            "rank": 1,
            "cause": {"code": "cause-dirty-face", "text": "Dust on a face."},
            "probability": 0.62,
            "test": {"code": "test-clean-faces", "text": "Clean both faces."},
            "remedy": {"code": "remedy-clean", "text": "Keep dust away."},
        },
        {"rank": 2, "cause": {"code": "cause-gap", "text": "The gap."}, "probability": 0.2},
    ]
}


@pytest.fixture
def client() -> Client:
    return Client(URL)


def sent(service: responses.RequestsMock) -> Any:
    return json.loads(service.calls[0].request.body or "")


def test_a_prediction(service: responses.RequestsMock, client: Client) -> None:
    service.post(
        f"{URL}/v1/predictions", json=whole(Prediction, {"predicted": PREDICTED, "gap_tilt": {"margin": [[1, 2]]}})
    )
    question = PredictionQuestion(sheet=PAPER, setup=SETUP, grid=Grid(gap_mm=[26], tilt_deg=[0, 10]))
    found = client.predict(question)
    assert sent(service) == {
        "sheet": {"material": "copy-paper", "grammage_gsm": 80},
        "setup": {
            "detector_class": "ultrasonic-400k",
            "gap_mm": 26,
            "profile": {"band": {"low": 25, "high": 60}},
        },
        "grid": {"gap_mm": [26], "tilt_deg": [0, 10]},
    }
    assert found.predicted.verdict == "trial-needed"
    assert found.gap_tilt is not None
    assert found.gap_tilt.margin == ((1, 2),)


def test_a_fit(service: responses.RequestsMock, client: Client) -> None:
    service.post(f"{URL}/v1/fits", json=whole(Fit, FITTED))
    reading = BenchReading(state="single", attenuation_db=45.1, detector_class="ultrasonic-400k", gap_mm=26)
    found = client.fit(FitQuestion(sheet=PAPER, readings=[reading], line=Line(flutter_mm=2)))
    assert sent(service) == {
        "sheet": {"material": "copy-paper", "grammage_gsm": 80},
        "readings": [{"state": "single", "attenuation_db": 45.1, "detector_class": "ultrasonic-400k", "gap_mm": 26}],
        "line": {"flutter_mm": 2},
    }
    assert isinstance(found.sheet, Sheet)
    assert found.sheet.custom is not None
    assert found.sheet.custom.trapped_air_um is not None
    assert found.sheet.custom.trapped_air_um.p50 == 8


def test_a_fitted_sheet_is_asked_for_again(service: responses.RequestsMock, client: Client) -> None:
    service.post(f"{URL}/v1/recommendations", json=whole(Answer, {"verdict": "trial-needed"}))
    client.recommend(made(Fit, FITTED).sheet)
    assert sent(service)["sheets"] == [FITTED["fit"]["sheet"]]  # type: ignore[index]


def test_a_diagnosis(service: responses.RequestsMock, client: Client) -> None:
    service.post(f"{URL}/v1/diagnoses", json=whole(Diagnosis, CAUSES))
    found = client.diagnose(
        DiagnosisQuestion(
            sheet=PAPER,
            setup=SETUP,
            symptoms=["false-stops"],
            readings=[MachineReading(state="no_sheet", attenuation_db=8)],
        )
    )
    assert sent(service)["symptoms"] == ["false-stops"]
    assert sent(service)["readings"] == [{"state": "no_sheet", "attenuation_db": 8}]
    assert found.likeliest is not None
    assert found.likeliest.probability == 0.62


def test_a_sheet_of_layers_comes_back_whole() -> None:
    fit = {"fit": {"sheet": {"layers": [{"material": "custom", "grammage_gsm": 70, "custom": {"density_kg_m3": 780}}]}}}
    (layer,) = made(Fit, fit).sheet.layers or ()
    assert layer.custom is not None
    assert layer.custom.density_kg_m3 == 780


def test_reports() -> None:
    prediction = repr(made(Prediction, {"predicted": PREDICTED}))
    for part in (
        "TRIAL NEEDED",
        "class ultrasonic-400k",
        "26 mm",
        "25 to 60 dB means a single sheet",
        "45 dB",
        "-3.5 dB  <- smallest",
    ):
        assert part in prediction
    fit = repr(made(Fit, FITTED))
    for part in ("83.2 g/m² (80 to 86)", "cannot tell the loss factor", "confirm", "by the readings  trial needed"):
        assert part in fit
    diagnosis = repr(made(Diagnosis, CAUSES))
    for part in ("1    62 %  Dust on a face.", "Test: Clean both faces.", "Remedy: Keep dust away.", "2    20 %"):
        assert part in diagnosis
    assert all(len(line) <= 100 for text in (prediction, fit, diagnosis) for line in text.splitlines())


@pytest.mark.parametrize(
    ("kind", "answer"), [(Prediction, {"predicted": PREDICTED}), (Fit, FITTED), (Diagnosis, CAUSES)]
)
def test_answers_show_themselves_in_a_notebook(kind: Any, answer: Any) -> None:
    shown = made(kind, answer)._repr_html_()
    assert f"<pre>{escape(repr(made(kind, answer)))}</pre>" in shown
    assert "<heavy>" not in shown
    assert ("<svg" in shown) == (kind is not Diagnosis)


@pytest.mark.parametrize("kind", [Prediction, Fit, Diagnosis])
def test_an_empty_answer_is_shown_all_the_same(kind: Any) -> None:
    empty = made(kind, {})
    assert isinstance(repr(empty), str)
    assert "<svg" not in empty._repr_html_()
