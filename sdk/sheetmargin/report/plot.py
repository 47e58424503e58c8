"""Pictures of answers, with matplotlib (the extra `plot`)."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from sheetmargin.contract.answer import Percentiles, Recommendation
from sheetmargin.contract.measure import Fit, MarginMap, Prediction
from sheetmargin.errors import PlotsNotInstalled
from sheetmargin.report.figures import Figures
from sheetmargin.report.levels import STATES
from sheetmargin.report.words import Words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# Told apart without colour too: by place and by label. Colours of Okabe and Ito's palette, safe for the colour-blind.
COLOURS = {"no_sheet": "#0072B2", "single": "#009E73", "double": "#D55E00"}
OUTLIER = "#D55E00"
ENGLISH = Words()


def level_ladder(recommendation: Recommendation, words: Words = ENGLISH) -> Figure:
    """Levels of no sheet, one and two, 1 % to 99 % with the median, and the band of a single sheet."""
    figure, axes = _figure(height=2.4)
    result, setup = recommendation.sheets[0], recommendation.setups[0]
    figures, band = Figures(words=words), setup.profile.band
    axes.axvspan(band.low, band.high, color="0.9", zorder=0)
    told = figures.levels(band.low, band.high, band.unit)
    axes.set_title(words("band-means", band=told), fontsize="medium")
    for row, state in enumerate(STATES):
        spread: Percentiles = getattr(result.signal, state)
        axes.plot([spread.p1, spread.p99], [row, row], color=COLOURS[state], linewidth=6, solid_capstyle="butt")
        axes.plot(spread.p50, row, "|", color="black", markersize=16)
        axes.annotate(
            figures.level(spread.p50),
            (spread.p50, row),
            xytext=(0, 10),
            textcoords="offset points",
            ha="center",
            fontsize="small",
        )
    axes.set_yticks(range(len(STATES)), [words(f"state.{state}") for state in STATES])
    axes.set_ylim(len(STATES) - 0.4, -0.6)
    axes.set_xlabel(_signal(result.signal.quantity, figures.unit(result.signal.unit), words))
    return figure


def margin_map(found: MarginMap, words: Words = ENGLISH, *, unit: str = "dB") -> Figure:
    """The smallest margin over gap and tilt, with the line where it is gone."""
    from matplotlib.colors import TwoSlopeNorm

    figure, axes = _figure(height=4.0)
    rows = [list(row) for row in found.margin]
    values = [value for row in rows for value in row]
    norm = TwoSlopeNorm(vcenter=0.0, vmin=min(*values, -0.1), vmax=max(*values, 0.1))
    if len(found.gap_mm) > 1 and len(found.tilt_deg) > 1:
        filled = axes.contourf(found.tilt_deg, found.gap_mm, rows, levels=20, cmap="PuOr", norm=norm)
        if min(values) < 0.0 < max(values):
            axes.contour(found.tilt_deg, found.gap_mm, rows, levels=[0.0], colors="black")
        figure.colorbar(filled, ax=axes, label=words("plot.margin", unit=unit))
    else:
        along = found.gap_mm if len(found.gap_mm) > 1 else found.tilt_deg
        axes.plot(along, values, "o-", color=COLOURS["single"])
        axes.axhline(0.0, color="black", linewidth=0.8)
        axes.set_ylabel(words("plot.margin", unit=unit))
        axes.set_xlabel(words("plot.gap" if len(found.gap_mm) > 1 else "plot.tilt"))
        return figure
    axes.set_xlabel(words("plot.tilt"))
    axes.set_ylabel(words("plot.gap"))
    return figure


def grammage_sweep(prediction: Prediction, words: Words = ENGLISH) -> Figure:
    """Levels of no sheet, one and two over the grammage, 1 % to 99 % with the median, and the band as it is."""
    figure, axes = _figure(height=4.0)
    rows = prediction.grammages
    along = [one.grammage_gsm for one in rows]
    for state in STATES:
        spreads: list[Percentiles] = [getattr(one, state) for one in rows]
        low, middle, high = ([getattr(spread, name) for spread in spreads] for name in ("p1", "p50", "p99"))
        axes.fill_between(along, low, high, color=COLOURS[state], alpha=0.3, linewidth=0)
        axes.plot(along, middle, "o-", color=COLOURS[state], markersize=4)
        if rows:
            place = (along[-1], middle[-1])
            axes.annotate(words(f"state.{state}"), place, xytext=(6, 0), textcoords="offset points", va="center")
    _show_band(axes, prediction)
    axes.set_xlabel(words("plot.grammage"))
    axes.set_ylabel(_read(prediction, words))
    return figure


def position_sweep(prediction: Prediction, words: Words = ENGLISH) -> Figure:
    """The median of one sheet over its place between the faces, and the band that counts as one sheet."""
    figure, axes = _figure(height=3.0)
    found = prediction.positions
    axes.plot([one.position_mm for one in found], [one.single for one in found], color=COLOURS["single"])
    _show_band(axes, prediction)
    axes.set_xlabel(words("plot.position"))
    axes.set_ylabel(_read(prediction, words))
    return figure


def _show_band(axes: Axes, prediction: Prediction) -> None:
    """What counts as one sheet, across the whole picture, which stays as high as what is drawn in it."""
    setups = prediction.predicted.setups
    if setups:
        band = setups[0].profile.band
        axes.autoscale(axis="y", enable=False)
        axes.axhspan(band.low, band.high, color="0.9", zorder=0)


def _read(prediction: Prediction, words: Words) -> str:
    signals = [one.signal for one in prediction.predicted.sheets]
    return next((_signal(one.quantity, Figures(words=words).unit(one.unit), words) for one in signals), "")


def _signal(quantity: str, unit: str, words: Words) -> str:
    return words("plot.signal", quantity=words.of("quantity", quantity), unit=unit)


def fit_residuals(fit: Fit, words: Words = ENGLISH) -> Figure:
    """What every reading lies off the fitted sheet, with the standard deviation that was expected of it."""
    figure, axes = _figure(height=3.0)
    for one in fit.fit.residuals:
        colour = COLOURS.get(one.state, "black")
        axes.errorbar(
            one.index,
            one.residual_db,
            yerr=one.sigma_db,
            color=colour,
            marker="x" if one.outlier else "o" if one.state == "single" else "s",
            capsize=3,
        )
        if one.outlier:
            axes.annotate(
                words("outlier"), (one.index, one.residual_db), xytext=(6, 0), textcoords="offset points", color=OUTLIER
            )
    axes.axhline(0.0, color="black", linewidth=0.8)
    axes.set_xlabel(words("plot.reading"))
    axes.set_ylabel(words("plot.residual"))
    return figure


def svg(figure: Figure) -> str:
    """A figure as an SVG element, to be set into a page; the same figure gives the same text."""
    from matplotlib import rc_context

    stream = io.StringIO()
    with rc_context({"svg.hashsalt": "sheetmargin"}):
        figure.savefig(stream, format="svg", metadata={"Date": None})
    text = stream.getvalue()
    return text[text.index("<svg") :]


def plot_of(answer: Prediction | Fit | Recommendation, words: Words | None = None) -> Figure:
    """The picture of what was asked for: the sweep where there is one (map, grammages, positions), else the ladder;
    residuals of a fit."""
    if isinstance(answer, Recommendation):
        return level_ladder(answer, words or ENGLISH)
    words = words or Words(language=(answer.fitted if isinstance(answer, Fit) else answer).language or "en")
    if isinstance(answer, Fit):
        return fit_residuals(answer, words)
    if answer.grammages:
        return grammage_sweep(answer, words)
    if answer.positions:
        return position_sweep(answer, words)
    if answer.gap_tilt is not None:
        sheets = answer.predicted.sheets
        return margin_map(answer.gap_tilt, words, unit=sheets[0].signal.unit if sheets else "dB")
    return level_ladder(answer.predicted, words)


def _figure(*, height: float) -> tuple[Figure, Axes]:
    """A figure of its own: nothing of the caller's state, no window."""
    try:
        from matplotlib.figure import Figure
    except ModuleNotFoundError as error:
        raise PlotsNotInstalled.missing() from error
    figure = Figure(figsize=(7.0, height), layout="constrained")
    return figure, figure.add_subplot()
