"""An owner's sheets by article number: the file, what a job gets of it, and who may see it."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import jsonschema_rs
import pytest
import xlsxwriter
from flask.testing import FlaskClient
from sheetmargin.contract.job import Job
from sheetmargin_service.api.stock import stocks_of
from sheetmargin_service.errors import FieldError
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.selection.recommend import recommend
from sheetmargin_service.serving.catalogue_reload import take_up
from support.answers import CountingRecommend
from support.apps import app_of

TOML = """
source = "our store, 2026"
[[sheet]]
article = "4711"
material = "copy-paper"
grammage_gsm = 80
measured = "thickness gauge, 2026-03-02"
surface = { gloss = true }

[[sheet]]
article = "4712"
label = "Graukarton 760"
material = "Graukarton"
thickness_um = 760
thickness_tolerance_pct = 3
"""
CSV = (
    "Lager\n\nArt.-Nr.;Sorte;Grammatur;Dicke [mm];Preis\n4711;Kopierpapier;80 gsm;;1,20\n\n4712;Graukarton;;0,76;3,10\n"
)


@pytest.fixture
def paths(tmp_path: Path) -> Mapping[str, Path]:
    (tmp_path / "own.toml").write_text(TOML, encoding="utf-8")
    (tmp_path / "table.csv").write_text(CSV, encoding="cp1252")
    with xlsxwriter.Workbook(tmp_path / "book.xlsx") as book:
        sheet = book.add_worksheet()
        for at, line in enumerate(CSV.splitlines()):
            sheet.write_row(at, 0, line.split(";"))
    return {"own": tmp_path / "own.toml", "table": tmp_path / "table.csv", "book": tmp_path / "book.xlsx"}


def asked(api: FlaskClient, question: Mapping[str, Any], **headers: str) -> Any:
    return api.post("/v1/recommendations", json=question, headers=headers)


@pytest.mark.parametrize("name", ["own", "table", "book"])
def test_an_article_stands_for_material_and_size(paths: Mapping[str, Path], name: str) -> None:
    recommend = CountingRecommend()
    api = app_of(stocks=tuple(paths.items()), recommend=recommend).test_client()
    two = {"sheets": [{"article": "4711"}, {"article": "4712", "plies": 2, "label": "mine"}], "stock": name}
    assert asked(api, two).status_code == 200
    (job,) = recommend.calls
    first, second = job.sheets
    assert (first.material, first.grammage_gsm, first.label, first.article) == ("copy-paper", 80, "4711", None)
    assert (second.material, second.thickness_um, second.plies, second.label) == ("greyboard", 760, 2, "mine")
    assert first.surface.gloss is (True if name == "own" else None)
    assert job.stock is None


def test_the_first_stock_is_for_jobs_that_name_none(paths: Mapping[str, Path]) -> None:
    recommend = CountingRecommend()
    api = app_of(stocks=tuple(paths.items()), recommend=recommend).test_client()
    assert asked(api, {"sheets": [{"article": "4712"}]}).status_code == 200
    assert recommend.calls[0].sheets[0].label == "Graukarton 760"


@pytest.mark.parametrize(
    ("question", "pointer", "code"),
    [
        ({"sheets": [{"article": "4713"}]}, "/sheets/0/article", "unknown-article"),
        ({"sheets": [{"article": "4711"}], "stock": "owm"}, "/stock", "unknown-stock"),
        ({"sheets": [{"material": "pet", "thickness_um": 50}], "stock": "owm"}, "/stock", "unknown-stock"),
        ({"sheets": [{"article": "4711", "material": "pet"}]}, "/sheets/0/material", "contradiction"),
        ({"sheets": [{"article": "4711", "grammage_gsm": 90}]}, "/sheets/0/grammage_gsm", "contradiction"),
    ],
)
def test_what_is_wrong_with_an_article(
    paths: Mapping[str, Path], question: Mapping[str, Any], pointer: str, code: str
) -> None:
    reply = asked(app_of(stocks=tuple(paths.items())).test_client(), question)
    assert reply.status_code == 422
    assert [(error["pointer"], error["code"]) for error in reply.json["errors"]] == [(pointer, code)]
    if code.startswith("unknown"):
        assert reply.json["errors"][0]["suggestions"]


def test_without_a_stock_an_article_is_told_where_it_stands() -> None:
    sheets = [{"material": "pet", "thickness_um": 50}, {"article": "4711"}]
    (error,) = asked(app_of().test_client(), {"sheets": sheets}).json["errors"]
    assert (error["pointer"], error["code"]) == ("/sheets/1/article", "unknown-stock")


@pytest.mark.parametrize(
    ("name", "text", "says"),
    [
        ("a.toml", "[[sheet]]\nmaterial = 'pet'\n", "line 1: expected an article number"),
        ("a.toml", "[[sheet]]\narticle = 'a'\nmaterial = 'pett'\nthickness_um = 5\n", "line 1, material: "),
        ("a.toml", "[[sheet]]\narticle = 'a'\nmaterial = 'pet'\nthickness_um = -5\n", "line 1, thickness_um: "),
        ("a.toml", "[[sheet]]\narticle = 'a'\nmaterial = 'pet'\nthick = 5\n", "line 1, thick: "),
        ("a.toml", TOML + TOML.partition('2026"')[2], "line 17: the article 4711 is there already"),
        ("a.toml", "[sheets]\n", "expected tables [[sheet]]"),
        ("a.toml", "sheet = \n", "Invalid value"),
        ("a.toml", "", "expected at least one article"),
        ("a.csv", CSV.replace("0,76", "0,76 kg"), "row 6: Dicke [mm]: 'kg' is no unit"),
        ("a.csv", CSV.replace("4712", ""), "row 6: expected an article number"),
        ("a.csv", "", "has no head"),
        ("a.txt", "", "expected a file that ends in .toml, .csv, .xlsx"),
    ],
)
def test_a_mistake_is_told_with_its_place(tmp_path: Path, name: str, text: str, says: str) -> None:
    (tmp_path / name).write_text(text, encoding="utf-8")
    with pytest.raises(FieldError) as raised:
        stocks_of({"a": tmp_path / name}, load_library())
    assert str(raised.value).startswith(str(tmp_path / name))
    assert says in str(raised.value)


def test_a_changed_stock_is_taken_up_and_changes_version_and_tag(paths: Mapping[str, Path]) -> None:
    recommend = CountingRecommend()
    app = app_of(stocks=(("own", paths["own"]),), recommend=recommend)
    api = app.test_client()
    before = api.get("/v1/stocks").json["stocks"]
    assert asked(api, {"sheets": [{"article": "4711"}]}).status_code == 200
    assert (before[0]["name"], before[0]["articles"]) == ("own", 2)
    paths["own"].write_text(TOML.replace("= 80", "= 90"), encoding="utf-8")
    assert take_up(app, sound=True)
    assert api.get("/v1/stocks").json["stocks"][0]["version"] != before[0]["version"]
    assert asked(api, {"sheets": [{"article": "4711"}]}).status_code == 200
    assert [job.sheets[0].grammage_gsm for job in recommend.calls] == [80, 90]
    paths["own"].write_text("no stock", encoding="utf-8")
    assert not take_up(app, sound=True)
    assert asked(api, {"sheets": [{"article": "4711"}]}).status_code == 200


def test_with_keys_on_a_stock_needs_one(paths: Mapping[str, Path], tmp_path: Path) -> None:
    keys = tmp_path / "keys.toml"
    keys.write_text("")
    api = app_of(stocks=(("own", paths["own"]),), access="keys", keys_file=keys).test_client()
    assert api.get("/v1/stocks").status_code == 401
    for article in ("4711", "4713"):
        assert asked(api, {"sheets": [{"article": article}]}).status_code == 401


def test_the_schema_takes_what_the_loader_takes(paths: Mapping[str, Path]) -> None:
    schema = jsonschema_rs.validator_for(app_of().test_client().get("/schemas/stock.json").json)
    good = tomllib.loads(TOML)
    assert schema.is_valid(good)
    for change in ({"article": None}, {"thick": 5}, {"thickness_um": -5}, {"plies": "two"}):
        spoilt = json.loads(json.dumps(good))
        spoilt["sheet"][0] |= change
        assert not schema.is_valid({**spoilt, "sheet": [spoilt["sheet"][0]]})


TRIED = (
    TOML
    + """
