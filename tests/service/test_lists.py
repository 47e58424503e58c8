"""Lists of sheets: the answer as a whole, whatever is asked beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from itertools import combinations
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sheetmargin.contract.answer import Answer
from sheetmargin.contract.job import Double, Environment, Job, Line, Targets
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin_service.api.encode import encode
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.selection import plans
from sheetmargin_service.selection.class_result import ClassResult
from sheetmargin_service.selection.ranking import ranked
from sheetmargin_service.selection.recommend import _plans, recommend
from sheetmargin_service.selection.targets import ORDER
from support.class_results import class_results

CATALOGUE, LIBRARY = reference_catalogue(), load_library()
PAPER = SheetSpec(material="copy-paper", grammage_gsm=80.0)
BOARD = SheetSpec(material="coated-board", grammage_gsm=250.0)
CARD = SheetSpec(material="pvc-rigid", thickness_um=760.0)
STEEL = SheetSpec(material="steel", thickness_um=800.0)
FILM = SheetSpec(material="pet", thickness_um=12.0)
TISSUE = SheetSpec(material="tissue", grammage_gsm=18.0)
FIBREBOARD = SheetSpec(material="mdf", thickness_um=3000.0)
FLUTES = tuple(SheetSpec(construction=f"corrugated-{flute}") for flute in "ebc")
FEW = (
    "ultrasonic-180k",
    "ultrasonic-300k",
    "ultrasonic-500k",
    "eddy-current-1k",
    "capacitive-200k",
    "thickness-roller",
)
SOME_SHEETS = (PAPER, BOARD, CARD, STEEL, FILM, TISSUE, FIBREBOARD, *FLUTES)
FEW_EXAMPLES = settings(
    max_examples=8, deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck)
)
lists = st.lists(st.sampled_from(SOME_SHEETS), min_size=2, max_size=4).map(tuple)


@cache
def answer(*sheets: SheetSpec, **job: Any) -> Answer:
    """Asked once, whichever tests look at it."""
    return recommend(Job(sheets=sheets, **job), catalogue=CATALOGUE, library=LIBRARY)


README_JOB: dict[str, Any] = {
    "line": Line(clearance_above_mm=60, clearance_below_mm=60, flutter_mm=1),
    "environment": Environment(temperature_min_c=15, temperature_max_c=35),
}


def wire(found: Answer) -> dict[str, Any]:
    """As it leaves: rounded to what the contract states."""
    return encode(found, language="en")


def assert_limit_only_cuts(*sheets: SheetSpec, limits: tuple[int, ...] = (1, 3), **job: Any) -> None:
    whole = wire(answer(*sheets, limit=20, **job))
    for limit in limits:
        some = wire(answer(*sheets, limit=limit, **job))
        assert some["verdict"] == whole["verdict"]
        assert some["recommendations"] == whole["recommendations"][:limit]
        assert some["trial"] == whole["trial"]


def test_the_limit_only_cuts_the_answer() -> None:
    assert_limit_only_cuts(BOARD, PAPER, **README_JOB)


@FEW_EXAMPLES
@given(lists, st.booleans())
def test_the_limit_only_cuts_any_list_and_every_set_up_names_its_sheets(
    sheets: tuple[SheetSpec, ...], keep_sequence: bool
) -> None:
    assert_limit_only_cuts(*sheets, limits=(1,), classes=FEW, keep_sequence=keep_sequence)
    for one in answer(*sheets, limit=20, classes=FEW, keep_sequence=keep_sequence).recommendations:
        for setup in one.setups:
            assert setup.sheets
            assert list(setup.sheets) == [s.index for s in one.sheets if s.setup == setup.index]


@pytest.mark.parametrize("papers", [6, pytest.param(46, marks=pytest.mark.long)])
def test_the_limit_only_cuts_a_long_list(papers: int) -> None:
    some = [SheetSpec(material="copy-paper", grammage_gsm=60.0 + 180.0 * step / papers) for step in range(papers)]
    assert_limit_only_cuts(*some, CARD, STEEL, FILM, BOARD, limits=(1,), classes=FEW[1:4])


def first_key(found: list[ClassResult]) -> tuple[float | str, ...] | None:
    made = ranked(_plans(found)[0])
    return tuple(made[0].key.values()) if made else None


def assert_no_class_lowers_the_first(
    sheets: tuple[SheetSpec, ...], *, classes: tuple[str, ...] = FEW, **job: Any
) -> None:
    """What each set of classes can do, against what it can do without one of them."""
    found = class_results(*sheets, classes=classes, **job)
    for count in range(2, len(found) + 1):
        for some in combinations(found, count):
            whole = first_key(list(some))
            for without in combinations(some, count - 1):
                part = first_key(list(without))
                assert part is None or (whole is not None and whole <= part), [p.detector_class.id for p in some]


@pytest.mark.parametrize("keep_sequence", [False, True])
def test_one_more_class_never_lowers_the_first(keep_sequence: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    known: dict[tuple[str, tuple[SheetSpec, ...]], Any] = {}
    sheet_levels = plans._alone_for_list

    def once(places: Sequence[ClassResult]) -> list[Any]:
        """Looked at once: the same post is part of many sets."""
        names = [(place.detector_class.id, place.resolved_job.job.sheets) for place in places]
        for name, place in zip(names, places, strict=True):
            if name not in known:
                (known[name],) = sheet_levels([place])
        return [known[name] for name in names]

    monkeypatch.setattr(plans, "_alone_for_list", once)
    assert_no_class_lowers_the_first((PAPER, CARD, STEEL), keep_sequence=keep_sequence)
    assert_no_class_lowers_the_first((BOARD, FILM, PAPER, FIBREBOARD), keep_sequence=keep_sequence)


def test_one_more_class_never_lowers_the_first_for_one_sheet() -> None:
    assert_no_class_lowers_the_first((PAPER,), classes=("ultrasonic-300k", "ultrasonic-500k", "capacitive-200k"))
    assert_no_class_lowers_the_first((STEEL,), classes=("ultrasonic-180k", "eddy-current-1k", "thickness-roller"))


@pytest.mark.parametrize("sheets", [(BOARD, FILM, TISSUE), (PAPER, CARD, STEEL)], ids=["out of reach", "in reach"])
def test_a_list_is_no_better_than_its_worst_sheet(sheets: tuple[SheetSpec, ...]) -> None:
    alone = max(ORDER[answer(sheet).verdict] for sheet in sheets)
    assert ORDER[answer(*sheets).verdict] >= alone


def test_a_list_with_a_sheet_that_is_not_served_is_not_suitable() -> None:
    """Each of the recommendations says how many it serves, and what not. No sound tells one film of 12 um from two."""
    sound = {"principles": ("ultrasonic",)}
    assert answer(FILM, limit=1, **sound).verdict == "unsuitable"
    found = answer(FILM, FIBREBOARD, limit=20, **sound)
    best = found.recommendations[0]
    assert best.verdict in ("suitable", "trial-needed")
    assert found.verdict == "unsuitable"
    assert [one.index for one in best.not_served] == [0]
    for one in found.recommendations:
        assert (one.serves.count, one.serves.of) == (len(one.sheets), 2)
        assert sorted([*(s.index for s in one.sheets), *(s.index for s in one.not_served)]) == [0, 1]


@pytest.mark.parametrize("sheets", [(PAPER, CARD, FILM), (PAPER, CARD, STEEL)], ids=["light", "kinds"])
def test_each_sheet_of_a_trial_is_tested_in_its_own_band(sheets: tuple[SheetSpec, ...]) -> None:
    """One block a sheet: what is expected of it is read where its own set-up counts one sheet, two lie outside."""
    found = answer(*sheets)
    best = found.recommendations[0]
    assert len(best.setups) > 1
    blocks: dict[int, dict[str, Any]] = {}
    for note in found.trial:
        if "sheet" in note.values:
            blocks.setdefault(int(note.values["sheet"]), {})[note.code] = note.values  # type: ignore[arg-type]
    assert {values["setup"] for block in blocks.values() for values in block.values()} == set(range(len(best.setups)))
    for index, block in blocks.items():
        (result,) = [s for s in best.sheets if s.index == index]
        setup = best.setups[result.setup]
        accept, read = block["accept-levels"], block["read-levels"]
        assert (accept["band_low"], accept["band_high"]) == (setup.profile.band.low, setup.profile.band.high)
        assert read["detector_class"] == setup.detector_class.id
        assert accept["band_low"] < read["single_p50"] < accept["band_high"]
        assert not accept["band_low"] < read["double_p50"] < accept["band_high"]
        assert block["send-samples"]["setup"] == read["setup"] == accept["setup"] == result.setup


@pytest.mark.parametrize("again", [1, 2])
@pytest.mark.parametrize("sheets", [(PAPER, BOARD), (PAPER, CARD), FLUTES], ids=["board", "card", "flutes"])
def test_copies_of_a_sheet_share_a_set_up(sheets: tuple[SheetSpec, ...], again: int) -> None:
    """Both stay in the answer; no set-up is told twice."""
    whole = answer(*sheets, *sheets[:again], limit=20, classes=FEW)
    for one in whole.recommendations:
        told = [(s.detector_class.id, s.geometry.gap_mm.nominal, s.geometry.tilt_deg, s.profile.id) for s in one.setups]
        assert len(set(told)) == len(told)
        where = {s.index: (s.setup, s.margin, s.misread_ppm) for s in one.sheets}
        for copy in range(again):
            assert where.get(copy) == where.get(len(sheets) + copy)
    once = answer(*sheets, limit=1, classes=FEW)
    assert whole.verdict == once.verdict
    assert [s.profile for s in whole.recommendations[0].setups] == [s.profile for s in once.recommendations[0].setups]


def test_metals_of_one_machine_are_offered_eddy_current() -> None:
    plates = tuple(SheetSpec(material="steel", thickness_um=t) for t in (500.0, 800.0, 1000.0, 1500.0))
    found = answer(*plates, limit=20)
    principles = {s.detector_class.principle for r in found.recommendations for s in r.setups}
    assert "eddy-current" in principles


def test_a_set_up_tells_its_sheets_and_the_verdict_on_the_wire() -> None:
    document = wire(answer(FILM, PAPER, principles=("ultrasonic",)))
    best = document["recommendations"][0]
    assert document["verdict"] == "unsuitable"
    assert best["serves"] == {"count": 1, "of": 2}
    assert [one["index"] for one in best["not_served"]] == [0]
    assert best["not_served"][0]["text"]
    assert best["setups"][0]["sheets"] == [1]


def test_a_double_too_short_to_read_is_its_own_sheets_matter() -> None:
    """5 mm of overlap are shorter than the beam's spot: that sheet is not served, and takes nothing from another in
    the same set-up."""
    short = SheetSpec(material="copy-paper", grammage_gsm=90.0, double=Double(overlap_mm=5.0))
    job: dict[str, Any] = {
        "classes": ("ultrasonic-400k",),
        "line": Line(speed_m_per_min=120, sheet_length_mm=300, sheet_spacing_mm=200),
    }
    # Beside the same sheet with whole doubles, so that both are set alike.
    whole = SheetSpec(material="copy-paper", grammage_gsm=90.0)
    alone, together = answer(PAPER, whole, **job), answer(PAPER, short, **job)
    one, both = alone.recommendations[0], together.recommendations[0]
    assert (alone.verdict, one.verdict, both.verdict) == ("suitable", "suitable", "suitable")
    assert together.verdict == "unsuitable"
    assert [(sheet.index, sheet.code) for sheet in both.not_served] == [(1, "line-too-fast")]
    assert both.setups[0].timing == one.setups[0].timing
    # Of two that both are long enough, each is judged by its own.
    longer = SheetSpec(material="copy-paper", grammage_gsm=80.0, double=Double(overlap_mm=30.0))
    pair, twice = answer(PAPER, longer, **job).recommendations[0], answer(PAPER, PAPER, **job).recommendations[0]
    timed = answer(longer, longer, **job).recommendations[0].setups[0].timing
    assert pair.setups[0].timing == timed != twice.setups[0].timing
    assert pair.sheets[0].misread_ppm == twice.sheets[0].misread_ppm


def test_a_sheet_that_is_not_served_is_not_offered_with_those_that_are() -> None:
    """Of three boards one has doubles too short to be read. Strict targets part the bands, and do not bring it back."""
    board = SheetSpec(material="kraftliner", grammage_gsm=517.0)
    short = SheetSpec(material="pressboard", grammage_gsm=517.0, double=Double(overlap_mm=5.0))
    strict = Targets(single_as_double=10.0, single_as_no_sheet=10.0, double_as_single=100.0, no_sheet_as_single=100.0)
    found = answer(board, short, board, classes=("thickness-roller",), targets=strict)
    (one,) = found.recommendations
    assert (found.verdict, one.verdict) == ("unsuitable", "suitable")
    assert [(sheet.index, sheet.code) for sheet in one.not_served] == [(1, "line-too-fast")]


def test_a_sheet_that_only_a_trial_serves_is_tried_alone_and_in_a_list():
    """Bubble film before 400 kHz, leaning."""
    job = Job(sheets=(SheetSpec(construction="bubble-film"),), classes=("ultrasonic-400k",))
    alone = recommend(job, catalogue=CATALOGUE, library=LIBRARY)
    (setup,) = alone.recommendations[0].setups
    assert alone.verdict == "trial-needed"
    assert setup.geometry.tilt_deg.nominal > 30.0
    listed = recommend(replace(job, sheets=job.sheets * 2), catalogue=CATALOGUE, library=LIBRARY)
    assert listed.verdict == alone.verdict
