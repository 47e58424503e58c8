"""What would be read: the same as a recommendation tells, at any setting, and over grids."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from sheetmargin.contract.job import Job
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin.contract.measure import (
    Grid,
    InstalledBand,
    InstalledProfile,
    InstalledSetup,
    Prediction,
    PredictionQuestion,
)
from sheetmargin_service.errors import QuestionError
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.measurement.predict import predict
from sheetmargin_service.principles import principles
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.selection.recommend import recommend
from support.measurement_cases import COPY_PAPER

PAIR = InstalledSetup(detector_class="ultrasonic-400k", gap_mm=26.0)
FLAT = InstalledSetup(detector_class="capacitive-200k", gap_mm=3.0)
RINGING = InstalledSetup(detector_class="ultrasonic-220k-continuous", gap_mm=40.0)


NO_GRID = Grid()


def at_band(low: int, high: int, hold_ms: float | None = None) -> InstalledProfile:
    return InstalledProfile(band=InstalledBand(low=low, high=high), hold_ms=hold_ms)


PROFILES = (InstalledProfile(), at_band(20, 46))


def predicted(setup: InstalledSetup, *, grid: Grid = NO_GRID) -> Prediction:
    resolved_job = PredictionQuestion(sheet=COPY_PAPER, setup=setup, grid=grid)
    return predict(resolved_job, job=Job(sheets=(COPY_PAPER,)), catalogue=reference_catalogue(), library=load_library())


@pytest.mark.parametrize("principle", sorted(principles()))
def test_every_principle_is_predicted_at_both_ends_of_its_gaps(principle: str) -> None:
    catalogue, library = reference_catalogue(), load_library()
    detector_class = next(c for c in catalogue.classes if c.principle == principle)
    metal = SheetSpec(material="steel", thickness_um=300.0)
    sheet = metal if principle.startswith("eddy-current") else COPY_PAPER
    least, most = principles()[principle].gap_limits_mm(detector_class.parameters)
    for gap_mm in sorted({least, most}):
        setup = InstalledSetup(detector_class=detector_class.id, gap_mm=gap_mm)
        asked = PredictionQuestion(sheet=sheet, setup=setup, grid=Grid(gap_mm=(least, most), tilt_deg=(0.0,)))
        found = predict(asked, job=Job(sheets=(sheet,)), catalogue=catalogue, library=library)
        signal = found.predicted.sheets[0].signal
        assert signal.unit == principles()[principle].unit
        assert signal.no_sheet.p50 < signal.single.p50 < signal.double.p50
        assert found.gap_tilt is not None
        row = found.gap_tilt.single[(least, most).index(gap_mm)]
        assert row[0] == pytest.approx(signal.single.p50, abs=0.11)


@pytest.mark.parametrize("name", ["ultrasonic-400k", "capacitive-200k", "thickness-laser"])
def test_a_recommended_set_up_is_predicted_as_it_was_recommended(name: str) -> None:
    job = Job(sheets=(COPY_PAPER,), classes=(name,))
    best = recommend(job, catalogue=reference_catalogue(), library=load_library()).recommendations[0]
    setup = best.setups[0]
    tilt = setup.geometry.tilt_deg
    found = predicted(
        InstalledSetup(
            detector_class=name,
            gap_mm=setup.geometry.gap_mm.nominal,
            tilt_deg=tilt.nominal if tilt else 0.0,
            profile=at_band(setup.profile.band.low, setup.profile.band.high),
        )
    ).predicted
    assert found.verdict == best.verdict
    mine, its = found.sheets[0], best.sheets[0]
    for state in ("no_sheet", "single", "double"):
        assert vars(getattr(mine.signal, state)) == pytest.approx(vars(getattr(its.signal, state)), abs=0.15)
    assert mine.margin.double == pytest.approx(its.margin.double, abs=0.15)


@pytest.mark.parametrize(
    ("board", "principles"),
    [
        # The gap of an answer is rounded to a tenth, and so is the one that its levels are of.
        (SheetSpec(material="greyboard", thickness_um=800.0), ("capacitive", "eddy-current", "optical")),
        # Even over the band at some settings and not at others: told of all of them, whatever is asked for.
        (SheetSpec(material="artificial-leather", grammage_gsm=900.0), ("ultrasonic",)),
        (SheetSpec(material="phenolic-paper", thickness_um=1280.0), ("ultrasonic",)),
    ],
)
def test_a_set_up_reads_as_told_where_it_is_told(board: SheetSpec, principles: tuple[str, ...]) -> None:
    job = Job(sheets=(board,), principles=principles, limit=20)
    ranked = recommend(job, catalogue=reference_catalogue(), library=load_library()).recommendations
    assert ranked
    for best in ranked:
        setup = best.setups[0]
        here = InstalledSetup(
            detector_class=setup.detector_class.id,
            gap_mm=round(setup.geometry.gap_mm.nominal, 1),
            tilt_deg=setup.geometry.tilt_deg.nominal if setup.geometry.tilt_deg else 0.0,
            profile=at_band(setup.profile.band.low, setup.profile.band.high),
        )
        resolved_job = PredictionQuestion(sheet=board, setup=here)
        found = predict(
            resolved_job, job=Job(sheets=(board,)), catalogue=reference_catalogue(), library=load_library()
        ).predicted
        assert found.sheets[0].signal == best.sheets[0].signal
        assert found.sheets[0].margin == best.sheets[0].margin


def test_a_place_between_those_that_are_searched() -> None:
    low, middle, high = (
        predicted(replace(PAIR, gap_mm=gap)).predicted.sheets[0].signal.single.p50 for gap in (24.0, 25.3, 27.0)
    )
    assert min(low, high) - 0.2 <= middle <= max(low, high) + 0.2


def test_a_band_that_is_given_is_taken_and_a_hold_is_echoed() -> None:
    setup = predicted(replace(PAIR, profile=at_band(20, 46, hold_ms=33.0))).predicted.setups[0]
    assert (setup.profile.band.low, setup.profile.band.high) == (20, 46)
    assert setup.profile.hold_ms == 33.0


def test_a_band_that_holds_no_stock_is_unsuitable() -> None:
    """Below the first percentile of one sheet no stock is read as one; at the median up to half of all may be."""
    narrow, half = (predicted(replace(PAIR, profile=at_band(20, high))).predicted for high in (42, 46))
    level = narrow.sheets[0].signal.single
    assert level.p1 > 42.0
    assert abs(level.p50 - 46.0) < 1.0
    assert (narrow.verdict, narrow.chance) == ("unsuitable", 0.0)
    assert 0.05 <= half.chance < 0.5
    assert half.verdict == "trial-needed"


def test_the_map_has_the_place_in_it() -> None:
    grid = Grid(gap_mm=(20.0, 26.0), tilt_deg=(0.0, 12.0, 30.0))
    answer = predicted(PAIR, grid=grid)
    found = answer.gap_tilt
    assert found is not None
    assert [len(found.margin), len(found.margin[0])] == [2, 3]
    signal = answer.predicted.sheets[0].signal
    assert found.single[1][0] == signal.single.p50
    assert found.double[1][0] == signal.double.p50
    assert found.margin[1][0] == min(vars(answer.predicted.sheets[0].margin).values())


def test_the_map_with_a_band_is_of_that_band() -> None:
    grid = Grid(gap_mm=(26.0,), tilt_deg=(0.0,))
    best, narrow = (predicted(replace(PAIR, profile=profile), grid=grid).gap_tilt for profile in PROFILES)
    assert best is not None
    assert narrow is not None
    assert narrow.margin[0][0] < 0.0 < best.margin[0][0]


def test_classes_without_tilt_have_a_map_over_the_gap() -> None:
    answer = predicted(FLAT, grid=Grid(gap_mm=(3.0, 3.5), tilt_deg=(0.0,)))
    assert answer.gap_tilt is not None
    assert len(answer.gap_tilt.margin) == 2


def test_standing_waves_repeat_after_half_a_wavelength() -> None:
    """1.53 times 343.98 m/s over 220 kHz is 2.39 mm; half a wavelength 0.782 mm at 20 degrees C, 0.788 at 25."""
    half = 0.788
    positions = tuple(np.linspace(-2.0 * half, 2.0 * half, 81))
    found = predicted(RINGING, grid=Grid(position_mm=positions))
    level = np.array([p.single for p in found.positions])
    assert level.max() - level.min() > 4.0
    shifted = np.interp(np.array(positions[:60]) + half, positions, level)
    np.testing.assert_allclose(shifted, level[:60], atol=0.6)
    calm = predicted(replace(RINGING, tilt_deg=20.0), grid=Grid(position_mm=positions))
    quiet = np.array([p.single for p in calm.positions])
    assert quiet.max() - quiet.min() < 1.0


def test_heavier_sheets_read_weaker() -> None:
    found = predicted(PAIR, grid=Grid(grammage_gsm=(60.0, 80.0, 100.0))).grammages
    assert found[0].single.p50 < found[1].single.p50 < found[2].single.p50


@pytest.mark.parametrize("setup", [PAIR, replace(PAIR, tilt_deg=12.0), FLAT, RINGING])
def test_the_same_grammage_reads_the_same_in_a_sweep(setup: InstalledSetup) -> None:
    """Every percentile and margin, as the answer tells them."""
    answer = predicted(setup, grid=Grid(grammage_gsm=(80.0,)))
    ((here,), its) = answer.grammages, answer.predicted.sheets[0]
    for state in ("no_sheet", "single", "double"):
        assert getattr(here, state) == getattr(its.signal, state)
    assert here.margin == its.margin


def test_a_sweep_tells_what_each_resolved_job_would() -> None:
    """At every setting of a map, and for every grammage in the band of the first."""
    swept = predicted(PAIR, grid=Grid(gap_mm=(20.0, 26.0), tilt_deg=(0.0, 3.0, 40.0))).gap_tilt
    assert swept is not None
    for row, gap in enumerate(swept.gap_mm):
        for column, tilt in enumerate(swept.tilt_deg):
            there = predicted(replace(PAIR, gap_mm=gap, tilt_deg=tilt)).predicted.sheets[0]
            assert swept.single[row][column] == pytest.approx(there.signal.single.p50, abs=0.051)
            assert swept.double[row][column] == pytest.approx(there.signal.double.p50, abs=0.051)
            assert swept.margin[row][column] == pytest.approx(min(vars(there.margin).values()), abs=0.051)


@pytest.mark.parametrize("tilt_deg", [1e-12, 1e-6, 0.001, 0.1])
def test_hardly_tilted_is_as_good_as_square_on(tilt_deg: float) -> None:
    square, leaning = (predicted(replace(PAIR, tilt_deg=tilt)).predicted for tilt in (0.0, tilt_deg))
    assert leaning.verdict == square.verdict
    for state in ("no_sheet", "single", "double"):
        its, mine = (vars(getattr(p.sheets[0].signal, state)) for p in (square, leaning))
        assert mine == pytest.approx(its, abs=0.051)


@pytest.mark.parametrize("tilts", [(0.0,), (0.0, 3e-6), (0.0, 1e-12, 0.7), (33.0,), (44.0, 44.1)])
def test_a_level_does_not_depend_on_the_other_tilts_of_a_map(tilts: tuple[float, ...]) -> None:
    lone, among = (
        predicted(PAIR, grid=Grid(gap_mm=(26.0,), tilt_deg=asked)).gap_tilt
        for asked in (tilts, tuple(sorted({*tilts, 7.0, 20.0})))
    )
    assert lone is not None
    assert among is not None
    for name in ("margin", "single", "double"):
        (some,), (more,) = getattr(lone, name), getattr(among, name)
        assert np.isfinite(some).all()
        assert some == pytest.approx([more[among.tilt_deg.index(tilt)] for tilt in tilts], abs=0.051)


@pytest.mark.parametrize(
    ("setup", "grid", "code", "field"),
    [
        (replace(PAIR, detector_class="ultrasonic-40k"), Grid(), "unknown-class", "setup/detector_class"),
        (replace(PAIR, gap_mm=4.0), Grid(), "out-of-range", "setup/gap_mm"),
        (replace(PAIR, tilt_deg=65.0), Grid(), "out-of-range", "setup/tilt_deg"),
        (
            InstalledSetup(detector_class="capacitive-200k", gap_mm=3.0, tilt_deg=5.0),
            Grid(),
            "out-of-range",
            "setup/tilt_deg",
        ),
        (InstalledSetup(detector_class="thickness-laser", gap_mm=10.0), Grid(), "out-of-range", "setup/gap_mm"),
        (PAIR, Grid(gap_mm=(26.0, 900.0), tilt_deg=(0.0,)), "out-of-range", "grid/gap_mm/1"),
        (PAIR, Grid(gap_mm=(26.0,), tilt_deg=(0.0, 65.0)), "out-of-range", "grid/tilt_deg/1"),
        (PAIR, Grid(position_mm=(0.0, 12.5)), "out-of-range", "grid/position_mm/1"),
    ],
)
def test_places_that_cannot_be_are_refused(setup: InstalledSetup, grid: Grid, code: str, field: str) -> None:
    with pytest.raises(QuestionError) as caught:
        predicted(setup, grid=grid)
    assert (caught.value.code, caught.value.field) == (code, field)
    assert caught.value.expected


def test_a_class_that_cannot_sense_the_sheet_is_refused() -> None:
    with pytest.raises(QuestionError) as caught:
        predicted(InstalledSetup(detector_class="eddy-current-10k", gap_mm=20.0))
    assert caught.value.field == "setup/detector_class"
