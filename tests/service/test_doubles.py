"""What a double is: another piece of as many plies, or one ply more where the job says so, whatever senses it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from flask.testing import FlaskClient
from sheetmargin_service.app import create_app
from sheetmargin_service.config import Settings
from sheetmargin_service.principles.ultrasonic.class_model import UltrasonicModel
from support.principle_cases import class_model, sheet

PAPER, FOIL = sheet("copy-paper", grammage_gsm=60), sheet("aluminium", thickness_um=100)
FILM = sheet("bopp-white", thickness_um=50)
SENSED = {
    "ultrasonic-180k": PAPER,
    "capacitive-200k": PAPER,
    "thickness-roller": PAPER,
    "optical-850": FILM,
    "eddy-current-100k": FOIL,
    "eddy-current-one-sided-1k": FOIL,
}
"""A class of each principle, and a sheet of which it senses some that lie on each other; to light one without print."""
WIDEST = -1
"""The setting with the most room."""


@pytest.fixture(params=SENSED)
def made(request):
    return class_model(request.param)


@pytest.mark.parametrize(("kind", "double"), [("another-piece", 4), ("one-ply-more", 3)])
def test_a_double_reads_as_so_many_plies(made, kind, double):
    """As a correct sheet of so many plies does, but for the air in the one joint that is never the same."""
    ply = SENSED[made.detector_class.id]
    piece = replace(ply, plies=2, double_kind=kind)
    found, stack = made.signal_table(piece), made.signal_table(replace(ply, plies=double))
    more, as_stack = (two.p50[WIDEST] - found.single.p50[WIDEST] for two in (found.double, stack.single))
    assert as_stack > 0.0
    assert more == pytest.approx(as_stack, rel=0.15)


def test_a_ply_too_few_is_a_state_where_plies_are_counted(made):
    ply = SENSED[made.detector_class.id]
    counted = made.signal_table(replace(ply, plies=3, double_kind="one-ply-more")).fewer
    assert counted is not None
    assert counted.p50[WIDEST] == pytest.approx(made.signal_table(replace(ply, plies=2)).single.p50[WIDEST], rel=0.15)
    assert made.signal_table(replace(ply, plies=3)).fewer is None


@pytest.mark.parametrize("contact", ["bonded", "water-film"])
def test_pieces_that_touch_keep_the_air_within_them(contact):
    """Two touching pieces of three plies let less through than one of them, and more than six plies with air."""
    made = class_model("ultrasonic-180k")
    assert isinstance(made, UltrasonicModel)

    def mean_db(touch: str, *, double: bool) -> float:
        levels = made.levels_of(replace(PAPER, plies=3, contact=touch)).levels
        branches = levels.double(1) if double else levels.single()
        return float(branches.weights @ branches.attenuation_db[0, :, WIDEST])

    assert mean_db(contact, double=False) + 6.0 < mean_db(contact, double=True) < mean_db("air", double=True) - 3.0


@pytest.fixture(scope="module")
def api() -> FlaskClient:
    return create_app(Settings()).test_client()


def ask(api: FlaskClient, **fields: Any) -> dict[str, Any]:
    answered = api.post("/v1/recommendations", json={"sheets": [{"material": "copy-paper", **fields}], "limit": 20})
    assert answered.status_code == 200, answered.json
    found: dict[str, Any] = answered.json
    return found


def by_class(answer: dict[str, Any], *, setup: str) -> dict[str, Any]:
    return next(
        one["sheets"][0] for one in answer["recommendations"] if one["setups"][0]["detector_class"]["id"] == setup
    )


def test_a_signature_of_eight_against_sixteen(api):
    """A thickness roller tells them apart; told from nine, it would not."""
    answer = ask(api, grammage_gsm=80, plies=8)
    roller = by_class(answer, setup="thickness-roller")
    assert roller["signal"]["double"]["p50"] == pytest.approx(2.0 * roller["signal"]["single"]["p50"], rel=0.1)
    assert roller["signal"]["one_ply_missing"] is None
    told = next(note for note in answer["assumptions"] if note["code"] == "double-is-another-piece")
    assert told["pointer"] == "/sheets/0/double/kind"
    assert (told["values"]["plies"], told["values"]["double_plies"]) == (8, 16)
    counted = ask(api, grammage_gsm=80, plies=8, double={"kind": "one-ply-more"})
    refused = next(
        one for one in [*counted["ruled_out"], *counted["alternatives"]] if one["detector_class"] == "thickness-roller"
    )
    assert refused["code"] != "plies-counted"
    assert not any(note["code"] == "double-is-another-piece" for note in counted["assumptions"])


@pytest.mark.parametrize(("grammage", "plies"), [(55, 3), (90, 2)])
def test_sets_and_envelopes_are_answered_as_pieces(api, grammage, plies):
    """A set of three and an envelope of two: low ultrasound or a roller, never nothing."""
    answer = ask(api, grammage_gsm=grammage, plies=plies)
    serving = {one["setups"][0]["detector_class"]["principle"] for one in answer["recommendations"]}
    assert serving & {"ultrasonic", "thickness"}


def test_one_sheet_has_one_kind_of_double(api):
    one, other = (ask(api, grammage_gsm=80, double={"kind": kind}) for kind in ("another-piece", "one-ply-more"))
    assert one["recommendations"] == other["recommendations"]


def test_a_kind_that_is_none_is_refused(api):
    sheet = {"material": "copy-paper", "grammage_gsm": 80, "double": {"kind": "two"}}
    refused = api.post("/v1/recommendations", json={"sheets": [sheet]})
    assert refused.status_code == 422
    assert refused.json["errors"][0]["pointer"] == "/sheets/0/double/kind"