[[sheet.trials]]
detector_class = "ultrasonic-300k"
gap_mm = 40
band = { low = 8, high = 53 }
teach_ins = 5
doubles = 1000
double_as_single = 1
date = "2026-03-02"
"""
)


def test_a_trial_of_an_article_goes_into_the_job_and_the_tag(tmp_path: Path) -> None:
    recommend = CountingRecommend()
    tags = []
    for name, text in (("plain", TOML), ("tried", TRIED)):
        (tmp_path / f"{name}.toml").write_text(text, encoding="utf-8")
        api = app_of(stocks=((name, tmp_path / f"{name}.toml"),), recommend=recommend).test_client()
        tags.append(api.get("/v1/recommendations?article=4712").headers["ETag"])
    assert tags[0] != tags[1]
    assert recommend.calls[0].sheets[0].trials == ()
    (trial,) = recommend.calls[1].sheets[0].trials
    assert (trial.detector_class, trial.band.low, trial.double_as_single) == ("ultrasonic-300k", 8, 1)
    schema = jsonschema_rs.validator_for(api.get("/schemas/stock.json").json)
    assert schema.is_valid(tomllib.loads(TRIED))


@pytest.mark.parametrize("path", ["/v1/recommendations", "/v1/predictions", "/v1/recommendations/batch"])
def test_a_trial_that_cannot_have_been_is_told_by_its_place(path: str) -> None:
    wrong = {"detector_class": "ultrasonic-300k", "gap_mm": 400, "band": {"low": 8, "high": 53}}
    sheet = {"material": "pet", "thickness_um": 100, "trials": [wrong]}
    setup = {"detector_class": "ultrasonic-300k", "gap_mm": 40}
    question: Any = {"sheet": sheet, "setup": setup} if "predictions" in path else {"sheets": [sheet]}
    reply = app_of(recommend=recommend).test_client().post(path, json=[question] if "batch" in path else question)
    problem = reply.get_json(force=True)
    (error,) = (problem[0]["problem"] if "batch" in path else problem)["errors"]
    assert error["code"] == "out-of-range"
    assert error["pointer"] == ("/sheet" if "predictions" in path else "/sheets/0") + "/trials/0/gap_mm"


def test_jobs_without_articles_are_as_they_were() -> None:
    recommend = CountingRecommend()
    asked(app_of(recommend=recommend).test_client(), {"sheets": [{"material": "pet", "thickness_um": 50}]})
    assert isinstance(recommend.calls[0], Job)
