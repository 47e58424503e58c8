"""What is wrong with a machine: causes ranked by how well they explain what was reported and read (Bayes)."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp
from sheetmargin.contract.answer import Answer
from sheetmargin.contract.job import Job
from sheetmargin.contract.measure import Cause, Diagnosis, DiagnosisQuestion, Rates
from sheetmargin.contract.notes import Note, Scalar

from sheetmargin_service.detectors.catalogue import Catalogue
from sheetmargin_service.errors import QuestionError
from sheetmargin_service.materials.library import Library
from sheetmargin_service.measurement.discriminating_tests import separation, showings
from sheetmargin_service.measurement.faults import Fault, Setting, faults
from sheetmargin_service.measurement.forward_model import ultrasonic
from sheetmargin_service.measurement.machine import Machine, Scenario, sound_through
from sheetmargin_service.measurement.predict import SETUP, resolved_job_of
from sheetmargin_service.measurement.reading import machine_readings, observed
from sheetmargin_service.measurement.remedies import remedy
from sheetmargin_service.measurement.symptoms import log_likelihood
from sheetmargin_service.mounting.condensation import moisture_cautions
from sheetmargin_service.principles.ultrasonic.pair import pair_at
from sheetmargin_service.selection.bands import choose_bands
from sheetmargin_service.selection.class_result import ClassResult, class_results_of, distributions_at
from sheetmargin_service.selection.compose import recommendation
from sheetmargin_service.selection.configured_pair import ConfiguredPair, Served, build_configured_pair
from sheetmargin_service.selection.failure_modes import cause as first_failure
from sheetmargin_service.selection.installation import band_of, class_of
from sheetmargin_service.selection.installed_class import choice_of, class_result_at
from sheetmargin_service.selection.notes import cautions, summary_values
from sheetmargin_service.selection.plans import plans_for_sheet
from sheetmargin_service.selection.ranking import Plan
from sheetmargin_service.selection.recommend import summaries_of
from sheetmargin_service.selection.search import receiver_at
from sheetmargin_service.selection.targets import DEFAULTS_PPM, ORDER
from sheetmargin_service.selection.version import model_version

Array = NDArray[np.float64]
LISTED = 8
LEAST_SHARE = 0.005
"""Causes told at most, and the least probability that is worth telling."""


@dataclass(frozen=True, kw_only=True)
class _Design:
    """What is wrong with the set-up as it is meant to be, and what would be better."""

    cause: str
    remedy: Note
    remedied: Rates


def diagnose(
    asked: DiagnosisQuestion, *, job: Job, catalogue: Catalogue, library: Library, recommend: Callable[[Job], Answer]
) -> Diagnosis:
    """Rank the causes. QuestionError for a sheet, a set-up or readings that cannot be."""
    resolved_job, notes = resolved_job_of(job, catalogue, library)
    if resolved_job.stream is not None:
        raise QuestionError(
            code="stream-not-diagnosed",
            field="line/feeding",
            detail="A set-up at a shingled stream cannot be diagnosed.",
            expected="sheets fed one by one",
        )
    setup = asked.setup
    detector_class = class_of(setup.detector_class, catalogue, field=f"{SETUP}/detector_class")
    ultrasonic(detector_class, field=f"{SETUP}/detector_class")
    class_result = class_result_at(resolved_job, detector_class, setup, field=SETUP)
    choice = choice_of(setup, tilts=True)
    (distributions,) = distributions_at([(class_result, choice.setting, [0])])
    configured_pair = build_configured_pair(
        class_result, choice.setting, distributions, choice=choice, band=band_of(setup)
    )
    seen = observed(machine_readings(setup, asked.readings), taught=True) if asked.readings else ()
    setting = setting_of(configured_pair, hold_ms=setup.profile.hold_ms)
    known = faults(setting)
    targets = DEFAULTS_PPM | dict(resolved_job.targets)
    symptoms = tuple(dict.fromkeys(asked.symptoms))
    likelihood = [log_likelihood(f.scenario, symptoms=symptoms, seen=seen, targets=targets) for f in known]
    log_belief = np.log([fault.prior for fault in known]) + np.array(likelihood)
    belief = np.exp(log_belief - logsumexp(log_belief))
    design = _design(configured_pair, setting, recommend)
    computed = recommendation(Plan(configured_pairs=(configured_pair,), left_out={}), resolved_job.sheets, rank=1)
    return Diagnosis(
        reference=job.reference,
        model_version=model_version(),
        catalogue_version=catalogue.version,
        sheets=summaries_of(resolved_job),
        computed=computed,
        causes=_causes(known, belief, setting, configured_pair, design),
        assumptions=notes,
        cautions=cautions((computed,)) + moisture_cautions(job.environment, resolved_job.conditions),
    )


def setting_of(configured_pair: ConfiguredPair, *, hold_ms: float | None) -> Setting:
    """The machine of a pair with nothing wrong, and its times."""
    class_result, resolved_job = configured_pair.class_result, configured_pair.class_result.resolved_job
    p = ultrasonic(class_result.detector_class, field=f"{SETUP}/detector_class")
    gap, tilt = (
        configured_pair.choice.gap.nominal,
        configured_pair.choice.tilt.nominal if configured_pair.choice.tilt else 0.0,
    )
    pair = pair_at(p, resolved_job.conditions.mean_air(), gap_mm=(gap,), tilt_deg=(tilt,))
    open_db = float(pair.open_db[0])
    healthy = Scenario(
        sound=sound_through(resolved_job.sheets[0], pair),
        low=float(configured_pair.low),
        high=float(configured_pair.high),
        open_db=open_db,
        bypass_db=float(pair.bypass_db[0]),
        noise_db=p.noise_db + open_db,
        bounce=float(pair.rigid_bounce[0]),
        open_bounce=float(pair.open_bounce[0]),
        moves=_by_factor(configured_pair.served[0].distribution.moves),
    )
    beam = class_result.sound_beam
    assert beam is not None
    return Setting(
        machine=Machine(
            parameters=p,
            conditions=resolved_job.conditions,
            sheet=resolved_job.sheets[0],
            gap_mm=gap,
            tilt_deg=tilt,
            healthy=healthy,
        ),
        line=resolved_job.job.line,
        timing=configured_pair.timing,
        hold_ms=hold_ms,
        beam=beam,
        overload_db=p.overload_db - p.softness_db + open_db,
    )


def _by_factor(moves: Mapping[str, tuple[float, float]]) -> dict[str, tuple[float, float]]:
    """What moves one sheet and two, by what it goes with; films and standing waves are nodes of their own."""

    def together(*names: str) -> tuple[float, float]:
        single, double = np.linalg.norm([moves[name] for name in names], axis=0).tolist()
        return single, double

    return {
        "sheet": moves["grammage"],
        "speed": moves["flutter"],
        "model": together("stiffness-and-loss", "permeance", "thickness", "set-by-hand"),
        "temperature": together("drift", "air"),
    }


def _design(configured_pair: ConfiguredPair, setting: Setting, recommend: Callable[[Job], Answer]) -> _Design:
    """The set-up as it is meant: within its targets, or what would help, the least change first."""
    class_result, now = configured_pair.class_result, configured_pair.served[0]
    healthy = setting.machine.healthy
    if now.judgement.verdict == "suitable":
        return _Design(cause="within-targets", remedy=Note(code="remedy-sample", values={}), remedied=_rates(healthy))
    other_band = build_configured_pair(
        class_result, configured_pair.choice.setting, {0: now.distribution}, choice=configured_pair.choice
    )
    if _better(other_band, configured_pair):
        values = {**_band(other_band), "margin_before_db": now.worst, "margin_after_db": other_band.worst}
        return _design_of("wrong-profile", "remedy-profile", values, other_band)
    mechanism = _mechanism(class_result, now)
    (anywhere,) = class_results_of(class_result.resolved_job, [class_result.detector_class])
    plan = plans_for_sheet([anywhere])[0] if isinstance(anywhere, ClassResult) else None
    if isinstance(plan, Plan) and _better(plan.configured_pairs[0], configured_pair):
        found = plan.configured_pairs[0]
        values = {
            **_band(found),
            "gap_mm": round(found.choice.gap.nominal, 1),
            "tilt_deg": found.choice.tilt.nominal if found.choice.tilt else 0.0,
            "margin_before_db": now.worst,
            "margin_after_db": found.worst,
        }
        return _design_of(mechanism or "wrong-place", "remedy-place", values, found)
    best = recommend(class_result.resolved_job.job).recommendations
    if best and ORDER[best[0].verdict] < ORDER[now.judgement.verdict]:
        setup, result = best[0].setups[0], best[0].sheets[0].margin
        values = {
            **summary_values(setup.detector_class),
            "margin_before_db": now.worst,
            "margin_after": min(result.no_sheet, result.single, result.double),
            "unit": setup.profile.band.unit,
        }
        remedy_note = Note(code="remedy-class", values=values)
        return _Design(cause=mechanism or "wrong-class", remedy=remedy_note, remedied=_rates(healthy))
    nothing = Note(code="remedy-none", values={"margin_before_db": now.worst})
    return _Design(cause=mechanism or "wrong-class", remedy=nothing, remedied=_rates(healthy))


def _design_of(cause: str, code: str, values: Mapping[str, Scalar], configured_pair: ConfiguredPair) -> _Design:
    better = setting_of(configured_pair, hold_ms=None)
    return _Design(cause=cause, remedy=Note(code=code, values=values), remedied=_rates(better.machine.healthy))


def _band(configured_pair: ConfiguredPair) -> dict[str, Scalar]:
    return {"band_low": configured_pair.low, "band_high": configured_pair.high, "unit": "dB"}


def _better(one: ConfiguredPair, other: ConfiguredPair) -> bool:
    first, second = one.served[0].judgement, other.served[0].judgement
    return (ORDER[first.verdict], first.ratio) < (ORDER[second.verdict], second.ratio)


def _mechanism(class_result: ClassResult, now: Served) -> str | None:
    """The classic failure behind a set-up, where it is one of those that have a cause of their own."""
    signal_table, receiver = now.signal_table, receiver_at(class_result.class_model.receiver, 0)
    bands = choose_bands([signal_table], receiver, step=class_result.principle.band_step)
    failure = first_failure(signal_table, receiver, bands).code
    moves = now.distribution.moves
    if max(moves, key=lambda name: moves[name][0]) == "standing-wave":
        return "standing-wave"
    return {"below-noise": "near-floor", "overload": "overload"}.get(failure)


def _causes(
    known: Sequence[Fault], belief: Array, setting: Setting, configured_pair: ConfiguredPair, design: _Design
) -> tuple[Cause, ...]:
    """Causes with their cases together, likeliest first, each with what tells it from the next."""
    groups: dict[str, list[int]] = {}
    for index, fault in enumerate(known):
        groups.setdefault(design.cause if fault.cause == "as-computed" else fault.cause, []).append(index)
    share = {name: float(belief[rows].sum()) for name, rows in groups.items()}
    order = sorted((name for name in groups if share[name] >= LEAST_SHARE), key=lambda name: (-share[name], name))
    shows = {name: showings([known[i] for i in groups[name]], belief[groups[name]]) for name in order}
    causes, listed = [], order[:LISTED]
    for rank, name in enumerate(listed, start=1):
        rows = groups[name]
        likeliest = known[max(rows, key=lambda i: belief[i])]
        scenario = likeliest.scenario
        others = [other for other in listed if other != name]
        against = others[min(rank - 1, len(others) - 1)] if others else None
        test = None if against is None else separation(shows[name], shows[against])
        by_design = likeliest.cause == "as-computed"
        causes.append(
            Cause(
                rank=rank,
                cause=Note(code=f"cause-{name}", values=likeliest.values),
                probability=share[name],
                no_sheet_db=scenario.no_sheet.median,
                single_db=scenario.single.median,
                double_db=scenario.double.median,
                rates_ppm=_rates(scenario),
                against=against,
                test=None
                if test is None or against is None
                else Note(
                    code=f"test-{test.code}",
                    values={
                        "expected": round(test.expected, 1),
                        "other": round(test.other, 1),
                        "other_rank": listed.index(against) + 1,
                        "unit": test.unit,
                    },
                ),
                deviations=None if test is None else test.deviations,
                remedy=design.remedy if by_design else remedy(setting, configured_pair.mounting, likeliest),
                remedied_ppm=design.remedied if by_design else _rates(setting.machine.healthy),
            )
        )
    return tuple(causes)


def _rates(scenario: Scenario) -> Rates:
    return Rates(**scenario.rates)
