"""Plans for a job: each class by itself for one sheet; for a list also the fewest that serve it together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import chain

import numpy as np

from sheetmargin_service.principles import detector_values
from sheetmargin_service.principles.protocol import Fact, Receiver, SignalDistribution, SignalTable
from sheetmargin_service.selection.bands import Bands, choose_bands
from sheetmargin_service.selection.class_result import ClassResult, distributions_at
from sheetmargin_service.selection.configured_pair import ConfiguredPair, build_configured_pair, without
from sheetmargin_service.selection.failure_modes import cause
from sheetmargin_service.selection.list_cover.candidates import Candidates
from sheetmargin_service.selection.list_cover.changeovers import cheapest_run
from sheetmargin_service.selection.list_cover.class_sets import together
from sheetmargin_service.selection.list_cover.cover import covers
from sheetmargin_service.selection.list_cover.options import list_of
from sheetmargin_service.selection.ranking import Plan
from sheetmargin_service.selection.search import Search, Sharing, receiver_at
from sheetmargin_service.selection.slack import slack_of
from sheetmargin_service.selection.targets import ORDER, chance_band
from sheetmargin_service.selection.why_not import hopeless, in_words_of, unfit, why_not

MOST_TRIED = 3
NARROWLY, NEARER = 0.5, 0.05
"""So many settings of a class are looked at in full for a sheet, as long as misreads are at most this power of ten
above a target and come nearer to it by that one (choices: further off, another setting was hardly ever seen to meet
it, and each costs as much)."""
MOST_CORNERS = 3
"""So many more are looked at where none serves the sheet."""
MOST_LOOKED_AT = 1000
"""Sheets that all classes together are looked at for in full (a choice, likewise): all that there are, but for a long
list before a large catalogue."""
Assignment = Sequence[int | None]
"""The row of the candidates for each sheet."""
Group = tuple[int, Sequence[int]]
"""A setting with some sheets by their index."""
Alone = tuple[ClassResult, int]
"""A class and one of the sheets."""


def plans_for_sheet(class_results: Sequence[ClassResult]) -> list[Plan | Fact]:
    """For a job of one sheet, each class by itself, or why it cannot serve it."""
    found = each_alone([(class_result, 0) for class_result in class_results])
    return [one if isinstance(one, Fact) else plan_of(one) for one in found]


def each_alone(asked: Sequence[Alone]) -> list[ConfiguredPair | Fact]:
    """Classes, each at the best setting for one of the sheets by itself, whether or not it serves it there; or why
    there is no need to look further.

    Settings are found to first order. Where one then narrowly misses a target in full, others are tried as long as that
    helps, up to `MOST_TRIED` in all. Where none that can be set by hand serves the sheet, the one with the greatest
    margin may still: its band is then proved in a trial.
    """
    found = [_setting(class_result, index) for class_result, index in asked]
    searches = {row: one for row, one in enumerate(found) if isinstance(one, Search)}
    tries = {row: chain([one.best], one.others()) for row, one in searches.items()}
    best: dict[int, ConfiguredPair] = {}
    for _ in range(MOST_TRIED):
        settings = {row: at for row, left in tries.items() if (at := next(left, None)) is not None}
        for row, configured_pair in _configured_pairs_at(asked, settings):
            before, search = best.get(row), searches[row]
            if before is None or _better(configured_pair, before):
                best[row] = configured_pair
            if not _worth_more(configured_pair, before, search):
                del tries[row]
            elif _excess(configured_pair) <= 0.0:
                again = search.with_band(settings[row], (configured_pair.low, configured_pair.high))
                tries[row] = chain([again.best] * (again.best != settings[row]))
    by_margin = {row: s.by_margin for row, s in searches.items() if s.by_margin != s.best and unfit(best[row])}
    best |= {
        row: configured_pair
        for row, configured_pair in _configured_pairs_at(asked, by_margin)
        if _better(configured_pair, best[row])
    }
    corners = {row: iter(searches[row].corners()) for row, pair in best.items() if _missed_everywhere(pair)}
    for _ in range(MOST_CORNERS):
        left = (row for row in corners if _missed_everywhere(best[row]))
        settings = {row: at for row in left if (at := next(corners[row], None)) is not None}
        for row, configured_pair in _configured_pairs_at(asked, settings):
            if _better(configured_pair, best[row]):
                best[row] = configured_pair
    return [one if isinstance(one, Fact) else best[row] for row, one in enumerate(found)]


def _missed_everywhere(configured_pair: ConfiguredPair) -> bool:
    """Whether a sheet's targets, and not the line's clock, are what a set-up does not serve."""
    (served,) = configured_pair.served.values()
    return served.judgement.verdict == "unsuitable" and served.timing.fits is not False


def _configured_pairs_at(asked: Sequence[Alone], settings: Mapping[int, int]) -> list[tuple[int, ConfiguredPair]]:
    """Some of the rows of `asked`, each at a setting."""
    found = distributions_at([(asked[row][0], at, [asked[row][1]]) for row, at in settings.items()])
    return [
        (row, build_configured_pair(asked[row][0], settings[row], one))
        for row, one in zip(settings, found, strict=True)
    ]


def _setting(class_result: ClassResult, index: int) -> Search | Fact:
    """The settings for one of the sheets by itself, or why there is no need to look further."""
    if index in class_result.refused:
        return class_result.refused[index]
    search = _best_alone(class_result, index)
    if hopeless(class_result.signal_tables[index], search.groups[0].bands, setting=search.best):
        return in_words_of(class_result, cause(*_at(class_result, index, search.best)))
    return search


def _at(class_result: ClassResult, index: int, setting: int) -> tuple[SignalTable, Receiver, Bands]:
    """One sheet and the receiver at a setting, and the band that suits the sheet there by itself."""
    signal_table, receiver = (
        class_result.signal_tables[index].at(setting),
        receiver_at(class_result.class_model.receiver, setting),
    )
    return signal_table, receiver, choose_bands([signal_table], receiver, step=class_result.principle.band_step)


def _best_alone(class_result: ClassResult, index: int) -> Search:
    """The settings for one of the sheets by itself."""
    return _settled(class_result, [[index]])


def _better(one: ConfiguredPair, other: ConfiguredPair) -> bool:
    """Whether a set-up for a sheet is to be preferred to one that misses a target: by its verdict, then by its chance
    in bands, then by a margin that is greater by more than a step."""
    mine, others = _standing(one), _standing(other)
    return mine < others or (mine == others and one.worst > other.worst + one.class_result.principle.band_step)


def _standing(configured_pair: ConfiguredPair) -> tuple[int, int]:
    """How good a set-up for one sheet is: its verdict, and its chance in bands."""
    (served,) = configured_pair.served.values()
    return ORDER[served.judgement.verdict], chance_band(served.judgement.chance)


def _excess(configured_pair: ConfiguredPair) -> float:
    (served,) = configured_pair.served.values()
    return served.judgement.high_excess


def _worth_more(configured_pair: ConfiguredPair, before: ConfiguredPair | None, search: Search) -> bool:
    """Whether to try another setting after one and the best before it: where the targets are narrowly missed and came
    nearer, or where they are met but the setting cannot be set by hand and others can."""
    excess = _excess(configured_pair)
    if configured_pair.timing.fits is False:
        return False
    if excess <= 0.0:
        return configured_pair.narrow is not None and search.can_be_set
    if excess > NARROWLY:
        return False
    return before is None or excess < _excess(before) - NEARER


def plan_of(configured_pair: ConfiguredPair) -> Plan | Fact:
    return (
        why_not(configured_pair, 0)
        if unfit(configured_pair)
        else Plan(configured_pairs=(configured_pair,), left_out={})
    )


def plans_for_list(class_results: Sequence[ClassResult]) -> tuple[list[Plan], dict[str, Fact]]:
    """For a list, each class by itself, then several together where those serve more sheets or better; and why some
    classes have no plan.

    What a class can do by itself is the same whatever others there are. Of each plan those sheets are left out that its
    classes do not serve; where no class serves one, for the reason of the class that comes nearest.
    """
    looked_at, others = _looked_at(class_results)
    alone = _with_what_each_serves_alone(list(zip(looked_at, _alone_for_list(looked_at), strict=True)))
    served = {i for _, plan in alone for configured_pair in plan.configured_pairs for i in configured_pair.served}
    missing: dict[int, Fact] = {}
    for i in range(len(class_results[0].resolved_job.sheets)):
        if i not in served:
            each = [nearness(class_result, i)[0] for class_result, _ in alone]
            missing[i] = alone[int(np.argmax(each))][1].left_out[i]
    useful = [plan for _, plan in alone if plan.configured_pairs]
    plans = [replace(plan, left_out=plan.left_out | missing) for plan in (*useful, *together(useful))]
    failed = {
        class_result.detector_class.id: _useless(class_result, plan)
        for class_result, plan in alone
        if not plan.configured_pairs
    }
    return plans, failed | others


def _looked_at(class_results: Sequence[ClassResult]) -> tuple[list[ClassResult], dict[str, Fact]]:
    """The classes that are looked at in full, and why not the others: those that come nearest to serving one of the
    sheets first, then the next, as far as the sheets that they may serve are not too many together."""
    count = len(class_results[0].resolved_job.sheets)
    if sum(len(class_result.signal_tables) for class_result in class_results) <= MOST_LOOKED_AT:
        return list(class_results), {}
    each = np.array([[nearness(class_result, i)[0] for i in range(count)] for class_result in class_results])
    order = list(dict.fromkeys(np.argsort(-each, axis=0, kind="stable").ravel().tolist()))
    serves = (each > 0.0).sum(axis=1)
    near = np.cumsum(serves[order]) <= max(MOST_LOOKED_AT, serves[order[0]])
    chosen = {number for number, is_near in zip(order, near.tolist(), strict=True) if is_near}
    others = {
        class_result.detector_class.id: Fact(code="not-needed", values={"sheets": int(serves[number]), "of": count})
        for number, class_result in enumerate(class_results)
        if number not in chosen
    }
    return [class_result for number, class_result in enumerate(class_results) if number in chosen], others


def _useless(class_result: ClassResult, plan: Plan) -> Fact:
    """Why a class serves no sheet of a list: what stops it at the one that it comes nearest to serving."""
    index = max(plan.left_out, key=lambda i: (nearness(class_result, i)[0], -i))
    fact = plan.left_out[index]
    return Fact(code=fact.code, values={"sheet": index, **fact.values})


def _alone_for_list(class_results: Sequence[ClassResult]) -> list[Plan]:
    """Each class for as many sheets of a list as margins to first order let it serve: with the fewest positions and
    profiles, or, of a list in a given order, with the fewest changes."""
    drafts = {row: _Draft(class_result) for row, class_result in enumerate(class_results)}
    plans: dict[int, Plan] = {}
    while len(plans) < len(drafts):
        left = {row: draft for row, draft in drafts.items() if row not in plans}
        # For all classes together, so that they share the waves in a sheet.
        distributions_at([(one.class_result, setting, group) for one in left.values() for setting, group in one.groups])
        plans |= {row: plan for row, draft in left.items() if (plan := draft.plan()) is not None}
    return [plans[row] for row in drafts]


def _with_what_each_serves_alone(plans: Sequence[tuple[ClassResult, Plan]]) -> list[tuple[ClassResult, Plan]]:
    """Plans of one class each, with those of the sheets they leave out that the class serves when it is asked for them
    alone: in a position that the plan has already, where that is as good for the sheet, or in its own."""
    pairs = {row: list(plan.configured_pairs) for row, (_, plan) in enumerate(plans)}
    # Sheet by sheet, as what passes through the one in hand is kept.
    for i in range(len(plans[0][0].resolved_job.sheets)):
        rows = [row for row, (_, plan) in enumerate(plans) if i in plan.left_out]
        found = zip(rows, each_alone([(plans[row][0], i) for row in rows]), strict=True)
        useful = {row: own for row, own in found if isinstance(own, ConfiguredPair) and not unfit(own)}
        distributions_at([(plans[row][0], pairs[row][0].choice.setting, [i]) for row in useful if pairs[row]])
        for row, own in useful.items():
            class_result = plans[row][0]
            there = (
                build_configured_pair(class_result, setting, distributions_at([(class_result, setting, [i])])[0])
                for setting in dict.fromkeys(pair.choice.setting for pair in pairs[row])
            )
            as_good = (pair for pair in there if not unfit(pair) and _standing(pair) <= _standing(own))
            pairs[row].append(next(as_good, own))
    return [(class_result, _plan_with(pairs[row], plan.left_out)) for row, (class_result, plan) in enumerate(plans)]


def _plan_with(configured_pairs: Sequence[ConfiguredPair], left_out: Mapping[int, Fact]) -> Plan:
    """The plan of some pairs of one class, those of one position next to each other, and what is still left out."""
    served = {i for configured_pair in configured_pairs for i in configured_pair.served}
    order = list(dict.fromkeys(pair.choice.setting for pair in configured_pairs))
    merged = sorted(_merged(configured_pairs), key=lambda pair: order.index(pair.choice.setting))
    return Plan(configured_pairs=tuple(merged), left_out={i: fact for i, fact in left_out.items() if i not in served})


def _assignment(candidates: Candidates, *, ordered: bool) -> Assignment:
    """The best way to serve a list."""
    found = None
    if len(candidates.margin):
        found = cheapest_run(candidates) if ordered else next(covers(candidates, limit=1), None)
    return [None] * candidates.margin.shape[1] if found is None else found.assignment


class _Draft:
    """A class for as many sheets of a list as it may serve, before they are looked at in full: a row of its candidates
    for each sheet."""

    def __init__(self, class_result: ClassResult) -> None:
        self.class_result = class_result
        self._listed = list_of(class_result)
        self._assignment = _assignment(self._listed.candidates, ordered=class_result.resolved_job.job.keep_sequence)
        self._left_out = {i: nearness(class_result, i)[1] for i, row in enumerate(self._assignment) if row is None}
        self._alone: dict[tuple[int, int], ConfiguredPair] = {}
        self.groups = self._grouped()

    def plan(self) -> Plan | None:
        """The pairs of the groups. A sheet that turns out not to be served has no say in where the others' pair stands:
        it is left out, and where others are left these are grouped anew, for another look; None then."""
        configured_pairs: list[ConfiguredPair] = []
        found = distributions_at([(self.class_result, setting, group) for setting, group in self.groups])
        missed: dict[int, Fact] = {}
        for (setting, _), distributions in zip(self.groups, found, strict=True):
            serving, failed = _configured_pairs(self.class_result, setting, distributions, self._alone)
            configured_pairs += serving
            missed |= failed
        self._left_out |= missed
        if missed and configured_pairs:
            self._assignment = [None if i in missed else row for i, row in enumerate(self._assignment)]
            self.groups = self._grouped()
            return None
        return _plan_with(configured_pairs, self._left_out)

    def _grouped(self) -> list[Group]:
        """The sheets of each row of the assignment at its setting, those of one position next to each other; a position
        that is the only one is settled by the sheets that stand there."""
        options, assignment = self._listed.options, self._assignment
        rows = sorted({row for row in assignment if row is not None})
        positions = list(dict.fromkeys(options[row].setting for row in rows))
        found: list[Group] = []
        for setting in positions:
            groups = [
                [i for i, r in enumerate(assignment) if r == row] for row in rows if options[row].setting == setting
            ]
            at = _settled(self.class_result, groups).best if len(positions) == 1 else setting
            found += [(at, group) for group in groups]
        return found


def _configured_pairs(
    class_result: ClassResult,
    setting: int,
    distributions: Mapping[int, SignalDistribution],
    alone: dict[tuple[int, int], ConfiguredPair],
    *,
    wanted: int | None = None,
) -> tuple[list[ConfiguredPair], dict[int, Fact]]:
    """A pair at a setting for some sheets, in one band or as many as their verdicts ask for, and why the rest cannot be
    served.

    The fewest bands are found by margins above 0. That must not cost the verdict: two plates of nearly one thickness
    would share a band that surely tells neither, where each has one of its own. `wanted` is the verdict that all can
    have each in a band of its own, that of the worst sheet. Sheets that miss it leave the shared band; where all of
    them do, they are parted where their levels are furthest apart, so that what reads alike stays together.
    """

    def own(i: int) -> ConfiguredPair:
        if (setting, i) not in alone:
            alone[setting, i] = build_configured_pair(class_result, setting, {i: distributions[i]})
        return alone[setting, i]

    if len(distributions) == 1:
        shared = own(*distributions)
    else:
        shared = build_configured_pair(class_result, setting, distributions)
    bad = unfit(shared)
    wanting = [i for i, served in shared.served.items() if i in bad or served.judgement.verdict != "suitable"]
    if len(distributions) == 1 or not wanting:
        failed = {i: _told(shared, i) for i in bad}
        return [] if failed else [shared], failed
    failed = {i: _told(own(i), i) for i in bad if unfit(own(i))}
    left = [i for i in wanting if i not in failed]
    if wanted is None:
        # Those first whose own band is known already: one that is no better than a trial decides.
        known_first = sorted(left, key=lambda i: i not in bad)
        by_trial = any(_verdict(own(i), i) != ORDER["suitable"] for i in known_first)
        wanted = ORDER["trial-needed" if by_trial else "suitable"]
    better = [i for i in left if _verdict(shared, i) > wanted]
    leaving = {*failed, *better}
    if len(leaving) < len(distributions):
        found, groups = [without(shared, list(leaving))], [better]
    else:
        level = {i: float(shared.served[i].signal_table.single.p50[0]) for i in better}
        better.sort(key=lambda i: (level[i], i))
        cut = max(range(1, len(better)), key=lambda at: level[better[at]] - level[better[at - 1]], default=0)
        found, groups = [], [better[:cut], better[cut:]]
    for group in filter(None, groups):
        configured_pairs, unserved = _configured_pairs(
            class_result, setting, {i: distributions[i] for i in group}, alone, wanted=wanted
        )
        found += configured_pairs
        failed |= unserved
    return found, failed


def _verdict(configured_pair: ConfiguredPair, index: int) -> int:
    return ORDER[configured_pair.served[index].judgement.verdict]


def _told(configured_pair: ConfiguredPair, index: int) -> Fact:
    """Why a class does not serve a sheet, with its name."""
    fact = why_not(configured_pair, index)
    return replace(fact, values={**detector_values(configured_pair.class_result.detector_class), **fact.values})


def _merged(configured_pairs: Sequence[ConfiguredPair]) -> list[ConfiguredPair]:
    """Stations of one class, those of one setting and one band as the one set-up that they are."""
    alike: dict[tuple[int, int, int], list[ConfiguredPair]] = {}
    for configured_pair in configured_pairs:
        alike.setdefault((configured_pair.choice.setting, configured_pair.low, configured_pair.high), []).append(
            configured_pair
        )
    merged = []
    for (setting, *band), group in alike.items():
        distributions = {
            i: served.distribution for configured_pair in group for i, served in configured_pair.served.items()
        }
        one = (
            group[0]
            if len(group) == 1
            else build_configured_pair(group[0].class_result, setting, distributions, band=(band[0], band[1]))
        )
        merged.append(one)
    return merged


def _settled(class_result: ClassResult, groups: Sequence[Sequence[int]]) -> Search:
    """The settings for groups of sheets that share one, a band for each."""
    step, receiver = class_result.principle.band_step, class_result.class_model.receiver
    sharing = tuple(
        Sharing(signal_tables={i: class_result.signal_tables[i] for i in group}, receiver=receiver, step=step)
        for group in groups
    )
    return Search(
        class_model=class_result.class_model,
        groups=sharing,
        allowed=class_result.allowed,
        step=step,
        slack=slack_of(class_result),
    )


def nearness(class_result: ClassResult, index: int) -> tuple[float, Fact]:
    """The margin of a class and a sheet by themselves, as a multiple of one sheet's own spread so that those of several
    principles compare, and what limits it."""
    if index not in class_result.signal_tables:
        return -np.inf, class_result.refused[index]
    if index not in class_result.alone:
        signal_table, receiver, bands = _at(class_result, index, _best_alone(class_result, index).best)
        spread = float(signal_table.single.p99[0] - signal_table.single.p1[0])
        why = in_words_of(class_result, cause(signal_table, receiver, bands))
        fact = Fact(code=why.code, values={**detector_values(class_result.detector_class), **why.values})
        class_result.alone[index] = float(bands.worst[0]) / max(spread, 1e-9), fact
    return class_result.alone[index]
