"""What a class asks of its owner, what a job accepts of it, and what a surface changes."""

from __future__ import annotations

from typing import Any

import pytest
from flask.testing import FlaskClient
from sheetmargin_service.errors import FieldError
from sheetmargin_service.principles import principles
from sheetmargin_service.principles.catalogues import read_catalogue, reference_catalogue

CLASSES = {c.id: c for c in reference_catalogue().classes}
OWN = """
source = "illustrative"
[[class]]
id = "own"
principle = "capacitive"
housing = {{ thread = "rectangular", length_mm = 30, width_mm = 50 }}
output = ["pnp"]
supply = "24 V DC"
ingress = "IP65"
temperature_min_c = 0
temperature_max_c = 60
contactless = true
order = [{{ role = "head", quantity = 1 }}]
{demands}
"""


def answer(api: FlaskClient, *sheets: dict[str, Any], **job: Any) -> dict[str, Any]:
    response = api.post("/v1/recommendations", json={"sheets": list(sheets), "limit": 20, **job})
    assert response.status_code == 200, response.json
    found: dict[str, Any] = response.json
    return found


def named(found: dict[str, Any]) -> set[str]:
    return {setup["detector_class"]["id"] for one in found["recommendations"] for setup in one["setups"]}


def suitable(found: dict[str, Any]) -> set[str]:
    return {
        setup["detector_class"]["principle"]
        for one in found["recommendations"]
        if one["verdict"] == "suitable"
        for setup in one["setups"]
    }


def missed(found: dict[str, Any]) -> dict[str, str]:
    return {
        one["detector_class"]: one["values"]["requirement"]
        for one in found["ruled_out"]
        if one["code"] == "requirement-missed"
    }


def test_a_class_asks_what_its_principle_does_but_for_what_it_says_itself() -> None:
    assert CLASSES["thickness-roller"].demands.marks
    assert not CLASSES["thickness-laser"].demands.marks
    assert CLASSES["thickness-laser"].demands.effort == 5
    assert CLASSES["capacitive-200k"].demands.moved_by == principles()["capacitive"].demands.moved_by


def test_a_catalogue_of_ones_own_says_what_it_asks() -> None:
    reference = reference_catalogue().classes
    text = OWN.format(demands='demands = { effort = 1, price = 120.5, currency = "EUR", stock = 3 }')
    (own,) = read_catalogue(name="own", text=text, reference=reference).classes
    assert (own.demands.effort, own.demands.price, own.demands.stock) == (1, 120.5, 3)
    assert own.demands.gap_set_by == "gauge"
    for wrong in (
        "{ effort = 6 }",
        "{ effort = 0 }",
        "{ price = 3 }",
        '{ price = 3, currency = "euro" }',
        "{ stock = -1 }",
    ):
        with pytest.raises(FieldError, match="expected"):
            read_catalogue(name="own", text=OWN.format(demands=f"demands = {wrong}"), reference=reference)


PAPER = {"material": "copy-paper", "grammage_gsm": 80}
STEEL = {"material": "steel", "thickness_um": 800}


@pytest.mark.parametrize(
    ("job", "sheet", "requirement", "out", "kept"),
    [
        ({"prefer": {"effort_max": 4}}, PAPER, "effort_max", "thickness-laser", "ultrasonic-400k"),
        ({"line": {"access": "one-side"}}, STEEL, "access", "eddy-current-1k", "eddy-current-one-sided-1k"),
        ({"line": {"wash_down": True}}, PAPER, "ingress", "ultrasonic-400k", None),
        ({}, PAPER | {"surface": {"marks_allowed": False}}, "marks_allowed", "thickness-roller", "thickness-laser"),
        ({}, PAPER | {"surface": {"gritty": True}}, "gritty", "thickness-roller", "thickness-laser"),
        ({}, {"material": "sandpaper", "grammage_gsm": 300}, "gritty", "thickness-roller", "thickness-laser"),
    ],
)
def test_what_a_job_does_not_accept_is_ruled_out_by_name(
    real_api: FlaskClient, job: Any, sheet: Any, requirement: str, out: str, kept: str | None
) -> None:
    lacks = missed(answer(real_api, sheet, **job))
    assert lacks[out] == requirement
    assert kept is None or kept not in lacks


