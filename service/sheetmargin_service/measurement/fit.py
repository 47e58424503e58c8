"""From readings of a sample to the sheet that they speak for, and to what it changes in the recommendation."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from math import exp

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc
from sheetmargin.contract.answer import Answer, Setup, SheetSummary
from sheetmargin.contract.job import Job
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin.contract.job import TrappedAir as TrappedAirSpec
from sheetmargin.contract.measure import Estimate, Fit, FittedInterval, FittedSample, Residual
from sheetmargin.contract.notes import Note, Scalar

from sheetmargin_service.constants import Z95
from sheetmargin_service.detectors.catalogue import Catalogue
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.errors import Filled, QuestionError
from sheetmargin_service.materials.library import Library
from sheetmargin_service.materials.resolve import resolve_sheet
from sheetmargin_service.measurement.estimate import estimated
from sheetmargin_service.measurement.forward_model import PairAtSettings, Physics, pairs_at, tabled, ultrasonic
from sheetmargin_service.measurement.posterior import Belief, Peak
from sheetmargin_service.measurement.reading import Observed, Reading, Setting, check_states, observed
from sheetmargin_service.measurement.residuals import SOLID, Residuals, SettingNoise
from sheetmargin_service.measurement.sample import Parameter, Sample, half_width_pct, sample_of, with_knowledge
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.selection.defaults import conditions_of
from sheetmargin_service.selection.installation import check_gap, check_tilt, class_of
from sheetmargin_service.selection.recommend import summary_of

Array = NDArray[np.float64]
INFORMATIVE = 0.04
"""Information in nats below which the readings do not tell a parameter: as much as leaves 80 % of its uncertainty."""
UNLIKE = 2.5
"""Standard deviations from the library beyond which the sample is another material (a choice)."""
UNEXPLAINED = 0.01
"""Chance below which the readings are taken as not explained."""
OUTLIER = 4.0
"""A reading further off than so many of its standard deviations is told as an outlier (a choice)."""
NOISE_MARGIN_DB = 3.0
"""A level must lie this far above the noise to say anything."""
AIR_LIMITS_UM = (0.1, 5000.0)
"""Of a custom sheet's percentiles of trapped air."""


def answer_fit(
    readings: Sequence[Reading], *, job: Job, catalogue: Catalogue, library: Library, recommend: Callable[[Job], Answer]
) -> Fit:
    """Fit, then recommend twice. QuestionError for a sheet that cannot be, or readings that say nothing."""
    conditions, _ = conditions_of(job)
    fit = fit_sample(job.sheets[0], readings, conditions=conditions, catalogue=catalogue, library=library)
    before, after = recommend(job), recommend(replace(job, sheets=(fit.sheet,)))
    return Fit(reference=job.reference, fit=fit, library=before, fitted=after, changed=_changed(before, after))


def fit_sample(
    spec: SheetSpec, readings: Sequence[Reading], *, conditions: Conditions, catalogue: Catalogue, library: Library
) -> FittedSample:
    """The sheet that readings speak for, in air in the middle of the conditions."""
    sample = sample_of(spec, library)
    classes = _classes(readings, catalogue)
    seen = observed(readings)
    sheets = tuple(one for one in seen if one.state != "no_sheet")
    settings = tuple(dict.fromkeys(one.setting for one in sheets))
    doubles = any(one.state == "double" for one in sheets)
    _check_enough(sample, sheets, doubles=doubles)
    pairs = pairs_at(settings, {name: ultrasonic(c, field="") for name, c in classes.items()}, conditions.mean_air())
    noise = {settings[row]: limits for pair in pairs for row, limits in _noise(pair).items()}
    _check_above_noise(sheets, noise)
    physics = Physics(sample=sample, pairs=pairs, settings=len(settings), library=library, doubles=doubles)
    table = tabled(physics)
    misfit = Residuals(forward=table.at_stiffness(0.0), sample=sample, seen=sheets, settings=settings, noise=noise)
    check_states(sheets, misfit.expected())
    best, peak, belief = estimated(misfit, table)
    return _fit(sample, best, peak, belief, summary_of(0, resolve_sheet(spec, library), asked=spec))


def _classes(readings: Sequence[Reading], catalogue: Catalogue) -> dict[str, DetectorClass]:
    """The classes that were read, each place checked."""
    found = {}
    for index, reading in enumerate(readings):
        name, gap, tilt = reading.setting
        field = f"readings/{index}"
        found[name] = class_of(name, catalogue, field=f"{field}/detector_class")
        ultrasonic(found[name], field=f"{field}/detector_class")
        check_gap(found[name], gap, field=f"{field}/gap_mm")
        check_tilt(found[name], tilt, field=f"{field}/tilt_deg")
    return found


def _noise(read: PairAtSettings) -> dict[int, SettingNoise]:
    """What limits each setting of a pair, by its row."""
    pair, p = read.pair, read.pair.parameters
    return {
        int(row): SettingNoise(
            bypass_db=float(pair.bypass_db[column]),
            noise_db=p.noise_db + float(pair.open_db[column]),
            rigid_bounce=float(pair.rigid_bounce[column]),
            open_bounce=float(pair.open_bounce[column]),
        )
        for row, column in zip(read.rows, read.columns, strict=True)
    }


