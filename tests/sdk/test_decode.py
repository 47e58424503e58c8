"""Answers decoded by the contract: a newer service must not break a client, and a wrong answer is told as one."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, get_args

import pytest
from sheetmargin import Answer, Geometry, Job, Setup, Sheet, UnexpectedAnswer, Window
from sheetmargin.contract.answer import Head
from sheetmargin.decode import decode
from support.whole import made, whole

SAMPLE: Any = json.loads((Path(__file__).parent / "data" / "answer.json").read_text(encoding="utf-8"))


def test_an_answer_is_typed_all_the_way_down() -> None:
    answer = made(Answer, SAMPLE)
    assert answer.verdict == "unsuitable"
    best = answer.best
    assert best is not None
    assert best.verdict == "trial-needed"
    assert (best.serves.count, best.serves.of) == (2, 3)
    assert best.not_served[0].index == 2
    assert best.changeovers.detector_class == 0
    (setup,) = best.setups
    assert setup.sheets == (0, 1)
    assert setup.detector_class.frequency_khz == 180
    assert setup.geometry == Geometry(
        gap_mm=Window(nominal=45, min=40, max=50), tilt_deg=Window(nominal=20, min=15, max=25)
    )
    assert (setup.profile.band.low, setup.profile.band.high) == (25, 60)
    assert setup.head is None
    assert setup.mounting is not None
    assert setup.mounting.emitter.y_mm == -21.1
    assert setup.mounting.footprint is None
    assert setup.timing is not None
    assert setup.timing.limit is not None
    assert setup.timing.limit.code == "sheet-too-short"
    assert [line.role for line in setup.order_items] == ["emitter", "receiver"]
    assert best.sheets[0].signal.double.p99 == 118.2
    assert best.sheets[0].misread_ppm.double_as_single.low == 1
    assert best.reasons[0].values == {"single_db": 41.2}
    assert answer.assumptions[0].value == 1


def test_an_unknown_field_is_ignored_and_a_missing_one_refused() -> None:
    told = whole(Answer, SAMPLE)
    assert decode(Answer, told | {"of_a_later_service": [1]}) == decode(Answer, told)
    for name in told.keys() - {"a_field_of_a_later_service", "language"}:
        with pytest.raises(UnexpectedAnswer, match=f"/{name} is missing"):
            decode(Answer, {key: value for key, value in told.items() if key != name})


def test_null_stands_only_where_the_contract_lets_it() -> None:
    setup = whole(Setup, {})
    assert decode(Setup, setup).alignment is None
    with pytest.raises(UnexpectedAnswer, match="/geometry"):
        decode(Setup, setup | {"geometry": None})


def test_a_word_of_a_later_service_is_taken_as_it_is() -> None:
    assert made(Answer, {"verdict": "of a later service"}).verdict == "of a later service"


def test_what_need_not_be_given_takes_its_default() -> None:
    assert decode(Job, {"sheets": [{"material": "pet"}]}) == Job(sheets=(Sheet(material="pet"),))


@pytest.mark.parametrize(
    ("data", "place"),
    [
        ([], "/"),
        ("text", "/"),
        ({"verdict": 3}, "/verdict"),
        ({"recommendations": {}}, "/recommendations"),
        ({"recommendations": [[]]}, "/recommendations/0"),
        ({"recommendations": [{"rank": "1"}]}, "/recommendations/0/rank"),
        ({"recommendations": [{"rank": True}]}, "/recommendations/0/rank"),
        ({"cautions": [{"values": []}]}, "/cautions/0/values"),
        ({"cautions": [{"values": {"a": [1]}}]}, "/cautions/0/values/a"),
        ({"recommendations": [{"setups": [{"detector_class": {"illustrative": "yes"}}]}]}, "illustrative"),
    ],
)
def test_another_kind_of_value_is_refused_with_its_place(data: Any, place: str) -> None:
    with pytest.raises(UnexpectedAnswer, match=place):
        made(Answer, data)


def test_the_refused_value_is_shown_short() -> None:
    with pytest.raises(UnexpectedAnswer) as caught:
        made(Answer, {"verdict": ["x" * 10_000]})
    assert len(str(caught.value)) < 200


@pytest.mark.parametrize("kind", get_args(Head))
def test_a_head_is_told_by_its_type(kind: Any) -> None:
    head = made(Setup, {"head": whole(kind, {"type": kind.type})}).head
    assert type(head) is kind
