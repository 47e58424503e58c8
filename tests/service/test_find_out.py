"""What to find out next: effects by the draws that are there, against the question asked again with an input fixed."""

from __future__ import annotations

from dataclasses import replace
from functools import reduce

import numpy as np
import pytest
from scipy.special import ndtr, ndtri
from sheetmargin.contract.job import Job
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.principles import draws
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.principles.draws import COUNT, conditional_chances, drawn
from sheetmargin_service.selection import recommend as recommending
from sheetmargin_service.selection.misreads import rates_of
from sheetmargin_service.selection.readings import readings_of
from sheetmargin_service.selection.targets import may_turn
from support.forget import forget_draws

LIBRARY, CATALOGUE = load_library(), reference_catalogue()


def ranking(*sheets: SheetSpec, **job):
    return recommending.rank(Job(sheets=sheets, **job), catalogue=CATALOGUE, library=LIBRARY)


def answer(*sheets: SheetSpec, **job):
    return recommending.recommend(Job(sheets=sheets, **job), catalogue=CATALOGUE, library=LIBRARY)


def test_conditional_chances_are_those_of_a_known_law():
    """What passes is a step over a sum of two: given the one, the other's normal law."""
    one, other = drawn("stiffness"), drawn("film")
    passes = (one + 0.8 * other < 0.3).astype(float)
    at = np.linspace(-1.5, 1.5, 7)
    found, variance = conditional_chances(one, passes, at=at, width=0.25)
    assert found == pytest.approx(ndtr((0.3 - at) / np.hypot(0.8, 0.25)), abs=0.1)
    assert np.sqrt(variance).max() < 0.12


def test_what_does_not_matter_has_no_effect():
    passes = (drawn("film") < 0.3).astype(float)
    at = ndtri((np.arange(20) + 0.5) / 20.0)
    for name in ("stiffness", "mass", "permeance"):
        found, variance = conditional_chances(drawn(name), passes, at=at, width=0.25)
        assert np.sqrt(max(found.var() - variance.mean(), 0.0)) < 0.05


def fixed(monkeypatch, unknowns, deviations):
    """From now on some unknowns lie at a place, whichever draw."""
    table = draws._table().copy()
    for name, place in zip(unknowns, deviations, strict=True):
        table[:, draws.UNKNOWNS.index(name)] = place
    monkeypatch.setattr(draws, "_table", lambda: table)
    forget_draws()


BRUTE = {
    "permeance": (SheetSpec(material="tissue", grammage_gsm=18), ("ultrasonic",), "permeance", "permeance", 0.15),
    "grammage": (SheetSpec(material="cork", thickness_um=8000), ("ultrasonic",), "grammage", "thickness", 0.1),
}


@pytest.mark.parametrize("name", BRUTE)
def test_an_effect_is_that_of_asking_again_with_the_input_fixed(name, monkeypatch):
    """The same set-up asked at seven quantiles of one draw: the chances' standard deviation is the effect, to its
    sampling error (0.04), the little that a measurement leaves, and what is smoothed."""
    spec, principles, told, unknown, _ = BRUTE[name]
    found = ranking(spec, principles=principles)
    pair = found.plans[0].configured_pairs[0] if found.plans else found.nearest[0]
    (effect,) = [one.effect for one in recommending.find_out([pair]) if one.input == told] or [0.0]
    chances = []
    for place in ndtri((np.arange(7) + 0.5) / 7.0):
        with monkeypatch.context() as patch:
            fixed(patch, [unknown], [place])
            principle = pair.class_result.principle
            model = principle.class_model(pair.class_result.detector_class, found.resolved_job.conditions)
            distribution = model.distribution(found.resolved_job.sheets[0], pair.choice.setting)
            readings = readings_of(pair.class_result.detector_class, pair.served[0].timing)
            rates = rates_of(
                distribution, pair.class_result.principle.grid, low=pair.low, high=pair.high, readings=readings
            )
            excess = [
                np.log10(np.maximum(rates[kind], 1e-15)) - np.log10(1e-6 * target)
                for kind, target in found.resolved_job.targets.items()
            ]
            chances.append(draws.chance_of(reduce(np.maximum, excess)))
    forget_draws()
    print(name, effect, np.std(chances), np.round(chances, 2))
    assert effect == pytest.approx(float(np.std(chances)), abs=0.05)


def test_findings_tell_a_range_and_the_verdict_there():
    found = answer(SheetSpec(material="cork", thickness_um=8000), limit=1)
    assert 1 <= len(found.find_out) <= 5
    effects = [one.effect for one in found.find_out]
    assert effects == sorted(effects, reverse=True)
    assert min(effects) >= 0.05
    first = found.find_out[0]
    assert first.input == "readings-single"
    assert {finding.verdict for finding in first.findings} >= {"suitable", "trial-needed"}
    assert sum(finding.share for finding in first.findings) == pytest.approx(1.0)
    for before, after in zip(first.findings, first.findings[1:], strict=False):
        assert before.high == after.low
    assert first.findings[0].low is None
    assert first.findings[-1].high is None
    for one in found.find_out:
        mean = sum(finding.share * finding.chance for finding in one.findings)
        assert mean == pytest.approx(found.best.chance, abs=0.05)


def test_oil_decides_between_two_answers_before_sheets_of_metal():
    """A film binds two blanks acoustically; eddy currents do not mind."""
    (oil,) = answer(SheetSpec(material="steel", thickness_um=300), principles=("ultrasonic",), limit=1).find_out
    assert oil.input == "oil"
    no, yes = oil.findings
    assert (no.answer, yes.answer) == ("no", "yes")
    assert no.verdict == "suitable"
    assert yes.verdict == "unsuitable"
    assert yes.share == pytest.approx(0.3)
    assert answer(SheetSpec(material="aluminium", thickness_um=280), principles=("eddy-current",)).find_out == ()


def test_where_nothing_is_in_doubt_nothing_is_to_be_found_out():
    assert answer(SheetSpec(material="copy-paper", grammage_gsm=80), limit=1).find_out == ()


def test_below_a_twentieth_one_answer_may_still_turn_it():
    """Nearly all that passes lies at one end of one unknown."""
    lies = np.where(drawn("permeance") > 1.65, -1.0, 1.0)[:, None] * np.ones(17)
    assert 0.02 < draws.chance_of(lies) < 0.06
    assert may_turn(lies)
    rng = np.random.default_rng(1)
    scattered = np.where(rng.random(COUNT) < 0.045, -1.0, 1.0)[:, None] * np.ones(17)
    assert not may_turn(scattered)


def test_the_nearest_class_is_asked_where_nothing_serves():
    found = ranking(SheetSpec(material="greyboard", thickness_um=3000), classes=("ultrasonic-400k",))
    assert not found.plans
    (nearest,) = found.nearest
    assert nearest.class_result.detector_class.id == "ultrasonic-400k"


def test_a_permeance_that_is_given_is_not_asked_for():
    given = replace(SheetSpec(material="tissue", grammage_gsm=18), air_permeance_um_per_pa_s=2500.0)
    assert "permeance" not in {one.input for one in answer(given, principles=("ultrasonic",)).find_out}
