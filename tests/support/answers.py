"""A stand-in for the physics in tests of the transport: an answer at once, with every part of its shape filled."""

from __future__ import annotations

import dataclasses
import types
from collections.abc import Mapping, Sequence
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

from sheetmargin.contract.answer import Answer, Percentiles
from sheetmargin.contract.job import Job, Sheet
from sheetmargin.contract.notes import Assumption, Note, Reason
from sheetmargin_service.api.views.probes import STORED_DB
from sheetmargin_service.detectors.catalogue import Catalogue
from sheetmargin_service.materials.library import Library


class CountingRecommend:
    """Answers every job with the same filled answer; `calls` are the jobs that it was asked."""

    def __init__(self) -> None:
        self.calls: list[Job] = []

    def __call__(self, job: Job, *, catalogue: Catalogue, library: Library) -> Answer:
        self.calls.append(job)
        none, one, two = STORED_DB
        return dataclasses.replace(
            answer_of(none=none, one=one, two=two), reference=job.reference, catalogue_version=catalogue.version
        )


def answer_of(*, none: float, one: float, two: float) -> Answer:
    """A filled answer with these levels of the three states."""
    answer: Answer = filled(Answer)
    best = answer.recommendations[0]
    levels = {"no_sheet": none, "single": one, "double": two}
    spans = {state: Percentiles(p1=level, p50=level, p99=level) for state, level in levels.items()}
    result = dataclasses.replace(best.sheets[0], signal=dataclasses.replace(best.sheets[0].signal, **spans))
    return dataclasses.replace(answer, recommendations=(dataclasses.replace(best, sheets=(result,)),))


def filled(kind: Any) -> Any:
    """A value of a type with nothing left out: each optional present, each list of one, each number -1234.56789."""
    if dataclasses.is_dataclass(kind):
        if kind is Job:
            return Job(sheets=(Sheet(material="copy-paper", grammage_gsm=80),))
        if kind in (Note, Reason, Assumption):
            more = {"source": "typical", "pointer": "/line/flutter_mm", "value": 1.0}
            names = {field.name for field in dataclasses.fields(kind)}
            values = {"value": 1.0} | ({} if "pointer" in names else {"pointer": more["pointer"]})
            return kind(code="default", values=values, **{name: more[name] for name in more.keys() & names})
        hints = get_type_hints(kind)
        values = {field.name: filled(hints[field.name]) for field in dataclasses.fields(kind)}
        for field in dataclasses.fields(kind):
            if "fewest" in field.metadata:
                values[field.name] *= field.metadata["fewest"]
        values |= {name: 0 for name in ("index", "setup") if name in values and hints[name] is int}
        if "code" in values:
            values |= {"code": "behind-by-effort", "values": {"above": 1, "own": 3, "other": 2}}
        return kind(**values)
    origin, arguments = get_origin(kind), get_args(kind)
    if origin in (Union, types.UnionType):
        return filled(next(a for a in arguments if a is not types.NoneType))
    if origin is Literal:
        return arguments[0]
    if origin is Sequence:
        return (filled(arguments[0]),)
    if origin is Mapping:
        return {}
    return {str: "text", int: 3, float: -1234.56789, bool: True}[kind]
