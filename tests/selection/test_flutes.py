"""The way the flutes run decides where a trial reads corrugated board."""

from __future__ import annotations

import pytest
from sheetmargin.contract.job import FluteDirection, Job, Sheet
from sheetmargin_service.errors import QuestionError
from sheetmargin_service.materials.corrugated import load_flutes
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.selection.recommend import recommend


@pytest.mark.parametrize(
    ("direction", "code"),
    [
        (None, "trial-flutes-unknown"),
        ("along-travel", "trial-flutes-along-travel"),
        ("across-travel", "trial-flutes-across-travel"),
    ],
)
def test_a_trial_reads_within_one_pitch_of_the_flutes(direction: FluteDirection | None, code: str) -> None:
    board = Sheet(construction="corrugated-e", flute_direction=direction)
    answer = recommend(Job(sheets=(board,)), catalogue=reference_catalogue(), library=load_library())
    told = [step for step in answer.trial if step.code.startswith("trial-flutes")]
    assert [(step.code, step.values["pitch_mm"]) for step in told] == [(code, load_flutes()["E"].pitch_mm.nominal)]


def test_a_sheet_without_flutes_has_no_direction_of_them() -> None:
    paper = Sheet(material="copy-paper", grammage_gsm=80, flute_direction="along-travel")
    with pytest.raises(QuestionError) as told:
        recommend(Job(sheets=(paper,)), catalogue=reference_catalogue(), library=load_library())
    assert (told.value.code, told.value.field) == ("not-applicable", "flute_direction")
