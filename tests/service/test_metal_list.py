"""A list of plates: each thickness has a band of its own, as recipes of one position, and eddy current is offered."""

from __future__ import annotations

from functools import cache

import pytest
from sheetmargin.contract.job import Job, Targets
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.selection.recommend import recommend
from sheetmargin_service.selection.targets import ORDER

CATALOGUE, LIBRARY = reference_catalogue(), load_library()
EDDY = "eddy-current-10k"
PLATES = (120, 150, 200, 280, 300, 400, 500, 1000)


def aluminium(*thicknesses_um):
    return tuple(SheetSpec(material="aluminium", thickness_um=float(t)) for t in thicknesses_um)


@cache
def answer(*sheets, **job):
    """Asked once, whichever tests look at it."""
    return recommend(Job(sheets=sheets, **job), catalogue=CATALOGUE, library=LIBRARY)


def by_class(found):
    return {tuple({s.detector_class.id for s in r.setups}): r for r in found.recommendations}


def test_a_class_that_serves_every_plate_is_offered():
    found = answer(*aluminium(*PLATES))
    eddy = by_class(found)[EDDY,]
    assert eddy.verdict == "suitable"
    assert sorted(sheet.index for sheet in eddy.sheets) == list(range(len(PLATES)))
    # One position and a recipe for each band: nothing is moved between the plates.
    assert len({s.geometry.gap_mm.nominal for s in eddy.setups}) == 1
    assert eddy.changeovers.geometry == 0


@pytest.mark.parametrize("pair", [(280, 300), (100, 150), (400, 500)])
def test_plates_share_a_band_only_where_that_costs_neither_its_verdict(pair):
    alone = [answer(sheet, classes=(EDDY,)).verdict for sheet in aluminium(*pair)]
    together = answer(*aluminium(*pair), classes=(EDDY,)).verdict
    assert ORDER[together] == max(ORDER[verdict] for verdict in alone)


def test_a_band_of_its_own_that_does_not_better_the_list_is_not_bought():
    """Both are a trial by themselves: together too, and then in one band."""
    papers = (
        SheetSpec(material="copy-paper", grammage_gsm=80.0),
        SheetSpec(material="offset-paper", grammage_gsm=100.0),
    )
    # Up to 33 doubles in a million have no air between them.
    asked = {"classes": ("ultrasonic-400k",), "targets": Targets(double_as_single=20.0)}
    assert {answer(paper, **asked).verdict for paper in papers} == {"trial-needed"}
    best = answer(*papers, **asked).recommendations[0]
    assert (best.verdict, len(best.setups)) == ("trial-needed", 1)


def test_papers_still_share_one_set_up_and_one_band():
    papers = [SheetSpec(material="copy-paper", grammage_gsm=gsm) for gsm in (60.0, 80.0, 100.0)]
    best = answer(*papers, principles=("ultrasonic",)).recommendations[0]
    assert len(best.setups) == 1


def test_a_class_that_ranks_better_is_not_cut_off_by_the_limit():
    sheets = aluminium(*PLATES)
    first = [sorted({s.detector_class.id for s in r.setups}) for r in answer(*sheets, limit=20).recommendations]
    cut = [sorted({s.detector_class.id for s in r.setups}) for r in answer(*sheets).recommendations]
    assert 1 < len(cut) < len(first)
    assert cut == first[: len(cut)]
