"""Cautions, what was taken for parameters that a catalogue does not know, and the first steps of a trial."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import chain

from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.selection.answer import Note, Recommendation, Scalar, Setup, SheetResult
from sheetmargin_service.selection.job import Targets
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


def filled_parameters(plans: Sequence[Plan]) -> tuple[Note, ...]:
    """Of each class named, what its catalogue does not know of it and was taken from a reference class."""
    classes = {st.post.detector_class.id: st.post.detector_class for plan in plans for st in plan.stations}
    return tuple(
        Note(
            code="filled-from-reference",
            values={
                "detector_class": name,
                "reference_class": c.filled.reference_class,
                "count": len(c.filled.parameters),
                "parameters": ", ".join(c.filled.parameters),
            },
            source=f"reference class {c.filled.reference_class}",
        )
        for name, c in sorted(classes.items())
        if c.filled is not None
    )


def trial_steps(
    recommendations: Sequence[Recommendation], sheets: Sequence[Sheet], targets: Targets
) -> tuple[Note, ...]:
    """What to send and measure so that a bench can confirm the first recommendation; nothing where there is none.

    First the sheets that are tested, each with the set-up that serves it, then what is done with all of them.
    """
    if not recommendations:
        return ()
    first = recommendations[0]
    results = {result.index: result for result in first.sheets}
    weakest = [min(setup.sheets, key=lambda i: (_room(results[i]), i)) for setup in first.setups]
    why = trial_sheets({i: sheets[i] for i in results}, weakest=weakest)
    blocks = [
        _tested(results[i], first.setups[results[i].setup], sheets[i], why[i])
        for i in sorted(why, key=lambda i: (results[i].setup, i))
    ]
    each = (Note(code="trial-each", values={"count": len(blocks)}),) if len(blocks) > 1 else ()
    return (*chain.from_iterable(blocks), *each, *trial_plan(targets=targets))


def _room(result: SheetResult) -> float:
    return min(result.margin.single, result.margin.double)


def _tested(result: SheetResult, setup: Setup, sheet: Sheet, why: Note | None) -> tuple[Note, ...]:
    """One sheet that is tested, on its own set-up; set-ups have their numbers from 1 in texts."""
    at: dict[str, Scalar] = {"sheet": result.index, "setup": setup.index, "number": setup.index + 1}
    unit = result.signal.unit
    return (
        *(() if why is None else (replace(why, values={**why.values, **at}),)),
        Note(code="send-samples", values={**at, "material": sheet.material_id, "count": 50}),
        Note(
            code="read-levels",
            values={
                **at,
                "detector_class": setup.detector_class.id,
                "gap_mm": setup.geometry.gap_mm.nominal,
                "tilt_deg": setup.geometry.tilt_deg.nominal if setup.geometry.tilt_deg else 0.0,
                "single_p50": result.signal.single.p50,
                "double_p50": result.signal.double.p50,
                "unit": unit,
            },
        ),
        Note(
            code="accept-levels",
            values={
                **at,
                "band_low": setup.profile.single_band[0],
                "band_high": setup.profile.single_band[1],
                "unit": unit,
            },
        ),
    )
