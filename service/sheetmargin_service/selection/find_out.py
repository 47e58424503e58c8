"""What to find out next: inputs that were not given, by how much knowing each would move the chance.

The draws of what is not known are there already. The chance as it is once an input is known is the mean of what passes
over the draws that are like it, and the input's effect the standard deviation of that over what it may turn out to be:
a first-order index on what passes (Sobol, Math. Comput. Simul. 55, 271, 2001), with the error of its measurement left.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import reduce
from itertools import groupby, pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri
from sheetmargin.contract.answer import Finding, FindOut, Verdict
from sheetmargin.contract.notes import Scalar

from sheetmargin_service.constants import Z95
from sheetmargin_service.materials.material import Interval
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.principles.draws import COUNT, LIKE, conditional_chances, drawn, passing
from sheetmargin_service.principles.lots import Row, lot_of
from sheetmargin_service.principles.protocol import SignalDistribution, Spread
from sheetmargin_service.selection.configured_pair import ConfiguredPair, Served
from sheetmargin_service.selection.experience import Experience, judge_by
from sheetmargin_service.selection.misreads import rates_of
from sheetmargin_service.selection.readings import readings_of
from sheetmargin_service.selection.targets import ORDER, SUITABLE, verdict_of

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

LEAST_EFFECT, MOST = 0.05, 5
"""Effects from which an input is told, and how many are (choices, stated)."""
SIZE_ERROR, PERMEANCE_ERROR = 0.01, 0.1
"""Standard deviations, relative, that ISO 536 and ISO 534 leave of a mean of ten, and ISO 5636 of one (typical, from
memory)."""
STANDARDS = {"grammage": "ISO 536", "thickness": "ISO 534", "permeance": "ISO 5636"}
READINGS = 5
"""Singles and doubles that are read on the bench."""
PLACES = ndtri((np.arange(20) + 0.5) / 20.0)
"""What an input may turn out to be, as standard normal quantiles, all as likely."""
OILY = 0.3
"""How likely sheets of metal are oily where the job does not say (a choice, stated)."""
ONE_OF = (("grammage", "thickness"), ("readings-single", "readings-double"))
"""Inputs that tell of the same: the one that tells more stands for both."""


@dataclass(frozen=True, kw_only=True)
class Input:
    """An input as a user gives it: its quantity at each draw, and how far a measurement leaves that unknown, as a share
    of its standard deviation. `value` has its values over its standardised quantity, rising; None of a question."""

    name: str
    quantity: Array
    error: float
    pointers: tuple[str, ...]
    unit: str | None
    value: tuple[Array, Array] | None
    values: Mapping[str, Scalar]


def find_out(pairs: Sequence[ConfiguredPair]) -> tuple[FindOut, ...]:
    """What to find out next of the set-ups of a plan, what moves the chance most first."""
    served = {i: one for pair in pairs for i, one in pair.served.items()}
    if not served:
        return ()
    index = min(served, key=lambda i: (served[i].judgement.chance, i))
    pair = next(pair for pair in pairs if index in pair.served)
    passes = passing(reduce(np.maximum, [one.judgement.excess for one in served.values()]))
    worst = pair.verdict if pair.verdict != "suitable" and passes.mean() >= SUITABLE else "suitable"
    told = list(_oil(pair, index, served[index], chance=float(passes.mean()), worst=worst))
    if len(passes) == COUNT and passes.std() >= LEAST_EFFECT:
        told += [
            _told(each, passes, worst=worst, detector_class=pair.class_result.detector_class.id)
            for each in _left(_inputs(pair, index, served[index]), served[index].experience)
            if each.quantity.std() > 1e-9 * abs(each.quantity.mean())
        ]
    found = sorted((one for one in told if one.effect >= LEAST_EFFECT), key=lambda one: (-one.effect, one.input))
    for names in ONE_OF:
        alike = [one for one in found if one.input in names]
        found = [one for one in found if one not in alike[1:]]
    return tuple(found[:MOST])


def _left(inputs: Iterator[Input], experience: Experience | None) -> Iterator[Input]:
    """Inputs over the draws that trials left."""
    for each in inputs:
        yield each if experience is None else replace(each, quantity=each.quantity[experience.draws])


def _oil(pair: ConfiguredPair, index: int, served: Served, *, chance: float, worst: Verdict) -> Iterator[FindOut]:
    """Whether sheets of metal are oily, where the job does not say: a film of water stands for one of oil."""
    job, sheet = pair.class_result.resolved_job, pair.class_result.resolved_job.sheets[index]
    families = {layer.material.family for layer in sheet.layers if layer.material is not None}
    said = job.job.sheets[index].surface.oiled
    if "oil" not in pair.class_result.detector_class.demands.moved_by:
        return
    if families != {"metal"} or sheet.contact != "air" or said is not None or job.stream is not None:
        return
    oily = pair.class_result.class_model.distribution(replace(sheet, contact="water-film"), pair.choice.setting)
    readings = readings_of(pair.class_result.detector_class, served.timing)
    rates = rates_of(oily, pair.class_result.principle.grid, low=pair.low, high=pair.high, readings=readings)
    yes = judge_by(served.experience, rates, job.targets).chance
    findings = [
        Finding(
            answer=answer,
            low=None,
            high=None,
            share=share,
            chance=there,
            verdict=_worse(verdict_of(round(there, 2)), worst),
        )
        for answer, share, there in _no_and_yes(chance, yes)
    ]
    yield FindOut(
        code="find-out-oil",
        values={"sheet": index, "prior_pct": 100.0 * OILY},
        input="oil",
        pointers=(f"/sheets/{index}/surface/oiled",),
        unit=None,
        effect=abs(yes - chance) * float(np.sqrt(OILY * (1.0 - OILY))),
        findings=findings,
        detector_class=pair.class_result.detector_class.id,
    )


def _no_and_yes(no: float, yes: float) -> tuple[tuple[Literal["no", "yes"], float, float], ...]:
    return ("no", 1.0 - OILY, no), ("yes", OILY, yes)


def _told(one: Input, passes: Array, *, worst: Verdict, detector_class: str) -> FindOut:
    chances, effect = _conditional(one, passes)
    if one.value is None:
        findings = _answers(one, passes, worst=worst)
        effect = 0.5 * abs(findings[1].chance - findings[0].chance)
    else:
        findings = _ranges(one, chances, worst=worst)
    return FindOut(
        code=f"find-out-{one.name}",
        values=one.values,
        input=one.name,
        pointers=one.pointers,
        unit=one.unit,
        effect=effect,
        findings=tuple(findings),
        detector_class=detector_class,
    )


def _conditional(one: Input, passes: Array) -> tuple[Array, float]:
    """Chances at `PLACES`, and the effect."""
    scaled = (one.quantity - one.quantity.mean()) / one.quantity.std()
    left = one.error / np.hypot(1.0, one.error)
    # A reading at a place leaves the quantity nearer to the middle, and as far unknown as its error.
    at = PLACES * np.sqrt(1.0 - left**2)
    chances, variance = conditional_chances(scaled, passes, at=at, width=max(LIKE, left))
    return chances, float(np.sqrt(max(chances.var() - variance.mean(), 0.0)))


def _ranges(one: Input, chances: Array, *, worst: Verdict) -> list[Finding]:
    """Ranges of an input that lead to different verdicts; its lower and upper half where none does."""
    assert one.value is not None
    verdicts = [_worse(verdict_of(round(float(c), 2)), worst) for c in chances]
    for k in range(1, len(verdicts) - 1):
        # One place by itself is within the error of sampling.
        if verdicts[k] not in (verdicts[k - 1], verdicts[k + 1]):
            verdicts[k] = verdicts[k - 1]
    groups = [list(group) for _, group in groupby(range(len(chances)), key=lambda k: verdicts[k])]
    if len(groups) == 1:
        half = len(chances) // 2
        groups = [list(range(half)), list(range(half, len(chances)))]
    edges = [0.5 * (PLACES[before[-1]] + PLACES[after[0]]) for before, after in pairwise(groups)]
    at = np.interp(edges, *one.value).tolist()
    findings = []
    for group, low, high in zip(groups, [None, *at], [*at, None], strict=True):
        chance = float(chances[group].mean())
        findings.append(
            Finding(
                answer=None,
                low=low,
                high=high,
                share=len(group) / len(chances),
                chance=chance,
                verdict=_worse(verdict_of(round(chance, 2)), worst),
            )
        )
    return findings


def _answers(one: Input, passes: Array, *, worst: Verdict) -> list[Finding]:
    """No and yes to a question: the lower and the upper half of what is drawn."""
    yes = one.quantity > np.median(one.quantity)
    return [_answer("no", ~yes, passes, worst=worst), _answer("yes", yes, passes, worst=worst)]


def _answer(answer: Literal["no", "yes"], where: Flags, passes: Array, *, worst: Verdict) -> Finding:
    chance = float(passes[where].mean())
    return Finding(
        answer=answer,
        low=None,
        high=None,
        share=float(where.mean()),
        chance=chance,
        verdict=_worse(verdict_of(round(chance, 2)), worst),
    )


def _worse(one: Verdict, other: Verdict) -> Verdict:
    return max(one, other, key=lambda verdict: ORDER[verdict])


def _inputs(pair: ConfiguredPair, index: int, served: Served) -> Iterator[Input]:
    """What of a sheet is drawn at a set-up, as a user gives it."""
    sheet, distribution = pair.class_result.resolved_job.sheets[index], served.distribution
    names = {name for spread in (distribution.single, distribution.double) for name in spread.unknowns}
    if names & {"mass", "thickness"}:
        lot = lot_of(sheet)
        yield from _size(sheet, index, "grammage", lot.mass, sheet.grammage_gsm, "g/m2", "grammage_gsm")
        yield from _size(sheet, index, "thickness", lot.thickness, sheet.thickness_um, "um", "thickness_um")
    interval = sheet.typical_permeance
    if "permeance" in names and interval is not None and sheet.permeance_um_per_pa_s is not None:
        yield _permeance(sheet.permeance_um_per_pa_s, interval, index)
    if len(distribution.double.weights) > 1:
        yield Input(
            name="clinging",
            quantity=drawn("blocked"),
            error=0.0,
            pointers=(f"/sheets/{index}/double/contact",),
            unit=None,
            value=None,
            values={"sheet": index},
        )
    if "resistivity" in names:
        yield from _conductivity(sheet, index)
    yield from _readings(pair, index, distribution)


def _size(sheet: Sheet, index: int, name: str, row: Row, size: float, unit: str, field: str) -> Iterator[Input]:
    moved = row[0] * drawn("mass") + row[1] * drawn("thickness")
    deviation = float(np.hypot(*row))
    if deviation < SIZE_ERROR:
        return
    values, ending = size * (1.0 + deviation * PLACES), field.rpartition("_")[2]
    yield Input(
        name=name,
        quantity=moved,
        error=SIZE_ERROR / deviation,
        pointers=(f"/sheets/{index}/{field}",),
        unit=unit,
        value=(PLACES, values),
        values={
            "sheet": index,
            "standard": STANDARDS[name],
            f"low_{ending}": size * (1.0 - Z95 * deviation),
            f"high_{ending}": size * (1.0 + Z95 * deviation),
        },
    )


def _conductivity(sheet: Sheet, index: int) -> Iterator[Input]:
    """That of the alloy, in MS/m, of the first layer that has a range of it."""
    metals = (layer.material for layer in sheet.layers if layer.material is not None)
    for metal in metals:
        resistivity = metal.electrical.resistivity
        if resistivity is None or resistivity.low == resistivity.high:
            continue
        factors = np.where(PLACES < 0.0, resistivity.high, resistivity.low) / resistivity.nominal
        values = 1e-6 / (resistivity.nominal * factors ** (np.abs(PLACES) / Z95))
        deviation = float(np.log(resistivity.high / resistivity.low)) / (2.0 * Z95)
        yield Input(
            name="conductivity",
            quantity=-drawn("constants"),
            error=SIZE_ERROR / deviation,
            pointers=(f"/sheets/{index}/material",),
            unit="MS/m",
            value=(PLACES, values),
            values={
                "sheet": index,
                "low_ms_per_m": 1e-6 / resistivity.high,
                "high_ms_per_m": 1e-6 / resistivity.low,
            },
        )
        return


def _permeance(nominal: float, interval: Interval, index: int) -> Input:
    factors = np.where(PLACES < 0.0, interval.low, interval.high) / interval.nominal
    values = nominal * factors ** (np.abs(PLACES) / Z95)
    deviation = float(np.log(interval.high / interval.low)) / (2.0 * Z95)
    return Input(
        name="permeance",
        quantity=drawn("permeance"),
        error=PERMEANCE_ERROR / deviation,
        pointers=(f"/sheets/{index}/air_permeance_um_per_pa_s",),
        unit="um/(Pa s)",
        value=(PLACES, values),
        values={
            "sheet": index,
            "standard": STANDARDS["permeance"],
            "low_um_per_pa_s": nominal * interval.low / interval.nominal,
            "high_um_per_pa_s": nominal * interval.high / interval.nominal,
        },
    )


def _readings(pair: ConfiguredPair, index: int, distribution: SignalDistribution) -> Iterator[Input]:
    """Five readings of one sheet and of two on the bench: of these, what tells more is given as a range."""
    for state, spread in (("single", distribution.single), ("double", distribution.double)):
        levels = _middle(spread)
        if levels.std() == 0.0:
            continue
        mean, deviation = float(levels.mean()), float(levels.std())
        ordered = np.quantile(levels, (np.arange(20) + 0.5) / 20.0)
        yield Input(
            name=f"readings-{state}",
            quantity=levels,
            error=_scatter(spread) / np.sqrt(READINGS) / deviation,
            pointers=(),
            unit=pair.class_result.principle.unit,
            value=(PLACES, ordered),
            values={
                "sheet": index,
                "count": READINGS,
                "gap_mm": pair.choice.gap.nominal,
                "tilt_deg": pair.choice.tilt.nominal if pair.choice.tilt else None,
                "expected": mean,
                "unit": pair.class_result.principle.unit,
            },
        )


def _middle(spread: Spread) -> Array:
    """The mean of what is read in each draw, (J,)."""
    levels = (spread.weights * spread.values).sum(axis=1)
    return np.broadcast_to(levels, (COUNT,))


def _scatter(spread: Spread) -> float:
    """Standard deviation of one reading about that mean, of a pair that was taught just before."""
    values, weights = spread.values, spread.weights
    within = (weights * values**2).sum(axis=1) - (weights * values).sum(axis=1) ** 2
    return float(np.sqrt(within.mean() + spread.blur**2 + spread.added.var()))
