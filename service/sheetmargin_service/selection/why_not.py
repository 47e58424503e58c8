"""Why a pair cannot serve a sheet."""

from __future__ import annotations

from dataclasses import replace

from sheetmargin.contract.mounting import Timing

from sheetmargin_service.principles.protocol import Fact, Scalar, SignalTable
from sheetmargin_service.selection.bands import DECIMALS, Bands, choose_bands
from sheetmargin_service.selection.class_result import ClassResult
from sheetmargin_service.selection.configured_pair import ConfiguredPair
from sheetmargin_service.selection.failure_modes import cause
from sheetmargin_service.selection.resolved_job import ResolvedJob
from sheetmargin_service.selection.search import receiver_at
from sheetmargin_service.selection.targets import ORDER


def why_not(configured_pair: ConfiguredPair, index: int) -> Fact:
    """Why a pair cannot serve a sheet: the classic failure there is, or else that the line is too fast for it, or
    else the target it misses."""
    served = configured_pair.served[index]
    receiver = receiver_at(configured_pair.class_result.class_model.receiver, configured_pair.choice.setting)
    alone = choose_bands([served.signal_table], receiver, step=configured_pair.class_result.principle.band_step)
    if round(float(alone.worst[0]), DECIMALS) <= 0.0:
        return in_words_of(configured_pair.class_result, cause(served.signal_table, receiver, alone))
    if served.worst <= 0.0 and len(configured_pair.served) > 1:
        alone_margin = round(float(alone.worst[0]), DECIMALS)
        unit = configured_pair.class_result.principle.unit
        return Fact(code="no-common-band", values={"margin_alone": alone_margin, "unit": unit})
    if served.timing.fits is False:
        return Fact(
            code="line-too-fast", values=timing_values(served.timing, configured_pair.class_result.resolved_job)
        )
    judgement = served.judgement
    return Fact(
        code="target-missed",
        values={
            "pair": judgement.pair,
            "low_ppm": judgement.misread.low,
            "high_ppm": judgement.misread.high,
            "target_ppm": judgement.target_ppm,
        },
    )


def in_words_of(class_result: ClassResult, fact: Fact) -> Fact:
    """A classic failure with the unit of its readings, as it is told of single sheets, or of a stream: so many sheets
    where one would be, and one more for two."""
    fact = replace(fact, values={**fact.values, "unit": class_result.principle.unit})
    stream = class_result.resolved_job.stream
    if stream is None:
        return fact
    counts = {"fewest": stream.fewest, "most": stream.most, "one_more": stream.most + 1}
    return Fact(code=f"stream-{fact.code}", values={**counts, **fact.values})


def timing_values(timing: Timing, resolved_job: ResolvedJob) -> dict[str, Scalar]:
    """What of the line's clock limits a set-up, and how fast the line runs."""
    limit = timing.limit
    assert limit is not None
    speed, most = resolved_job.job.line.speed_m_per_min, timing.plies_most
    stream = {} if most is None else {"most": most, "one_more": most + 1}
    return {"speed_m_per_min": speed, "limit": limit.code, **limit.values, **stream}


def hopeless(signal_table: SignalTable, bands: Bands, *, setting: int) -> bool:
    """Whether, by its signals with a band of its own, a sheet overlaps by more than half its own spread: no need to
    compute it in full."""
    spread = float(signal_table.single.p99[setting] - signal_table.single.p1[setting])
    return float(bands.worst[setting]) < -0.5 * spread


def unfit(configured_pair: ConfiguredPair) -> list[int]:
    """Sheets that the pair cannot serve, the worst first."""
    served = configured_pair.served
    bad = [i for i in served if served[i].timing.fits is False or served[i].judgement.verdict == "unsuitable"]
    if len(bad) < 2:
        return bad
    return sorted(
        bad, key=lambda i: (-ORDER[served[i].judgement.verdict], -served[i].judgement.ratio, served[i].worst, -i)
    )