def test_oil_joins_two_blanks_for_sound_and_leaves_coils_as_they_are(real_api: FlaskClient) -> None:
    dry, oiled = (answer(real_api, STEEL | {"surface": {"oiled": oiled}}) for oiled in (False, True))
    assert {"ultrasonic", "eddy-current"} <= suitable(dry)
    assert suitable(oiled) == {"eddy-current", "eddy-current-one-sided", "thickness"}


def test_sheets_that_do_not_cling_are_told_apart_more_surely(real_api: FlaskClient) -> None:
    chances = {}
    for blocks in (False, None, True):
        found = answer(real_api, {"material": "coated-paper", "grammage_gsm": 350, "surface": {"blocks": blocks}})
        chances[blocks] = max(
            one["chance"]
            for one in found["recommendations"]
            if "ultrasonic" in one["setups"][0]["detector_class"]["id"]
        )
    assert chances[True] < chances[None] < chances[False]


def test_flaps_that_lift_need_room(real_api: FlaskClient) -> None:
    flat = answer(real_api, {"material": "bopp", "thickness_um": 100})
    lifted = answer(real_api, {"material": "bopp", "thickness_um": 100, "surface": {"lift_mm": 8}})
    assert "capacitive-200k" in named(flat)
    assert "capacitive-200k" not in named(lifted)


def test_classes_tell_what_they_ask(real_api: FlaskClient) -> None:
    classes = {one["id"]: one for one in real_api.get("/v1/detector-classes").json["classes"]}
    assert classes["thickness-laser"]["demands"]["effort"] == 5
    assert classes["ultrasonic-400k"]["demands"]["moved_by"] == ["oil"]


def test_the_usual_principle_comes_before_a_dearer_one(real_api: FlaskClient) -> None:
    for sheet, principle in [(PAPER, "ultrasonic"), (STEEL, "eddy-current")]:
        found = answer(real_api, sheet)
        assert found["recommendations"][0]["setups"][0]["detector_class"]["principle"] == principle
        later = found["recommendations"][1:]
        assert all(one["reasons"][0]["code"].startswith("behind-by-") for one in later)
        assert all(one["reasons"][0]["values"]["above"] == one["rank"] - 1 for one in later)


