"""Trials of a job's sheets, each weighed at the set-up that it was run at, on the job's line and in its air."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp
from sheetmargin.contract.trials import Trial

from sheetmargin_service.detectors.catalogue import Catalogue
from sheetmargin_service.errors import Filled, QuestionError
from sheetmargin_service.principles.draws import COUNT, SEED, drawn
from sheetmargin_service.principles.protocol import SignalDistribution, Spread
from sheetmargin_service.selection.class_result import distributions_at
from sheetmargin_service.selection.configured_pair import build_configured_pair
from sheetmargin_service.selection.experience import Tried, log_likelihood, p_value
from sheetmargin_service.selection.installation import class_of
from sheetmargin_service.selection.installed_class import choice_of, class_result_at
from sheetmargin_service.selection.misreads import rates_of
from sheetmargin_service.selection.readings import readings_of
from sheetmargin_service.selection.resolved_job import ResolvedJob
from sheetmargin_service.selection.targets import AS_SET

Indices = NDArray[np.intp]

MOUNTED = 16
"""Ways in which the heads may have been set in each draw, for what a trial says of a place where they are set anew."""

MOST_SHARED = 20
"""Misreads of a kind up to which it is summed how they may lie in several teach-ins (the sum grows with its square)."""


def with_trials(resolved_job: ResolvedJob, catalogue: Catalogue) -> ResolvedJob:
    """The job with its trials weighed. QuestionError for a trial that cannot have been run."""
    tried = {
        index: tuple(
            _tried(trial, resolved_job, index, catalogue, field=f"sheets/{index}/trials/{number}")
            for number, trial in enumerate(spec.trials)
        )
        for index, spec in enumerate(resolved_job.job.sheets)
        if spec.trials
    }
    return replace(resolved_job, tried=tried) if tried else resolved_job


def _check(trial: Trial, *, field: str) -> None:
    if trial.band.low >= trial.band.high:
        raise QuestionError(
            code="contradiction",
            field=f"{field}/band/low",
            detail="The lower threshold of the band is not below the upper one.",
            expected=Filled("less than {high:g}", high=trial.band.high),
        )
    for name, fed in (("single_as_double", trial.singles), ("double_as_single", trial.doubles)):
        misread = getattr(trial, name)
        if misread > fed:
            raise QuestionError(
                code="contradiction",
                field=f"{field}/{name}",
                detail=Filled("{misread} of {fed} cannot be misread.", misread=misread, fed=fed),
                expected=Filled("at most {most}", most=fed),
            )
        if misread > MOST_SHARED and trial.teach_ins > 1:
            raise QuestionError(
                code="out-of-range",
                field=f"{field}/{name}",
                detail="So many misreads over several teach-ins: give those of each teach-in as a trial of its own.",
                expected=Filled("at most {most}, or one teach-in", most=MOST_SHARED),
            )


def _tried(trial: Trial, resolved_job: ResolvedJob, index: int, catalogue: Catalogue, *, field: str) -> Tried:
    _check(trial, field=field)
    job = replace(resolved_job.job, sheets=(resolved_job.job.sheets[index],))
    alone = replace(resolved_job.of_sheet(resolved_job.sheets[index]), job=job)
    detector_class = class_of(trial.detector_class, catalogue, field=f"{field}/detector_class")
    class_result = class_result_at(alone, detector_class, trial, field=field)
    choice = choice_of(trial, tilts=class_result.class_model.settings.tilts)
    band = trial.band.low, trial.band.high
    (distributions,) = distributions_at([(class_result, choice.setting, [0])])
    served = build_configured_pair(class_result, choice.setting, distributions, choice=choice, band=band).served[0]
    readings, grid = readings_of(detector_class, served.timing), class_result.principle.grid
    anew = []
    for order in _orders():
        distribution = _set_anew(served.distribution, order)
        rates = rates_of(distribution, grid, low=band[0], high=band[1], readings=readings)
        anew.append(log_likelihood(trial, rates))
    return Tried(
        trial=trial,
        as_set=log_likelihood(trial, served.judgement.rates),
        set_anew=logsumexp(anew, axis=0),
        p_value=p_value(trial, served.judgement.rates),
    )


def _orders() -> list[Indices]:
    """Orders of the draws, by which each meets others of what is set by hand."""
    rng = np.random.default_rng(SEED)
    return [rng.permutation(COUNT) for _ in range(MOUNTED)]


def _set_anew(distribution: SignalDistribution, order: Indices) -> SignalDistribution:
    """The same sheet before heads that are set as in other draws."""
    fewer, other = distribution.fewer, distribution.other
    return replace(
        distribution,
        single=_moved(distribution.single, order),
        double=_moved(distribution.double, order),
        fewer=fewer and _moved(fewer, order),
        other=other and _moved(other, order),
    )


def _moved(spread: Spread, order: Indices) -> Spread:
    left = dict(spread.unknowns)
    by_hand = [left.pop(name, None) for name in AS_SET]
    z = [drawn(name)[order, None] for name in AS_SET]
    moves = [one[0] * at + one[1] * at * at for one, at in zip(by_hand, z, strict=True) if one is not None]
    moves += [] if spread.beside is None else [spread.beside]
    return replace(
        spread,
        unknowns=left,
        beside=sum(moves[1:], moves[0]) if moves else None,
        floor_steps=None if spread.floor_steps is None else spread.floor_steps[order],
    )
