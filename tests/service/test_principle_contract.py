"""What every principle beside ultrasound owes to the search and the decision, whatever it senses."""

from __future__ import annotations

import warnings
from dataclasses import replace

import numpy as np
import pytest
from sheetmargin.contract.job import Double
from sheetmargin_service.messages.names import Reader
from sheetmargin_service.messages.say import say, texts, words
from sheetmargin_service.principles import principles
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.principles.draws import COUNT
from sheetmargin_service.principles.protocol import Fact
from support.principle_cases import CONDITIONS, class_model, predictive, sheet

CLASSES = [c.id for c in reference_catalogue().classes if c.principle != "ultrasonic"]
SHEETS = {
    "paper": sheet("copy-paper", grammage_gsm=80),
    "form": sheet("copy-paper", grammage_gsm=60, plies=3),
    "counted": sheet("copy-paper", grammage_gsm=60, plies=3, double=Double(kind="one-ply-more")),
    "board": sheet("coated-board", grammage_gsm=300),
    "film": sheet("pet", thickness_um=12),
    "white film": sheet("bopp-white", thickness_um=50),
    "foil": sheet("aluminium", thickness_um=30),
    "plate": sheet("steel", thickness_um=1000),
    "stainless": sheet("stainless-steel", thickness_um=600),
    "wafer": sheet("silicon", thickness_um=300),
    "cloth": sheet("cotton-fabric", grammage_gsm=150),
    "foam": sheet("pe-foam", thickness_um=2000),
    "greyboard": sheet("greyboard", thickness_um=1500),
}


@pytest.fixture(params=CLASSES)
def made(request):
    return class_model(request.param)


def accepted(made):
    return {name: a_sheet for name, a_sheet in SHEETS.items() if made.refuses(a_sheet) is None}


def test_each_class_serves_some_sheet_and_refuses_some(made):
    served = accepted(made)
    assert served
    assert len(served) < len(SHEETS) or made.detector_class.principle == "thickness"


def test_signal_tables_have_one_value_a_setting_and_rise(made):
    count = len(made.settings.gap_mm)
    assert made.settings.tilt_deg.shape == (count,)
    for a_sheet in accepted(made).values():
        signal_table = made.signal_table(a_sheet)
        assert (signal_table.fewer is not None) == (a_sheet is SHEETS["counted"])
        for span in filter(None, (signal_table.no_sheet, signal_table.single, signal_table.double, signal_table.fewer)):
            assert span.p1.shape == span.p50.shape == span.p99.shape == (count,)
            assert np.all(np.isfinite(span.p1) & np.isfinite(span.p99))
            assert np.all((span.p1 < span.p50) & (span.p50 < span.p99))


def test_distributions_meet_the_signal_table(made):
    """The search uses the survey, the decision the grid: medians agree to a step, ends to a twentieth of the span."""
    grid = principles()[made.detector_class.principle].grid
    for a_sheet in accepted(made).values():
        setting = len(made.settings.gap_mm) - 1
        signal_table, distribution = made.signal_table(a_sheet), made.distribution(a_sheet, setting)
        for state in ("no_sheet", "single", "double"):
            spread, span = getattr(distribution, state), getattr(signal_table, state)
            assert spread.values.shape[0] in (1, COUNT)
            assert spread.weights.sum(axis=1) == pytest.approx(1.0, abs=1e-9)
            assert spread.steady(grid).sum() == pytest.approx(1.0, abs=1e-9)
            p1, p50, p99 = grid.quantiles(predictive(spread, grid), (0.01, 0.5, 0.99))[0]
            # What lies beyond the grid is in its end bins, half a step either side of their centres.
            if grid.low + 0.5 * grid.step < p1 and p99 < grid.centres[-1] - 0.5 * grid.step:
                slack = grid.step + 0.05 * float(span.p99[setting] - span.p1[setting])
                assert p50 == pytest.approx(span.p50[setting], abs=slack)
                assert [p1, p99] == pytest.approx([span.p1[setting], span.p99[setting]], abs=slack)


def test_each_move_is_told_for_one_sheet_and_two(made):
    for a_sheet in accepted(made).values():
        moves = made.distribution(a_sheet, 0).moves
        assert any(single > 0.0 for single, _ in moves.values())
        assert moves.keys() <= words().keys()
        assert all(np.isfinite(pair).all() and min(pair) >= 0.0 for pair in moves.values())


def test_same_resolved_job_same_answer(made):
    for a_sheet in accepted(made).values():
        first, again = made.distribution(a_sheet, 0), class_model(made.detector_class.id).distribution(a_sheet, 0)
        assert np.array_equal(first.double.values, again.double.values)


def test_every_code_has_a_text_for_its_values(made):
    """Facts and refusals: kind, placeholders and both languages."""
    told = [fact for s in SHEETS.values() if (fact := made.refuses(s)) is not None]
    given = [fact for s in accepted(made).values() for fact in made.facts(s, 0)]
    assert given
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for kind, facts in (("ruled-out", told), ("reason", given)):
            for fact in facts:
                assert texts()[fact.code].kind == kind
                assert all(say(fact.code, fact.values, reader=Reader(language=language)) for language in ("en", "de"))


def test_a_line_too_tight_for_a_head_is_told_with_both_figures(made):
    tight = replace(CONDITIONS, clearance_above_mm=5.0, clearance_below_mm=5.0, bed=True)
    answer = principles()[made.detector_class.principle].class_model(made.detector_class, tight)
    assert isinstance(answer, Fact)
    assert answer.code == "no-room-for-head"
    assert answer.values["available_mm"] == 5.0
    # A head that touches the sheet has its body all the same.
    assert answer.values["needed_mm"] >= made.detector_class.housing.depth_mm


def test_more_variation_of_the_sheet_spreads_the_reading(made):
    for a_sheet in accepted(made).values():
        wide = replace(a_sheet, thickness_tolerance_pct=20.0)
        setting = len(made.settings.gap_mm) - 1
        narrow_span, wide_span = made.signal_table(a_sheet).single, made.signal_table(wide).single
        assert wide_span.p99[setting] - wide_span.p1[setting] >= narrow_span.p99[setting] - narrow_span.p1[setting]