class TestComparison:
    def test_the_deciding_step_stands_first(self, real_api: FlaskClient) -> None:
        asked = {"sheets": [STEEL], "between": ["thickness-laser", "eddy-current-10k"]}
        found = real_api.post("/v1/comparisons", json=asked).json
        assert found["better"] == "eddy-current-10k"
        assert found["steps"][0] == {"step": "effort", "first": 2, "second": 5, "decides": True}
        assert [one["decides"] for one in found["steps"]].count(True) == 1
        assert [one["rank"] for one in found["recommendations"]] == [1, 2]
        turned = real_api.post("/v1/comparisons", json=asked | {"between": asked["between"][::-1]}).json
        assert turned["steps"] == found["steps"]

    def test_a_class_that_cannot_is_told_why(self, real_api: FlaskClient) -> None:
        asked = {"sheets": [PAPER], "between": ["eddy-current-1k", "ultrasonic-400k"]}
        found = real_api.post("/v1/comparisons", json=asked).json
        assert (found["better"], found["steps"]) == ("ultrasonic-400k", [])
        assert [one["detector_class"] for one in found["ruled_out"]] == ["eddy-current-1k"]

    def test_two_set_ups_are_compared_as_they_stand(self, real_api: FlaskClient) -> None:
        """A band too narrow for the sheet falls behind; what is read there is what a prediction says."""
        good, bad = (
            {"detector_class": "ultrasonic-300k", "gap_mm": 40, "profile": {"band": {"low": 15, "high": high}}}
            for high in (60, 46)
        )
        found = real_api.post("/v1/comparisons", json={"sheets": [PAPER], "setups": [bad, good]}).json
        assert (found["better"], found["better_index"]) == ("ultrasonic-300k", 1)
        assert found["steps"][0]["step"] == "verdict"
        first, second = found["recommendations"]
        assert [one["setups"][0]["profile"]["band"]["high"] for one in (first, second)] == [60, 46]
        alone = real_api.post("/v1/predictions", json={"sheet": PAPER, "setup": good}).json["predicted"]
        assert (first["chance"], first["sheets"]) == (alone["chance"], alone["sheets"])

    def test_a_set_up_is_compared_for_every_sheet_of_a_list(self, real_api: FlaskClient) -> None:
        setups = [{"detector_class": name, "gap_mm": 29.5} for name in ("ultrasonic-400k", "ultrasonic-300k")]
        sheets = [PAPER, {"material": "newsprint", "grammage_gsm": 45}]
        found = real_api.post("/v1/comparisons", json={"sheets": sheets, "setups": setups}).json
        assert [len(one["sheets"]) for one in found["recommendations"]] == [2, 2]

    @pytest.mark.parametrize(
        ("first", "pointer"),
        [
            ({"detector_class": "ultrasonic-400k", "gap_mm": 500}, "/setups/0/gap_mm"),
            ({"detector_class": "eddy-current-1k", "gap_mm": 30}, "/setups/0/detector_class"),
            ({"detector_class": "ultrasonic-300k", "gap_mm": 30}, "/setups"),
        ],
    )
    def test_set_ups_that_cannot_be(self, real_api: FlaskClient, first: dict[str, Any], pointer: str) -> None:
        setups = [first, {"detector_class": "ultrasonic-300k", "gap_mm": 30}]
        response = real_api.post("/v1/comparisons", json={"sheets": [PAPER], "setups": setups})
        assert response.status_code == 422
        assert response.json["errors"][0]["pointer"] == pointer

    def test_classes_or_set_ups_and_not_both(self, real_api: FlaskClient) -> None:
        between = ["ultrasonic-400k", "ultrasonic-300k"]
        setups = [{"detector_class": name, "gap_mm": 29.5} for name in between]
        for asked in ({}, {"between": between, "setups": setups}):
            response = real_api.post("/v1/comparisons", json={"sheets": [PAPER], **asked})
            assert response.json["errors"][0]["pointer"] == "/between"

    @pytest.mark.parametrize(
        ("between", "pointer"),
        [
            (["ultrasonic-400k", "nothing"], "/between/1"),
            (["ultrasonic-400k"] * 2, "/between"),
            (["ultrasonic-400k"], "/between"),
        ],
    )
    def test_what_cannot_be_compared(self, real_api: FlaskClient, between: list[str], pointer: str) -> None:
        response = real_api.post("/v1/comparisons", json={"sheets": [PAPER], "between": between})
        assert response.status_code == 422
        assert response.json["errors"][0]["pointer"] == pointer


def reasons(found: dict[str, Any]) -> set[str]:
    return {reason["code"] for reason in found["recommendations"][0]["reasons"]}


METALS = [{"material": "steel", "thickness_um": um} for um in (300, 800, 1500)]


def test_metals_are_told_as_recipes_on_one_detector(real_api: FlaskClient) -> None:
    found = answer(real_api, *METALS)
    first = found["recommendations"][0]
    assert {setup["detector_class"]["principle"] for setup in first["setups"]} == {"eddy-current"}
    assert len({setup["detector_class"]["id"] for setup in first["setups"]}) == 1
    assert "switched-by-recipe" in reasons(found)
    assert "switched-by-recipe" not in reasons(answer(real_api, *METALS, controller={"recipes": False}))


