"""Whatever the schema of a job admits is computed: finite, of the published shape, and in whatever order it is asked.

Warnings of NumPy are errors in tests, so that an overflow or an invalid value anywhere is a failure.
"""

from __future__ import annotations

import json
from typing import Any, NoReturn

import pytest
from flask.testing import FlaskClient
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from sheetmargin_service.app import create_app
from sheetmargin_service.config import Settings
from support.any_job import jobs
from support.catalogues import HEAD, own_class
from support.description import validator

ANSWER = validator("Answer")


def of_khz(khz: int, *, radius_mm: float, drive: str, gap_mm: tuple[float, float]) -> str:
    least, most = gap_mm
    gaps = f"reference_gap_mm = {least}\ngap_min_mm = {least}\ngap_max_mm = {most}"
    return own_class(f"own-{khz}", frequency_hz=1e3 * khz, face_radius_mm=radius_mm, drive=drive, gaps=gaps)


# An owner's classes at the ends of what is sold, and beyond them (illustrative).
OWN = (
    of_khz(60, radius_mm=16, drive="gated", gap_mm=(40, 150)),
    of_khz(90, radius_mm=3, drive="continuous", gap_mm=(5, 200)),
    of_khz(240, radius_mm=12, drive="gated", gap_mm=(30, 31)),
    of_khz(500, radius_mm=2.5, drive="gated", gap_mm=(8, 30)),
)
OWN_IDS = ("own-60", "own-90", "own-240", "own-500")
REFERENCE_IDS = ("ultrasonic-75k-high-output", "ultrasonic-220k-continuous", "ultrasonic-400k")

ALWAYS = settings(
    deadline=None,
    suppress_health_check=list(HealthCheck),
    derandomize=True,
    database=None,
    # A job that fails is printed as it is: each try of a smaller one would cost as much.
    phases=[Phase.explicit, Phase.generate],
)


@pytest.fixture(scope="module")
def api(tmp_path_factory: pytest.TempPathFactory) -> FlaskClient:
    """The whole application with two catalogues of an owner's, which differ in the order of their classes."""
    folder = tmp_path_factory.mktemp("catalogues")
    (folder / "own.toml").write_text(HEAD + "".join(OWN))
    (folder / "turned.toml").write_text(HEAD + "".join(reversed(OWN)))
    files = tuple((name, folder / f"{name}.toml") for name in ("own", "turned"))
    return create_app(Settings(catalogues=files)).test_client()


def refuse(text: str) -> NoReturn:
    raise AssertionError(f"{text} is no JSON")


def ask(api: FlaskClient, job: dict[str, Any]) -> dict[str, Any] | None:
    """The answer, or None to a job that makes no sense."""
    response = api.post("/v1/recommendations", json=job)
    assert response.status_code in (200, 422), (response.status_code, job)
    document: dict[str, Any] = json.loads(response.data, parse_constant=refuse)
    if response.status_code == 422:
        assert document["errors"]
        return None
    ANSWER.validate(document)
    return document


def assert_sound(answer: dict[str, Any]) -> None:
    for recommendation in answer["recommendations"]:
        for result in recommendation["sheets"]:
            for state in ("no_sheet", "single", "double"):
                found = result["signal"][state]
                assert found["p1"] <= found["p50"] <= found["p99"]
            for misread in result["misread_ppm"].values():
                if misread and misread["estimate"] is not None:
                    assert 0.0 <= misread["low"] <= misread["estimate"] <= misread["high"] <= 1e6


def check_any(api: FlaskClient, job: dict[str, Any]) -> None:
    answer = ask(api, job)
    if answer is not None:
        assert_sound(answer)


own_jobs = jobs(classes=OWN_IDS, most_classes=2, most_sheets=1).map(lambda job: job | {"catalogue": "own"})
reference_jobs = jobs(classes=REFERENCE_IDS, most_classes=2, most_sheets=1)


@settings(ALWAYS, max_examples=40)
@given(job=st.one_of(own_jobs, reference_jobs))
def test_any_job(api: FlaskClient, job: dict[str, Any]) -> None:
    check_any(api, job)


def ranking(answer: dict[str, Any], count: int, *, turned: bool) -> list[Any]:
    """What is ranked, with each sheet's margins, by the places that the sheets have in the list as first asked."""
    found = []
    for one in answer["recommendations"]:
        sheets = {
            (count - 1 - result["index"]) if turned else result["index"]: (
                one["setups"][result["setup"]]["detector_class"]["id"],
                result["margin"],
            )
            for result in one["sheets"]
        }
        found.append((one["verdict"], sorted(sheets.items(), key=lambda item: item[0])))
    return found


def check_order(api: FlaskClient, job: dict[str, Any]) -> None:
    """The same sheets asked from the last to the first, of a catalogue whose classes are turned round."""
    job = job | {"catalogue": "own", "keep_sequence": False}
    one = ask(api, job)
    other = ask(api, job | {"catalogue": "turned", "sheets": job["sheets"][::-1]})
    assert (one is None) == (other is None)
    if one is not None and other is not None:
        count = len(job["sheets"])
        assert one["verdict"] == other["verdict"]
        assert ranking(one, count, turned=False) == ranking(other, count, turned=True)


lists = jobs(classes=OWN_IDS, most_classes=3, most_sheets=3)


@settings(ALWAYS, max_examples=8)
@given(job=lists)
def test_the_order_of_sheets_and_classes_changes_nothing(api: FlaskClient, job: dict[str, Any]) -> None:
    check_order(api, job)


@pytest.mark.long
@settings(ALWAYS, max_examples=600)
@given(job=st.one_of(own_jobs, reference_jobs))
def test_many_jobs(api: FlaskClient, job: dict[str, Any]) -> None:
    check_any(api, job)


@pytest.mark.long
@settings(ALWAYS, max_examples=100)
@given(job=lists)
def test_the_order_of_many_lists_changes_nothing(api: FlaskClient, job: dict[str, Any]) -> None:
    check_order(api, job)
