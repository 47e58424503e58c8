"""Trials in worlds of their own: what a set-up misreads where what is not known of a job is drawn anew."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np
import pytest
from scipy.special import ndtri
from scipy.stats import qmc
from sheetmargin.contract.job import Job, Sheet
from sheetmargin.contract.trials import InstalledBand, Trial
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.measurement.predict import resolved_job_of
from sheetmargin_service.principles import draws
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.selection.class_result import distributions_at
from sheetmargin_service.selection.configured_pair import Served, build_configured_pair
from sheetmargin_service.selection.installation import class_of
from sheetmargin_service.selection.installed_class import choice_of, class_result_at
from sheetmargin_service.selection.targets import AS_SET

from support.forget import forget_draws

LIBRARY, CATALOGUE = load_library(), reference_catalogue()


def trial(place: tuple[str, float, float], band: tuple[int, int], **outcome: Any) -> Trial:
    name, gap_mm, tilt_deg = place
    return Trial(
        detector_class=name, gap_mm=gap_mm, tilt_deg=tilt_deg, band=InstalledBand(low=band[0], high=band[1]), **outcome
    )


def served(sheet: Sheet, at: Trial) -> Served:
    """The sheet at the set-up of a trial, by the trials that the sheet itself has."""
    resolved_job, _ = resolved_job_of(Job(sheets=(sheet,)), CATALOGUE, LIBRARY)
    detector_class = class_of(at.detector_class, CATALOGUE, field="")
    class_result = class_result_at(resolved_job, detector_class, at, field="")
    choice = choice_of(at, tilts=class_result.class_model.settings.tilts)
    (distributions,) = distributions_at([(class_result, choice.setting, [0])])
    band = at.band.low, at.band.high
    return build_configured_pair(class_result, choice.setting, distributions, choice=choice, band=band).served[0]


@contextmanager
def other_worlds(seed: int, *, set_anew: int | None = None) -> Iterator[None]:
    """What is not known is drawn by another seed; of the heads, by yet another where they are set anew."""
    table = _drawn(seed)
    if set_anew is not None:
        columns = [draws.UNKNOWNS.index(name) for name in AS_SET]
        table[:, columns] = _drawn(set_anew)[:, columns]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(draws, "_table", lambda: table)
        forget_draws()
        yield
    forget_draws()


def _drawn(seed: int) -> np.ndarray:
    points = qmc.Sobol(d=len(draws.UNKNOWNS), scramble=True, rng=np.random.default_rng(seed)).random(draws.COUNT)
    return np.clip(ndtri(points), -draws.REACH, draws.REACH)
