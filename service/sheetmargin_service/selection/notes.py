"""Cautions, what was taken for parameters that a catalogue does not know, and the first steps of a trial."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import chain

from sheetmargin.contract.answer import ClassSummary, Recommendation, Setup, SheetResult
from sheetmargin.contract.job import FluteDirection, Line, Targets
from sheetmargin.contract.notes import Assumption, Note, Scalar

from sheetmargin_service.detectors.model import CABLE_EXIT_MM
from sheetmargin_service.materials.corrugated import flute_pitch_mm
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.selection.ranking import Plan
from sheetmargin_service.selection.trial import trial_plan, trial_sheets

ALWAYS = ("not-a-safety-device", "isolate-before-work", "qualified-wiring", "computed-not-measured")
"""Cautions of every answer: a detector protects product and machine, never a person."""


def cautions(recommendations: Sequence[Recommendation]) -> tuple[Note, ...]:
    """The usual cautions, and that reference classes are illustrative where one is named."""
    codes = list(ALWAYS)
    if any(s.detector_class.illustrative for r in recommendations for s in r.setups):
        codes.append("illustrative-class")
    return tuple(Note(code=code, values={}) for code in codes)


def filled_parameters(plans: Sequence[Plan]) -> tuple[Assumption, ...]:
    """Of each class named, what its catalogue does not know of it and was taken from a reference class."""
    classes = {
        st.class_result.detector_class.id: st.class_result.detector_class
        for plan in plans
        for st in plan.configured_pairs
    }
    return tuple(
        Assumption(
            code="filled-from-reference",
            values={
                "detector_class": name,
                "reference_class": c.filled.reference_class,
                "count": len(c.filled.parameters),
                "parameters": ", ".join(c.filled.parameters),
            },
            source=f"reference class {c.filled.reference_class}",
            pointer=None,
            value=None,
        )
        for name, c in sorted(classes.items())
        if c.filled is not None
    )


def assumed_cables(plans: Sequence[Plan]) -> tuple[Assumption, ...]:
    """Of each class named, what was taken for its cable where the room counts and its catalogue does not tell."""
    class_results = {
        st.class_result.detector_class.id: st.class_result for plan in plans for st in plan.configured_pairs
    }
    return tuple(
        Assumption(
            code="cable-exit-assumed",
            values={"detector_class": name, "cable_exit_mm": CABLE_EXIT_MM},
            source="typical, from memory",
            pointer=None,
            value=None,
        )
        for name, class_result in sorted(class_results.items())
        if class_result.detector_class.housing.cable_exit_mm is None
        and _room_counts(class_result.resolved_job.job.line)
    )


def _room_counts(line: Line) -> bool:
    """Whether the bodies must stay within a clearance that is known."""
    known = line.clearance_above_mm is not None or line.clearance_below_mm is not None
    return known and not line.body_through_frame


def trial_steps(
    recommendations: Sequence[Recommendation], sheets: Sequence[Sheet], targets: Targets, *, plan: Plan | None
) -> tuple[Note, ...]:
    """What to send and measure so that a bench can confirm the first recommendation; nothing where there is none.

    First the sheets that are tested, each with the set-up that serves it, then what is done with all of them.
    """
    if not recommendations or plan is None:
        return ()
    first = recommendations[0]
    served = [one for pair in plan.configured_pairs for one in pair.served.values()]
    likeliest = min(served, key=lambda one: one.judgement.chance)
    heaviest_gsm = max(sheets[i].plies * sheets[i].grammage_gsm for pair in plan.configured_pairs for i in pair.served)
    results = {result.index: result for result in first.sheets}
    weakest = [min(setup.sheets, key=lambda i: (_room(results[i]), i)) for setup in first.setups]
    asked = plan.configured_pairs[0].class_result.resolved_job.job.sheets
    why = trial_sheets({i: sheets[i] for i in results}, weakest=weakest)
    blocks = [
        (
            *_tested(results[i], first.setups[results[i].setup], sheets[i], why[i]),
            *_across_flutes(i, sheets[i], asked[i].flute_direction),
        )
        for i in sorted(why, key=lambda i: (results[i].setup, i))
    ]
    each = (Note(code="trial-each", values={"count": len(blocks)}),) if len(blocks) > 1 else ()
    return (
        *chain.from_iterable(blocks),
        *each,
        *trial_plan(targets=targets, heaviest_gsm=heaviest_gsm, rates=likeliest.judgement.rates),
    )


def _room(result: SheetResult) -> float:
    return min(result.margin.single, result.margin.double)


def _tested(result: SheetResult, setup: Setup, sheet: Sheet, why: Note | None) -> tuple[Note, ...]:
    """One sheet that is tested, on its own set-up; set-ups have their numbers from 1 in texts."""
    at: dict[str, Scalar] = {"sheet": result.index, "setup": setup.index, "number": setup.index + 1}
    unit = result.signal.unit
    stream = _stream(setup)
    return (
        *(() if why is None else (replace(why, values={**why.values, **at}),)),
        Note(code="send-samples", values={**at, "material": sheet.material_id, "count": 50}),
        Note(
            code="read-levels" if stream is None else "read-stream-levels",
            values={
                **({} if stream is None else stream),
                **at,
                **summary_values(setup.detector_class),
                "gap_mm": setup.geometry.gap_mm.nominal,
                "tilt_deg": setup.geometry.tilt_deg.nominal if setup.geometry.tilt_deg else None,
                "single_p50": result.signal.single.p50,
                "double_p50": result.signal.double.p50,
                "unit": unit,
            },
        ),
        Note(
            code="accept-levels" if stream is None else "accept-stream-levels",
            values={
                **({} if stream is None else stream),
                **at,
                "band_low": setup.profile.band.low,
                "band_high": setup.profile.band.high,
                "unit": unit,
            },
        ),
    )


def _across_flutes(index: int, sheet: Sheet, direction: FluteDirection | None) -> Iterator[Note]:
    """That a trial looks at several places within one pitch of the flutes: the core is computed as if it were even."""
    pitch_mm = flute_pitch_mm(sheet.assumptions)
    if pitch_mm is not None:
        yield Note(code=f"trial-flutes-{direction or 'unknown'}", values={"sheet": index, "pitch_mm": pitch_mm})


def summary_values(detector: ClassSummary) -> dict[str, Scalar]:
    """What a text needs to name the detector of a set-up."""
    return {"detector_class": detector.id, "detector": detector.name, "frequency_khz": detector.frequency_khz}


def _stream(setup: Setup) -> dict[str, Scalar] | None:
    """How many sheets lie on one another before a set-up; None where they come one by one."""
    timing = setup.timing
    if timing is None or timing.plies_fewest is None or timing.plies_most is None:
        return None
    return {"fewest": timing.plies_fewest, "most": timing.plies_most, "one_more": timing.plies_most + 1}