def test_a_window_under_the_spot_is_for_a_trial(real_api: FlaskClient) -> None:
    found = answer(real_api, PAPER | {"surface": {"cut_out": True}})
    assert found["verdict"] == "trial-needed"
    assert "cut-out-under-spot" in reasons(found)


@pytest.mark.parametrize(
    ("sheet", "job", "code"),
    [
        (PAPER, {"line": {"clearance_above_mm": 4, "clearance_below_mm": 4}}, "would-serve-with-room"),
        (
            PAPER,
            {"line": {"clearance_below_mm": 3, "clearance_above_mm": 3}, "principles": ["ultrasonic"]},
            "would-serve-with-room",
        ),
        (PAPER, {"line": {"access": "one-side"}}, "would-serve-from-both-sides"),
        (PAPER, {"environment": {"temperature_min_c": 105, "temperature_max_c": 110}}, "would-serve-in-a-hall"),
    ],
)
def test_where_nothing_serves_the_change_that_would_help_is_computed(
    real_api: FlaskClient, sheet: Any, job: Any, code: str
) -> None:
    found = answer(real_api, sheet, **job)
    assert found["recommendations"] == []
    told = {one["code"]: one["values"] for one in found["would_serve"]}
    assert code in told
    free = answer(real_api, sheet)
    assert free["would_serve"] == []
    (setup,) = free["recommendations"][0]["setups"]
    assert told[code]["detector_class"] == setup["detector_class"]["id"]
    assert told[code]["verdict"] == free["verdict"]


def test_what_no_change_helps_is_told_no_change(real_api: FlaskClient) -> None:
    found = answer(real_api, {"material": "aluminium", "thickness_um": 300}, principles=["capacitive"])
    assert [one["code"] for one in found["would_serve"]] == ["would-serve-unfiltered"]


def told(found: dict[str, Any], part: str) -> dict[str, str]:
    return {one["detector_class"]: one["code"] for one in found[part]}


def test_a_class_that_reads_as_an_easier_one_is_an_alternative_and_costs_nothing(real_api: FlaskClient) -> None:
    assert told(answer(real_api, PAPER), "alternatives")["ultrasonic-400k-flat"] == "same-as-another"
    tight = answer(real_api, PAPER, line={"clearance_above_mm": 20, "clearance_below_mm": 20})
    assert named(tight) == {"ultrasonic-400k-flat"}
    assert told(tight, "ruled_out")["ultrasonic-400k"] == "no-room-for-head"
    steel = answer(
        real_api, STEEL, principles=["capacitive", "ultrasonic"], classes=["ultrasonic-400k", "ultrasonic-400k-flat"]
    )
    if "ultrasonic-400k" not in named(steel):
        assert told(steel, "ruled_out")["ultrasonic-400k-flat"] == told(steel, "ruled_out")["ultrasonic-400k"]
    asked = {"sheets": [PAPER], "between": ["ultrasonic-400k-flat", "ultrasonic-400k"]}
    compared = real_api.post("/v1/comparisons", json=asked).json
    assert (compared["better"], compared["steps"][0]["step"]) == ("ultrasonic-400k", "effort")


@pytest.mark.parametrize(
    ("sheet", "job", "class_id"),
    [
        (PAPER, {"line": {"wash_down": True}}, "ultrasonic-300k-sealed"),
        (PAPER, {"environment": {"temperature_min_c": -25, "temperature_max_c": 5}}, "ultrasonic-300k-cold"),
        (STEEL, {"line": {"access": "one-side"}}, "eddy-current-one-sided-80"),
        ({"material": "aluminium", "thickness_um": 300}, {"line": {"access": "one-side"}}, "eddy-current-one-sided-3k"),
        (
            {"material": "stainless-steel", "thickness_um": 1000},
            {"line": {"access": "one-side"}},
            "eddy-current-one-sided-3k",
        ),
    ],
)
def test_tight_wet_cold_and_one_sided_places_have_a_class(
    real_api: FlaskClient, sheet: Any, job: Any, class_id: str
) -> None:
    assert class_id in named(answer(real_api, sheet, **job))
