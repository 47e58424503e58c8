"""The order of recommendations."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations
from types import SimpleNamespace

import numpy as np
import pytest
from sheetmargin.contract.job import Controller, Line, Prefer, Surface
from sheetmargin.contract.mounting import Window
from sheetmargin_service.detectors.demands import Demands
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.principles.draws import DRIFTS
from sheetmargin_service.principles.protocol import Fact
from sheetmargin_service.selection.order_explained import behind, simpler_choice
from sheetmargin_service.selection.ranking import Plan, ranked
from sheetmargin_service.selection.targets import PAIRS, Judgement

DRAWS = 100
UNKNOWN, NOTHING, BY_HAND = Surface(), Prefer(), Controller()
COPY_PAPER = SimpleNamespace(layers=[SimpleNamespace(material=load_library().materials["copy-paper"])])
CHANCE = {"suitable": 1.0, "trial-needed": 0.6, "unsuitable": 0.0}
"""Taken where a station is told without its chance."""


def judged(verdict, chance, *, ratio=-2.0):
    """A judgement whose targets are met in the last of its draws, whatever the drift: in as many as its chance says."""
    misses = np.arange(DRAWS) < round(DRAWS * (1.0 - chance))
    return Judgement(
        verdict=verdict,
        chance=chance,
        rates={pair: np.full((DRAWS, len(DRIFTS)), 10.0**ratio * 1e-3) for pair in PAIRS},
        targets={"double_as_single": 1e3},
        excess=np.where(misses, 1.0, -1.0)[:, None] * np.ones(len(DRIFTS)),
    )


def configured_pair(
    name,
    *,
    margin=5.0,
    verdict="suitable",
    chance=None,
    ratio=-2.0,
    sheets=(0,),
    gap=(20.0, 40.0, 60.0),
    tilt=0.0,
    contactless=True,
    moved_by=(),
    effort=2,
    marks=False,
    surface=UNKNOWN,
    prefer=NOTHING,
    controller=BY_HAND,
    principle="ultrasonic",
    spread=8.0,
):
    """As much of a station as the order looks at."""
    judgement = judged(verdict, CHANCE[verdict] if chance is None else chance, ratio=ratio)
    single = SimpleNamespace(p1=np.array([40.0]), p99=np.array([40.0 + spread]))
    served = {
        i: SimpleNamespace(worst=margin, judgement=judgement, signal_table=SimpleNamespace(single=single))
        for i in sheets
    }
    return SimpleNamespace(
        served=served,
        verdict=verdict,
        worst=margin,
        choice=SimpleNamespace(
            setting=0,
            gap=Window(min=gap[0], nominal=gap[1], max=gap[2]),
            tilt=Window(min=tilt, nominal=tilt, max=tilt),
        ),
        low=20,
        high=60,
        class_result=SimpleNamespace(
            detector_class=SimpleNamespace(
                id=name,
                principle=principle,
                contactless=contactless,
                demands=Demands(effort=effort, marks=marks, moved_by=moved_by),
            ),
            resolved_job=SimpleNamespace(
                job=SimpleNamespace(
                    keep_sequence=False,
                    prefer=prefer,
                    line=Line(),
                    controller=controller,
                    sheets=[SimpleNamespace(surface=surface)] * 2,
                ),
                sheets=[COPY_PAPER] * 2,
                conditions=SimpleNamespace(temperature_min_c=15.0, temperature_max_c=35.0),
            ),
        ),
    )


def plan(*configured_pairs, left_out=()):
    fact = Fact(code="below-noise", values={})
    return Plan(configured_pairs=configured_pairs, left_out=dict.fromkeys(left_out, fact))


def order(*plans):
    return [p.configured_pairs[0].class_result.detector_class.id for p in ranked(plans)]


BEFORE_AFTER = {
    "more sheets served": (
        plan(configured_pair("z", sheets=(0, 1), verdict="trial-needed")),
        plan(configured_pair("a", sheets=(0,)), left_out=(1,)),
    ),
    "suitable before trial": (
        plan(configured_pair("z", margin=1.0)),
        plan(configured_pair("a", verdict="trial-needed", margin=9.0)),
    ),
    "fewer detectors": (
        plan(configured_pair("z", margin=1.0, sheets=(0, 1))),
        plan(configured_pair("a", margin=9.0), configured_pair("b", margin=9.0, sheets=(1,))),
    ),
    "likelier to do": (
        plan(configured_pair("z", verdict="trial-needed", chance=0.8, margin=1.0)),
        plan(configured_pair("a", verdict="trial-needed", chance=0.79, margin=9.0)),
    ),
    "as likely to do, within a band of chances": (
        plan(configured_pair("z", verdict="trial-needed", chance=0.5, margin=9.0)),
        plan(configured_pair("a", verdict="trial-needed", chance=0.79, margin=5.0)),
    ),
    "no contact": (plan(configured_pair("z", margin=1.0)), plan(configured_pair("a", contactless=False, margin=9.0))),
    "no marks": (plan(configured_pair("z", margin=1.0)), plan(configured_pair("a", marks=True, margin=9.0))),
    "marks that are allowed do not count": (
        plan(configured_pair("z", marks=True, surface=Surface(marks_allowed=True), margin=9.0)),
        plan(configured_pair("a", surface=Surface(marks_allowed=True), margin=5.0)),
    ),
    "less effort before contact that is allowed": (
        plan(configured_pair("z", contactless=False, surface=Surface(marks_allowed=True), effort=1)),
        plan(configured_pair("a", surface=Surface(marks_allowed=True), margin=9.0)),
    ),
    "no contact before less effort": (
        plan(configured_pair("z", effort=5)),
        plan(configured_pair("a", effort=1, contactless=False)),
    ),
    "less effort": (plan(configured_pair("z", margin=1.0)), plan(configured_pair("a", effort=3, margin=9.0))),
    "a principle that is preferred": (
        plan(configured_pair("z", effort=3, prefer=Prefer(principles=("optical",)), principle="optical", margin=9.0)),
        plan(configured_pair("a", effort=2, prefer=Prefer(principles=("optical",)), margin=5.0)),
    ),
    "nothing else moves it": (
        plan(configured_pair("z", margin=1.0)),
        plan(configured_pair("a", moved_by=("moisture",), margin=9.0)),
    ),
    "what the job rules out does not move it": (
        plan(configured_pair("z", moved_by=("print",), surface=Surface(printed=False), margin=9.0)),
        plan(configured_pair("a", surface=Surface(printed=False), margin=5.0)),
    ),
    "what the material has not does not move it": (
        plan(configured_pair("z", moved_by=("oil",), margin=9.0)),
        plan(configured_pair("a", margin=5.0)),
    ),
    "more margin": (plan(configured_pair("z", margin=9.0)), plan(configured_pair("a", margin=5.0))),
    "margins within half a spread are alike": (
        plan(configured_pair("a", margin=4.1)),
        plan(configured_pair("z", margin=7.9)),
    ),
    "least id": (plan(configured_pair("a")), plan(configured_pair("z"))),
}


@pytest.mark.parametrize("why", BEFORE_AFTER)
def test_what_comes_first(why):
    first, second = BEFORE_AFTER[why]
    names = [
        first.configured_pairs[0].class_result.detector_class.id,
        second.configured_pairs[0].class_result.detector_class.id,
    ]
    assert order(first, second) == order(second, first) == names


def test_each_place_is_explained_by_the_step_that_decides():
    cheap, dear = plan(configured_pair("z", margin=1.0)), plan(configured_pair("a", effort=3, margin=9.0))
    told = behind(dear, cheap, above=1)
    assert (told.code, told.values) == ("behind-by-effort", {"above": 1, "own": 3, "other": 2})
    likely = plan(configured_pair("a", verdict="trial-needed", chance=0.79))
    told = behind(likely, cheap, above=2)
    assert (told.code, told.values["own"], told.values["other"]) == ("behind-by-verdict", "trial-needed", "suitable")
    moved = plan(configured_pair("a", moved_by=("moisture", "oil"), margin=9.0))
    assert behind(moved, cheap, above=1).values["influences"] == "moisture"


@pytest.mark.parametrize(
    ("first", "chance", "named"),
    [
        ({"effort": 5}, 0.8, True),
        ({"effort": 5}, 0.79, False),
        ({"effort": 3}, 0.9, False),
        ({"contactless": False, "effort": 3}, 0.9, True),
    ],
)
def test_a_first_choice_that_is_dear_or_touches_is_told_with_a_simpler_one(first, chance, named):
    plans = [plan(configured_pair("a", **first)), plan(configured_pair("z", verdict="trial-needed", chance=chance))]
    told = simpler_choice(plans)
    assert (told is not None) == named
    if told:
        assert told.values["detector_class"] == "z"


def test_the_order_of_the_plans_does_not_matter():
    plans = [
        plan(configured_pair("a", margin=3.0)),
        plan(configured_pair("b", margin=3.0)),
        plan(configured_pair("c", margin=7.0, tilt=10.0)),
        plan(configured_pair("d", verdict="trial-needed")),
    ]
    assert {tuple(order(*p)) for p in permutations(plans)} == {("c", "a", "b", "d")}


def test_a_suitable_plan_is_not_ranked_by_how_far_below_the_target_it_is():
    assert order(
        plan(configured_pair("z", ratio=-0.5, margin=9.0)), plan(configured_pair("a", ratio=-2.0, margin=5.0))
    ) == ["z", "a"]
    assert order(
        plan(configured_pair("z", chance=0.95, margin=9.0)), plan(configured_pair("a", chance=1.0, margin=5.0))
    ) == ["z", "a"]


def test_margins_are_compared_as_multiples_of_the_spread():
    """5 dB of a spread of 8 beat 50 fF of one of 200, and 50 dB of one of 200 as well."""
    decibels = plan(configured_pair("z", margin=5.0, spread=8.0))
    assert order(decibels, plan(configured_pair("a", margin=50.0, spread=200.0, principle="capacitive"))) == ["z", "a"]
    assert order(decibels, plan(configured_pair("a", margin=50.0, spread=200.0))) == ["z", "a"]


def test_two_plans_compare_alike_whatever_the_others_are():
    """A third plan, of whatever principle, never turns two round."""
    two = [plan(configured_pair("z", margin=5.0, spread=8.0)), plan(configured_pair("a", margin=50.0, spread=200.0))]
    for principle in ("ultrasonic", "capacitive"):
        third = plan(configured_pair("m", principle=principle))
        assert [name for name in order(*two, third) if name != "m"] == order(*two)


def changing(setting, low, **kind):
    """A station of one class at a setting with a band."""
    one = configured_pair("z", **kind)
    one.choice.setting, one.low, one.class_result = setting, low, POST
    return one


POST = configured_pair("z").class_result


def test_fewer_classes_come_before_fewer_set_ups_and_positions_before_bands():
    one_class = plan(changing(0, 20), changing(0, 30, sheets=(1,)), changing(0, 40, sheets=(2,)))
    two_positions = plan(changing(0, 20, sheets=(0, 1)), changing(1, 20, sheets=(2,)))
    two_classes = plan(configured_pair("a", margin=9.0, sheets=(0, 1)), configured_pair("b", margin=9.0, sheets=(2,)))
    changes = [p.changeovers for p in (one_class, two_positions, two_classes)]
    assert [(c.detector_class, c.geometry, c.profile) for c in changes] == [(0, 0, 2), (0, 1, 0), (1, 0, 0)]
    assert ranked([two_classes, two_positions, one_class]) == [one_class, two_positions, two_classes]


@pytest.mark.parametrize(("recipes", "bands"), [(None, 2), (False, 2), (True, 1)])
def test_bands_that_a_controller_switches_count_as_one(recipes, bands):
    one, other = (configured_pair("a", sheets=(i,), controller=Controller(recipes=recipes)) for i in (0, 1))
    other.high = 70
    assert plan(one, other).key["bands"] == bands


def test_a_plan_is_as_good_as_its_worst_sheet():
    mixed = plan(
        configured_pair("a", margin=9.0), configured_pair("b", sheets=(1,), margin=2.0, verdict="trial-needed")
    )
    assert mixed.verdict == "trial-needed"
    assert mixed.worst == 2.0
    assert mixed.served == 2


def test_a_plan_is_as_sure_as_all_its_sheets_together():
    """What one sheet and another miss in the same draws is counted once: they lie in one shop."""
    one, other = (configured_pair(name, sheets=(i,), chance=0.96) for i, name in enumerate("ab"))
    assert plan(one, other).chance == 0.96
    assert plan(one, other).verdict == "suitable"
    # The other misses its targets where the one meets them: each is suitable, both together are not sure enough.
    turned = other.served[1].judgement
    other.served[1].judgement = replace(turned, excess=turned.excess[::-1])
    assert plan(one, other).chance == 0.92
    assert plan(one, other).verdict == "trial-needed"
