"""A list whose first choice takes several bands is told what one band would come to."""

from __future__ import annotations

from sheetmargin.contract.job import Controller, Job, Sheet
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.selection.one_band import why_several_bands
from sheetmargin_service.selection.recommend import rank

COATED = tuple(Sheet(material="coated-paper", grammage_gsm=float(gsm)) for gsm in (80, 300))


def plans(*classes: str, sheets: tuple[Sheet, ...] = COATED, **given: object) -> list:
    job = Job(sheets=sheets, classes=classes, **given)
    return list(rank(job, catalogue=reference_catalogue(), library=load_library()).plans)


def test_the_best_plan_with_one_band_is_told_with_its_chance_and_its_worst_sheet():
    found = plans("thickness-roller", "ultrasonic-400k")
    told = why_several_bands(found)
    assert len(found[0].configured_pairs) > 1
    assert told.code == "one-band-for-all"
    assert told.values["detector_class"] == "ultrasonic-400k"
    one = found[told.values["rank"] - 1]
    assert len(one.configured_pairs) == 1
    assert told.values["chance_pct"] == round(100 * one.chance)
    rates = one.configured_pairs[0].served[told.values["sheet"]].judgement.misreads
    assert told.values["high_ppm"] == getattr(rates, told.values["pair"]).high


def test_sheets_that_no_band_can_hold_are_told_by_what_they_read():
    told = why_several_bands(plans("thickness-roller"))
    assert told.code == "bands-apart"
    assert (told.values["sheet"], told.values["double_sheet"]) == (1, 0)
    # One heavy sheet is thicker than two light ones.
    assert told.values["single_p99"] > told.values["double_p1"]
    assert told.values["tilt_deg"] is None


def test_one_band_needs_no_word_nor_do_bands_that_a_controller_switches():
    assert why_several_bands(plans("thickness-roller", sheets=COATED[:1] * 2)) is None
    assert why_several_bands(plans("thickness-roller", controller=Controller(recipes=True))) is None
