"""Rules that hold of every answer, over random jobs of the schema's whole range and over jobs as they are written.

A job is asked once, and its answer serves every rule. A rule that is broken fails with the smallest job that was found
to break it.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

import pytest
from flask.testing import FlaskClient
from hypothesis import HealthCheck, Phase, assume, example, given, seed, settings
from hypothesis import strategies as st
from support.any_job import jobs, usual_jobs
from support.asking import Asking, Json
from support.rules import CLASSES, RULES, Rule
from support.smaller import smaller

EVERY = settings(
    deadline=None,
    suppress_health_check=list(HealthCheck),
    derandomize=True,
    database=None,
    # Broken rules are collected, and only the first job of each is made smaller.
    phases=[Phase.explicit, Phase.generate],
)
PAPER: Json = {
    "sheets": [{"material": "copy-paper", "grammage_gsm": 80}],
    "classes": ["ultrasonic-300k", "thickness-roller"],
    "limit": 20,
}
PLATE: Json = {
    "sheets": [{"material": "steel", "thickness_um": 800}],
    "classes": ["eddy-current-10k", "ultrasonic-180k"],
    "limit": 20,
}
"""Jobs that a class surely serves: what is drawn is mostly stranger."""
TRIES = 60
"""Jobs that are asked at most to find a smaller one."""
IDS = tuple(CLASSES)
usually = usual_jobs(classes=IDS, most_classes=7, most_sheets=3)
whole = jobs(classes=IDS, most_classes=4, most_sheets=3)
any_jobs = st.one_of(usually, usually, whole).map(lambda job: job | {"limit": 20})


@dataclass(kw_only=True)
class Run:
    """What was asked, and what was found."""

    asking: Asking
    counts: Counter[str] = field(default_factory=Counter)
    broken: dict[Rule, list[tuple[Json, str]]] = field(default_factory=dict)

    def check(self, job: Json) -> None:
        self.asking.forget()
        answer = self.asking.recommend(job)
        assume(answer is not None)
        assert answer is not None
        self.counts[answer["verdict"]] += 1
        self.counts["lists"] += len(job["sheets"]) > 1
        self.counts["set-ups"] += sum(len(one["setups"]) for one in answer["recommendations"])
        for rule in RULES:
            told = first_broken(rule, self.asking, job, answer)
            if told is not None:
                self.broken.setdefault(rule, []).append((job, told))

    def messages(self) -> str:
        """Each broken rule with the smallest job that was found to break it."""
        return "\n".join(self._message(rule) for rule in self.broken)

    def _message(self, rule: Rule) -> str:
        found = self.broken[rule]

        def still(other: Json) -> bool:
            answer = self.asking.recommend(other)
            return answer is not None and first_broken(rule, self.asking, other, answer) is not None

        least = smaller(found[0][0], still, tries=TRIES)
        answer = self.asking.recommend(least)
        assert answer is not None
        told = first_broken(rule, self.asking, least, answer)
        return f"{rule.__name__}, {len(found)} times: {told} in the answer to {least}"


def first_broken(rule: Rule, asking: Asking, job: Json, answer: Json) -> str | None:
    """What breaks a rule, an answer that fails among it; None where nothing does."""
    try:
        return next(rule(asking, job, answer), None)
    except AssertionError as error:
        return str(error)


def check_rules(api: FlaskClient, count: int, *, part: int) -> None:
    run = Run(asking=Asking(api=api))

    @example(job=PAPER)
    @example(job=PLATE)
    @seed(part)
    @settings(EVERY, max_examples=count)
    @given(job=any_jobs)
    def each(job: Json) -> None:
        run.check(job)

    each()
    print(dict(run.counts))
    assert not run.broken, run.messages()
    # What is drawn must be able to break them.
    kinds = "suitable", "trial-needed", "unsuitable", "lists"
    assert min(run.counts[kind] for kind in kinds) >= count // 20, run.counts


@pytest.mark.parametrize("part", range(4))
def test_every_answer_keeps_the_rules(real_api: FlaskClient, part: int) -> None:
    """A hundred, in parts that the cores share."""
    check_rules(real_api, 25, part=part)


@pytest.mark.long
@pytest.mark.parametrize("part", range(4, 8))
def test_many_answers_keep_the_rules(real_api: FlaskClient, part: int) -> None:
    """Two thousand, likewise."""
    check_rules(real_api, 500, part=part)
