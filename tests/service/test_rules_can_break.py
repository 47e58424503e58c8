"""Each rule of `support.rules` is kept by an answer, and broken by one that is doctored."""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from dataclasses import dataclass

import pytest
from flask.testing import FlaskClient
from support import rules
from support.asking import Asking, Json
from support.rules import RULES, Rule

JOB: Json = {
    "sheets": [
        {"material": "copy-paper", "grammage_gsm": 80.0, "grammage_tolerance_pct": 2.0},
        {"material": "copy-paper", "thickness_um": 120.0},
    ],
    "classes": ["ultrasonic-400k", "ultrasonic-300k", "capacitive-200k"],
    "line": {"clearance_above_mm": 150.0, "clearance_below_mm": 150.0, "edge_distance_mm": 50.0},
    "limit": 20,
}
Doctor = Callable[[Json, Json], None]
"""Changes what is answered, by what was asked."""


@dataclass(frozen=True, kw_only=True)
class Doctored(Asking):
    """A service that answers wrongly."""

    doctor: Doctor

    def _ask(self, call: str, body: Json) -> Json | None:
        document = deepcopy(super()._ask(call, body))
        assert document is not None
        self.doctor(body, document)
        return document


def _results(document: Json) -> list[Json]:
    """What sheets read, in an answer or a prediction."""
    every = [document["predicted"]] if "predicted" in document else document["recommendations"]
    return [result for one in every for result in one["sheets"]]


def _shift(document: Json, by: float) -> None:
    for result in _results(document):
        result["signal"]["single"]["p50"] += by
        result["margin"]["single"] += by


def alone(asked: Json, document: Json) -> None:
    if len(asked.get("sheets", JOB["sheets"])) == 1:
        document["verdict"] = "unsuitable"


def alone_and_there(asked: Json, document: Json) -> None:
    alone(asked, document)
    judged_again(asked, document)


def roomier(asked: Json, document: Json) -> None:
    if asked["line"]["clearance_above_mm"] > 150.0 and "predicted" in document:
        document["predicted"]["verdict"] = "unsuitable"


def easier(asked: Json, document: Json) -> None:
    if "targets" not in asked and "sheets" in asked:
        document["verdict"] = "unsuitable"


TOLERANCES = (
    "grammage_tolerance_pct",
    "thickness_tolerance_pct",
    "flutter_mm",
    "flutter_deg",
    "temperature_max_c",
    "relative_humidity_max_pct",
)


def wider(asked: Json, document: Json) -> None:
    parts = (asked.get(part, {}) for part in ("sheet", "line", "environment"))
    if "predicted" in document:
        _shift(document, sum(part.get(name, 0.0) for part in parts for name in TOLERANCES))


def fewer(asked: Json, document: Json) -> None:
    if len(asked.get("classes", JOB["classes"])) < len(JOB["classes"]):
        _shift(document, 1.0)


def pounds(asked: Json, document: Json) -> None:
    if "basis" in str(asked):
        _shift(document, 0.3)


def read_again(asked: Json, document: Json) -> None:
    if "predicted" in document:
        _shift(document, 0.2)


def judged_again(asked: Json, document: Json) -> None:
    if "predicted" in document:
        document["predicted"]["verdict"] = "trial-needed"


def hardly_tilted(asked: Json, document: Json) -> None:
    if 0.0 < asked.get("setup", {}).get("tilt_deg", 0.0) < 1.0:
        _shift(document, 0.3)


def cut(asked: Json, document: Json) -> None:
    if asked.get("limit") == 1:
        document["recommendations"][0]["verdict"] = "trial-needed"


def of_the_best(asked: Json, document: Json) -> None:
    document["verdict"] = "trial-needed" if document.get("verdict") == "suitable" else "suitable"


def too_fast(asked: Json, document: Json) -> None:
    for one in document.get("recommendations", ()):
        for setup in one["setups"]:
            setup["timing"]["fits"] = False


def at_the_end(asked: Json, document: Json) -> None:
    for one in document.get("recommendations", ()):
        for setup in one["setups"]:
            setup["geometry"]["gap_mm"]["min"] = setup["geometry"]["gap_mm"]["nominal"]


DOCTORS: dict[Rule, Doctor] = {
    rules.an_answer_agrees_with_itself: of_the_best,
    rules.what_is_suitable_passes_every_check: too_fast,
    rules.a_window_can_be_kept_to: at_the_end,
    rules.what_is_printed_reads_as_printed: read_again,
    rules.a_verdict_is_of_the_setting: judged_again,
    rules.levels_are_continuous: hardly_tilted,
    rules.wider_tolerance_raises_no_margin: wider,
    rules.a_list_is_as_good_as_its_worst_sheet: alone_and_there,
    rules.a_sheet_alone_finds_what_a_list_finds: alone,
    rules.more_room_is_no_worse: roomier,
    rules.stricter_targets_raise_no_verdict: easier,
    rules.one_more_class_lowers_nothing: fewer,
    rules.limit_only_cuts: cut,
    rules.units_are_equal: pounds,
}


def test_every_rule_is_doctored() -> None:
    assert set(DOCTORS) == set(RULES)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.__name__)
def test_a_rule_can_be_kept_and_broken(real_api: FlaskClient, rule: Rule) -> None:
    asking = Asking(api=real_api)
    answer = asking.recommend(JOB)
    assert answer is not None
    assert answer["verdict"] == "suitable"
    assert list(rule(asking, JOB, answer)) == []
    wrong = Doctored(api=real_api, doctor=DOCTORS[rule])
    doctored = wrong.recommend(JOB)
    assert doctored is not None
    assert list(rule(wrong, JOB, doctored))