def _check_enough(sample: Sample, sheets: Sequence[Observed], *, doubles: bool) -> None:
    needed = SOLID + (2 if doubles else 0)
    if len(sheets) < needed:
        raise QuestionError(
            code="too-few-readings",
            field="readings",
            detail=Filled(
                "{count} readings are too few for {needed} unknown values.", count=len(sheets), needed=needed
            ),
            expected=Filled("at least {needed} readings of single sheets or doubles", needed=needed),
        )
    if doubles and sample.sheet.contact != "air":
        raise QuestionError(
            code="contact-not-fitted",
            field="sheet/double/contact",
            detail="Two sheets in this contact have no trapped air to fit.",
            expected="readings of single sheets, or of doubles laid with air between them",
        )


def _check_above_noise(sheets: Sequence[Observed], noise: dict[Setting, SettingNoise]) -> None:
    if all(one.attenuation_db > noise[one.setting].noise_db - NOISE_MARGIN_DB for one in sheets):
        quietest = min(sheets, key=lambda one: one.attenuation_db)
        least = quietest.attenuation_db
        fields = tuple(f"readings/{one.index}" for one in sheets)
        raise QuestionError(
            code="none-above-noise",
            field=fields[0],
            also=fields[1:],
            detail=Filled("All readings lie in the noise: the smallest attenuation is {least:.0f} dB.", least=least),
            expected=Filled(
                "less than {most:.0f} dB there, or another detector class",
                most=noise[quietest.setting].noise_db - NOISE_MARGIN_DB,
            ),
        )


def _fit(sample: Sample, misfit: Residuals, peak: Peak, belief: Belief, summary: SheetSummary) -> FittedSample:
    """The fit from what is believed of the parameters, in standard deviations of what was believed before."""
    parameters = (*sample.solid, *sample.air)
    share = np.sqrt(np.diag(belief.covariance))
    estimates = tuple(_estimate(p, m, s) for p, m, s in zip(parameters, belief.mean, share, strict=True))
    sigma = np.array([p.sigma for p in parameters])
    p_value = _p_value(peak)
    return FittedSample(
        sheet=_fitted_spec(sample, estimates, sigma * share, doubles=bool(len(misfit.doubles))),
        library_sheet=summary,
        estimates=estimates,
        covariance=(sigma[:, None] * belief.covariance * sigma).tolist(),
        residuals=_residuals(misfit, peak),
        p_value=p_value,
        notes=_notes(sample, misfit, peak, estimates, belief.mean, p_value=p_value),
    )


def _estimate(parameter: Parameter, mean: np.float64, share: np.float64) -> Estimate:
    def interval(x: np.float64 | float, sigma: np.float64 | float) -> FittedInterval:
        return FittedInterval(
            low=parameter.at(float(x - Z95 * sigma)),
            nominal=parameter.at(float(x)),
            high=parameter.at(float(x + Z95 * sigma)),
        )

    # Kullback and Leibler (1951): of the belief after the readings from the one before, in nats.
    information = 0.5 * (share**2 + mean**2 - 1.0) - np.log(share)
    return Estimate(
        name=parameter.name,
        library=interval(0.0, 1.0),
        fitted=interval(mean, share),
        sigma_share=float(share),
        informative=bool(information >= INFORMATIVE and parameter.sigma > 0.0),
    )


def _fitted_spec(sample: Sample, estimates: Sequence[Estimate], sigma: Array, *, doubles: bool) -> SheetSpec:
    """The custom sheet. Its trapped air is what the next double may hold: its spread, and what is not known of it."""
    mass, stiffness, loss = (e.fitted.nominal / p.nominal for e, p in zip(estimates[:SOLID], sample.solid, strict=True))
    trapped = None
    if doubles:
        median, width = (e.fitted.nominal for e in estimates[SOLID:])
        reach = exp(Z95 * float(np.hypot(width, sigma[SOLID])))
        p5, p50, p95 = (
            min(max(um, AIR_LIMITS_UM[0]), AIR_LIMITS_UM[1]) for um in (median / reach, median, median * reach)
        )
        trapped = TrappedAirSpec(p5=p5, p50=p50, p95=p95)
    return with_knowledge(
        sample.moved(mass=mass, stiffness=stiffness, loss=loss),
        modulus_pct=half_width_pct(float(sigma[1])),
        loss_pct=half_width_pct(float(sigma[2])),
        trapped=trapped,
    )


