"""Why the first choice for a list takes more than one band: what one band for all its sheets would come to."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sheetmargin_service.principles.protocol import Fact
from sheetmargin_service.selection.bands import DECIMALS
from sheetmargin_service.selection.class_result import ClassResult
from sheetmargin_service.selection.ranking import Plan, by_recipe


def why_several_bands(plans: Sequence[Plan]) -> Fact | None:
    """The best plan with one band for all sheets, and what is worst there. Where there is none, the sheets that keep
    the class of the fewest bands from it. None where one band serves, or a controller switches them."""
    first = plans[0]
    if len(first.configured_pairs) == 1 or by_recipe(first.configured_pairs[0].class_result.resolved_job):
        return None
    whole = [plan for plan in plans if plan.served == first.served]
    fewest = min(whole, key=lambda plan: len(plan.configured_pairs))
    pair = fewest.configured_pairs[0]
    if len(fewest.configured_pairs) > 1:
        return _apart(pair.class_result, [i for each in fewest.configured_pairs for i in each.served])
    return Fact(
        code="one-band-for-all",
        values={
            "detector_class": pair.class_result.detector_class.id,
            "rank": plans.index(fewest) + 1,
            "chance_pct": round(100.0 * fewest.chance),
            **fewest.deciding,
        },
    )


def _apart(class_result: ClassResult, sheets: Sequence[int]) -> Fact | None:
    """The heaviest reading of one sheet against the lightest of two, at the setting where they come nearest to leaving
    room for a band; None where they do leave it, or a class does not read all of the sheets."""
    tables = class_result.signal_tables
    if not set(sheets) <= tables.keys():
        return None
    single = np.stack([tables[i].single.p99 for i in sheets])
    double = np.stack([tables[i].double.p1 for i in sheets])
    room = np.where(class_result.allowed, double.min(axis=0) - single.max(axis=0), -np.inf)
    at = int(room.argmax())
    if room[at] > 0.0:
        return None
    heavy, light = int(single[:, at].argmax()), int(double[:, at].argmin())
    settings = class_result.class_model.settings
    return Fact(
        code="bands-apart",
        values={
            "detector_class": class_result.detector_class.id,
            "gap_mm": float(settings.gap_mm[at]),
            "tilt_deg": float(settings.tilt_deg[at]) if settings.tilts else None,
            "sheet": sheets[heavy],
            "single_p99": round(float(single[heavy, at]), DECIMALS),
            "double_sheet": sheets[light],
            "double_p1": round(float(double[light, at]), DECIMALS),
            "unit": class_result.principle.unit,
        },
    )
