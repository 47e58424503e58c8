"""Pictures of answers: what is drawn, where it goes, and what happens without matplotlib."""

from __future__ import annotations

import sys
from typing import Any
from xml.etree import ElementTree

import pytest
from sheetmargin import Answer, Fit, MarginMap, PlotsNotInstalled, Prediction
from sheetmargin.contract.answer import Recommendation
from sheetmargin.report.plot import fit_residuals, level_ladder, margin_map, plot_of, svg
from support.whole import made

PREDICTED = {
    "setups": [{"profile": {"band": {"low": 25, "high": 60}}}],
    "sheets": [
        {
            "signal": {
                "quantity": "attenuation",
                "unit": "dB",
                "no_sheet": {"p1": -4, "p50": 0, "p99": 4},
                "single": {"p1": 40, "p50": 45, "p99": 50},
                "double": {"p1": 70, "p50": 83, "p99": 100},
            }
        }
    ],
}
RESIDUALS = {
    "fit": {
        "residuals": [
            {"index": 0, "state": "single", "residual_db": 0.5, "sigma_db": 1.0},
            {"index": 1, "state": "double", "residual_db": 12.0, "sigma_db": 1.0, "outlier": True},
        ]
    }
}


def texts(figure: Any) -> set[str]:
    return {text.get_text() for axes in figure.axes for text in axes.texts}


def test_the_ladder_has_the_states_in_order_and_the_band() -> None:
    figure = level_ladder(made(Recommendation, PREDICTED))
    (axes,) = figure.axes
    assert [label.get_text() for label in axes.get_yticklabels()] == ["No sheet", "Single sheet", "Double sheet"]
    spans = [line.get_xdata() for line in axes.lines if len(line.get_xdata()) == 2]
    assert [tuple(span) for span in spans] == [(-4, 4), (40, 50), (70, 100)]
    assert axes.get_xlabel() == "attenuation in dB"
    (band,) = axes.patches
    assert (band.get_x(), band.get_width()) == (25, 35)
    assert texts(figure) == {"0", "45", "83"}


def test_the_map_has_the_line_where_the_margin_is_gone() -> None:
    found = made(MarginMap, {"gap_mm": [20, 30, 40], "tilt_deg": [0, 10], "margin": [[-2, 3], [-1, 4], [1, 5]]})
    figure = margin_map(found)
    axes, bar = figure.axes
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("tilt in degrees", "gap in mm")
    assert "margin in dB" in bar.get_ylabel()
    assert len(axes.collections) == 2
    calm = margin_map(made(MarginMap, {"gap_mm": [20, 30], "tilt_deg": [0, 10], "margin": [[2, 3], [1, 4]]}))
    assert len(calm.axes[0].collections) == 1


def test_a_map_along_one_line() -> None:
    figure = margin_map(made(MarginMap, {"gap_mm": [3, 4, 5], "tilt_deg": [0], "margin": [[1], [2], [-1]]}), unit="fF")
    (axes,) = figure.axes
    assert list(axes.lines[0].get_ydata()) == [1, 2, -1]
    assert axes.get_ylabel() == "smallest margin in fF"


def test_residuals_mark_what_is_wrong() -> None:
    figure = fit_residuals(made(Fit, RESIDUALS))
    assert texts(figure) == {"outlier"}
    assert "dB" in figure.axes[0].get_ylabel()


def test_the_picture_of_an_answer() -> None:
    map_ = {"gap_mm": [20, 30], "tilt_deg": [0, 10], "margin": [[1, 2], [3, 4]]}
    assert len(plot_of(made(Prediction, {"predicted": PREDICTED, "gap_tilt": map_})).axes) == 2
    assert len(plot_of(made(Prediction, {"predicted": PREDICTED})).axes) == 1
    assert plot_of(made(Prediction, {"predicted": PREDICTED})).axes[0].get_xlabel() == "attenuation in dB"
    assert plot_of(made(Fit, RESIDUALS)).axes[0].get_xlabel().startswith("reading")


def at_grammage(gsm: float) -> dict[str, Any]:
    levels = {"no_sheet": 0.0, "single": 0.5 * gsm, "double": gsm}
    return {
        "grammage_gsm": gsm,
        **{state: {"p1": level - 4.0, "p50": level, "p99": level + 4.0} for state, level in levels.items()},
    }


def test_the_picture_of_grammages_has_every_state_over_them() -> None:
    answer = {"predicted": PREDICTED, "grammages": [at_grammage(gsm) for gsm in (60.0, 80.0, 100.0)]}
    (axes,) = plot_of(made(Prediction, answer)).axes
    assert axes.get_xlabel() == "grammage in g/m²"
    assert axes.get_ylabel() == "attenuation in dB"
    assert [list(line.get_xdata()) for line in axes.lines] == [[60.0, 80.0, 100.0]] * 3
    assert [list(line.get_ydata()) for line in axes.lines] == [[0.0] * 3, [30.0, 40.0, 50.0], [60.0, 80.0, 100.0]]
    assert {text.get_text() for text in axes.texts} == {"No sheet", "Single sheet", "Double sheet"}
    (band,) = axes.patches
    assert (band.get_y(), band.get_height()) == (25, 35)


def test_the_picture_of_positions_has_one_sheet_over_them() -> None:
    positions = [{"position_mm": x, "single": 45.0 + x} for x in (-1.0, 0.0, 1.0)]
    (axes,) = plot_of(made(Prediction, {"predicted": PREDICTED, "positions": positions})).axes
    assert "middle of the gap in mm" in axes.get_xlabel()
    assert list(axes.lines[0].get_xdata()) == [-1.0, 0.0, 1.0]
    assert list(axes.lines[0].get_ydata()) == [44.0, 45.0, 46.0]
    # The band is wider than what one sheet moves: the picture stays with the sheet.
    assert axes.get_ylim()[1] < 50.0


def test_svg_is_one_element_and_the_same_each_time() -> None:
    drawn = [svg(level_ladder(made(Recommendation, PREDICTED))) for _ in range(2)]
    assert drawn[0] == drawn[1]
    assert ElementTree.fromstring(drawn[0]).tag.endswith("svg")
    assert "<script" not in drawn[0]


def test_without_matplotlib(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "matplotlib.figure", None)
    with pytest.raises(PlotsNotInstalled, match="sheetmargin\\[plot\\]"):
        level_ladder(made(Recommendation, PREDICTED))
    answer = made(Prediction, {"predicted": PREDICTED})
    assert answer._repr_html_().startswith("<pre>")
    assert "<svg" not in answer._repr_html_()


def test_a_recommendation_shows_its_ladder_in_a_notebook() -> None:
    shown = made(Answer, {"verdict": "suitable", "recommendations": [PREDICTED]})._repr_html_()
    assert "<svg" in shown
    assert "<pre>" in shown
    assert "<svg" not in made(Answer, {})._repr_html_()


def test_a_picture_speaks_the_language_of_its_answer() -> None:
    answer = {"predicted": PREDICTED, "language": "de", "grammages": [at_grammage(gsm) for gsm in (60.0, 80.0)]}
    (axes,) = plot_of(made(Prediction, answer)).axes
    assert axes.get_xlabel() == "Flächengewicht in g/m²"
    assert axes.get_ylabel() == "Dämpfung in dB"
    assert {text.get_text() for text in axes.texts} == {"Kein Bogen", "Einzelbogen", "Doppelbogen"}