def _p_value(peak: Peak) -> float:
    """Chance that readings, with all that was believed before, lie as far off as these. Outliers do not count, up to
    a quarter of all; where there are more, it is the model that is wrong."""
    square = np.sort(peak.misfit**2)
    outliers = min(int(np.sum(square > OUTLIER**2)), max(len(square) // 4, 1))
    right = square[: len(square) - outliers]
    return float(chdtrc(len(right), right.sum() + peak.at @ peak.at))


def _residuals(misfit: Residuals, peak: Peak) -> tuple[Residual, ...]:
    fitted = misfit.predicted(peak.at)
    spread = np.hypot(misfit.sigma, misfit.common)
    return tuple(
        Residual(
            index=one.index,
            state=one.state,
            detector_class=one.setting[0],
            gap_mm=one.setting[1],
            tilt_deg=one.setting[2],
            measured_db=one.attenuation_db,
            fitted_db=float(fitted[i]),
            residual_db=one.attenuation_db - float(fitted[i]),
            sigma_db=float(spread[i]),
            outlier=bool(abs(peak.misfit[i]) > OUTLIER),
        )
        for i, one in enumerate(misfit.seen)
    )


def _notes(
    sample: Sample,
    misfit: Residuals,
    peak: Peak,
    estimates: Sequence[Estimate],
    mean: Array,
    *,
    p_value: float,
) -> tuple[Note, ...]:
    """What the readings cannot tell, which of them are wrong, and where the model does not explain them."""
    notes = []
    moved = len(estimates) if len(misfit.doubles) else SOLID
    if moved == SOLID:
        notes.append(Note(code="no-double-read", values={}))
    for estimate in estimates[:moved]:
        if not estimate.informative:
            code = CANNOT_TELL[estimate.name]
            notes.append(Note(code=code, values={"share_pct": min(round(100.0 * estimate.sigma_share), 100)}))
    for estimate, x in zip(estimates[:moved], mean[:moved], strict=True):
        if abs(x) > UNLIKE:
            code, fitted = UNLIKE_LIBRARY[estimate.name]
            values = {"deviations": round(float(abs(x)), 1), fitted: estimate.fitted.nominal}
            notes.append(Note(code=code, values=values))
    for i in np.flatnonzero(np.abs(peak.misfit) > OUTLIER):
        one = misfit.seen[int(i)]
        off = one.attenuation_db - float(misfit.predicted(peak.at)[i])
        notes.append(Note(code="reading-wrong", values={"reading": one.index, "off_db": round(off, 1)}))
    if p_value < UNEXPLAINED:
        worst = int(np.argmax(np.abs(misfit.left_open(peak.at))))
        name, gap, tilt = misfit.seen[worst].setting
        notes.append(
            Note(
                code="model-does-not-explain",
                values={
                    "samples_pct": 100.0 * p_value,
                    "detector_class": name,
                    "gap_mm": gap,
                    "tilt_deg": tilt,
                    "open_db": round(float(misfit.open_part(peak.at)[worst]), 1),
                },
            )
        )
    notes.append(Note(code="custom-for-sound-alone", values={}))
    return tuple(notes)


CANNOT_TELL = {
    "grammage_gsm": "grammage-not-told",
    "stiffness_factor": "stiffness-not-told",
    "loss_factor": "loss-not-told",
    "trapped_air_um": "trapped-air-not-told",
    "trapped_air_width": "trapped-air-width-not-told",
}
UNLIKE_LIBRARY = {
    "grammage_gsm": ("grammage-unlike", "fitted_gsm"),
    "stiffness_factor": ("stiffness-unlike", "fitted"),
    "loss_factor": ("loss-unlike", "fitted"),
    "trapped_air_um": ("trapped-air-unlike", "fitted_um"),
    "trapped_air_width": ("trapped-air-width-unlike", "fitted"),
}


def _changed(before: Answer, after: Answer) -> tuple[Note, ...]:
    """How the first recommendation differs."""
    if before.verdict != after.verdict:
        return (Note(code="verdict-changed", values={"before": before.verdict, "after": after.verdict}),)
    if not before.recommendations or not after.recommendations:
        return ()
    first, second = before.recommendations[0].setups[0], after.recommendations[0].setups[0]
    if first.detector_class.id != second.detector_class.id:
        values = {"before": first.detector_class.id, "after": second.detector_class.id}
        return (Note(code="class-changed", values=values),)
    notes = []
    if first.geometry.gap_mm.nominal != second.geometry.gap_mm.nominal or _tilt(first) != _tilt(second):
        notes.append(
            Note(
                code="geometry-changed",
                values={
                    "gap_before_mm": first.geometry.gap_mm.nominal,
                    "gap_after_mm": second.geometry.gap_mm.nominal,
                    "tilt_before_deg": _tilt(first),
                    "tilt_after_deg": _tilt(second),
                },
            )
        )
    if first.profile.id != second.profile.id:
        old, new = first.profile.band, second.profile.band
        bands: dict[str, Scalar] = {
            "before_band_low": old.low,
            "before_band_high": old.high,
            "after_band_low": new.low,
            "after_band_high": new.high,
            "unit": new.unit,
        }
        notes.append(Note(code="profile-changed", values=bands))
    return tuple(notes) or (Note(code="recommendation-same", values={}),)


def _tilt(setup: Setup) -> float:
    return setup.geometry.tilt_deg.nominal if setup.geometry.tilt_deg else 0.0
