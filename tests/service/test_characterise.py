"""A pair's parameters from bench readings: what they were made with comes back, and what cannot be is explained."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest
from sheetmargin_service.measurement.catalogue_entry import Entry, characterise_table
from sheetmargin_service.measurement.characterise import CharacteriseError
from sheetmargin_service.principles.catalogues import read_catalogue, reference_catalogue
from sheetmargin_service.principles.ultrasonic.parameters import UltrasonicParameters
from support.catalogues import OWN
from support.pair_bench import TOP_DB, Row, Truth, bench_rows

DRAFT = "[[class]]".join(OWN.split("[[class]]")[:2]).replace("face_radius_mm = 7\n", "")


def entry(rows: list[Row], **known: Any) -> Entry:
    told = known or {"class_id": "own-pair", "frequency_hz": 180e3, "face_radius_mm": 6.5}
    return characterise_table(rows, [f"Line {n}" for n in range(2, 2 + len(rows))], source="invented", **told)


def parameters(found: Entry) -> UltrasonicParameters:
    """Read as the service reads them."""
    catalogue = read_catalogue(name="own", text=found.catalogue, reference=reference_catalogue().classes)
    (one,) = catalogue.classes
    assert isinstance(one.parameters, UltrasonicParameters)
    return one.parameters


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize(
    "truth",
    [
        Truth(),
        Truth(overload_db=14.0, noise_db=104.0, bypass_db=92.0, span_db=84.0, gain_range_db=18.0),
        Truth(frequency_hz=300e3, face_radius_mm=4.0, reference_gap_mm=25.0, noise_db=92.0, bypass_db=80.0),
    ],
    ids=["usual", "loud", "300 kHz"],
)
def test_what_the_readings_were_made_with_comes_back(truth: Truth, seed: int) -> None:
    gaps = (0.7 * truth.reference_gap_mm, truth.reference_gap_mm, 1.4 * truth.reference_gap_mm)
    rows = bench_rows(truth, seed=seed, gaps_mm=gaps)
    known = {"class_id": "own", "frequency_hz": truth.frequency_hz, "face_radius_mm": truth.face_radius_mm}
    got = parameters(entry(rows, **known))
    # The library knows polyester's mass to 1 % or so, 0.1 dB; a reading is good to 0.15 dB, the beam adds 0.3 dB.
    assert got.overload_db == pytest.approx(truth.overload_db, abs=0.8)
    assert got.gain_range_db == pytest.approx(truth.gain_range_db, abs=0.4)
    assert got.span_db == pytest.approx(truth.span_db, abs=0.11)
    # 24 readings of noise: its mean power is known to 4.3/sqrt(24) = 0.9 dB (one standard deviation).
    assert got.noise_db == pytest.approx(truth.noise_db, abs=3.0)
    # Beside noise 9 to 12 dB below it a blocked path of eight readings scatters by 2 dB.
    assert got.bypass_db == pytest.approx(truth.bypass_db, abs=2.5)
    assert got.reference_gap_mm == truth.reference_gap_mm
    assert (got.gap_min_mm, got.gap_max_mm) == (pytest.approx(min(gaps), abs=0.06), pytest.approx(max(gaps), abs=0.06))


def test_an_open_path_that_can_be_read_tells_the_face() -> None:
    truth = Truth(overload_db=-3.0)
    rows = bench_rows(truth, seed=1, gaps_mm=(25.0, 32.0, 40.0, 50.0, 60.0, 80.0))
    found = entry(rows, class_id="own", frequency_hz=180e3)
    assert parameters(found).face_radius_mm == pytest.approx(6.5, rel=0.1)
    assert "the open path at" in found.origins["face_radius_mm"][1]
    # With a face that is known, it is the one that is kept, and what the readings say stands beside it.
    assert entry(rows).origins["face_radius_mm"][1] == "known before"


def test_an_open_path_in_overload_does_not_tell_the_face() -> None:
    found = entry(bench_rows(Truth(), seed=1), class_id="own", frequency_hz=180e3)
    assert found.origins["face_radius_mm"] == (7, "not known, as ultrasonic-180k has it")


def test_what_is_neither_known_nor_measured_is_left_to_the_reference() -> None:
    rows = [row for row in bench_rows(Truth(), seed=1) if row["state"] in ("open", "sheet") and row["gain"] == "least"]
    found = entry(rows)
    catalogue = read_catalogue(name="own", text=found.catalogue, reference=reference_catalogue().classes)
    filled = catalogue.classes[0].filled
    assert filled is not None
    assert filled.reference_class == "ultrasonic-180k"
    assert {"noise_db", "bypass_db", "span_db", "gain_range_db", "bandwidth_hz", "drift_db"} <= set(filled.parameters)
    assert "overload_db" not in filled.parameters
    for name in filled.parameters:
        assert f"# {name} = " in found.catalogue
        assert found.origins[name][1] == "not known, as ultrasonic-180k has it"


def test_a_draft_keeps_what_it_knows() -> None:
    found = entry(bench_rows(Truth(), seed=2), draft=DRAFT)
    (written,) = tomllib.loads(found.catalogue)["class"]
    (drafted,) = tomllib.loads(DRAFT)["class"]
    assert {name: written[name] for name in drafted if name != "parameters"} == {
        name: value for name, value in drafted.items() if name != "parameters"
    }
    assert written["parameters"].items() >= drafted["parameters"].items()
    assert written["output"] == ["pnp", "push-pull"]
    assert "No reading tells these" not in found.catalogue
    assert found.origins["gap_min_mm"] == (20, "known before")
    # What no reading tells, and the draft does not have either, is marked.
    bare = entry(bench_rows(Truth(), seed=2), draft=DRAFT.replace("housing =", "# housing ="))
    marked = bare.catalogue.index("# No reading tells these; they are ultrasonic-180k's. Put in yours.")
    assert bare.catalogue.index("\nhousing = ") > marked


def test_a_blocked_path_no_louder_than_silence_is_a_bound() -> None:
    found = entry(bench_rows(Truth(bypass_db=130.0), seed=3))
    assert "no louder than silence" in found.origins["bypass_db"][1]
    assert parameters(found).bypass_db == pytest.approx(97.0, abs=3.0)


def test_noise_that_the_scale_cuts_off_is_told_by_the_rest() -> None:
    rows = bench_rows(Truth(span_db=67.0), seed=3)
    silent = [row.get("limit") for row in rows if (row["state"], row["gain"]) == ("silent", "greatest")]
    assert 3 <= silent.count("bottom") < len(silent) / 2
    assert parameters(entry(rows)).noise_db == pytest.approx(97.0, abs=3.0)
    # With more than half of it cut off nothing is told.
    found = entry(bench_rows(Truth(span_db=58.0), seed=3))
    assert found.origins["noise_db"][1].startswith("not known, as ")


def changed(index: int, **more: Any) -> list[Row]:
    rows = bench_rows(Truth(), seed=4)
    rows[index] = {name: value for name, value in (rows[index] | more).items() if value is not None}
    return rows


@pytest.mark.parametrize(
    ("rows", "told"),
    [
        (changed(0, state="hidden"), "Line 2: state is 'hidden'; expected one of open, sheet, blocked, silent."),
        (changed(0, gain="most"), "Line 2: gain is 'most'; expected one of least, greatest."),
        (changed(0, limit="over"), "Line 2: limit is 'over'; expected one of top, bottom."),
        (changed(1, level_db=None), "Line 3 has no level_db: expected one in every line."),
        (changed(1, gap_mm=None), "Line 3 has no gap_mm"),
        (changed(1, gap_mm=-1.0), "Line 3: gap_mm is -1; expected more than 0"),
        (changed(1, level_db=1e9), "Line 3: level_db is 1e+09; expected -300 to 300."),
        (changed(1, tilt_deg=80.0), "Line 3: tilt_deg is 80; expected 0 to 45."),
        (changed(0, material="pet"), "the state is open, material is given"),
        (changed(4, material=None, thickness_um=None), "the state is sheet, no sheet is given"),
        (changed(4, material="pett"), "Line 6: material: "),
        (changed(4, thickness_um=None), "Line 6: "),
        (changed(4, material="steel", thickness_um=1000.0), "Line 6: "),
        (changed(6, level_db=3.0), "than one sheet of pet 23 should read beside the others; expected within 6 dB"),
        (changed(0, level_db=TOP_DB - 4.0), "is said to be the top of the scale, others are 20 dB"),
        (
            [row for row in changed(-1, level_db=TOP_DB + 5.0) if row.get("limit") != "bottom" or row["level_db"] > 0],
            "The top of the scale lies below its bottom",
        ),
        ([row for row in changed(0) if row["gap_mm"] == 40.0], "All readings are of one gap"),
        ([row for row in changed(0) if row["state"] != "sheet"], "No reading tells the level of the open path"),
        (
            [row | {"gain": "least" if row["gain"] == "greatest" else "greatest"} for row in changed(0)],
            "dB less than the least: expected more. Are they interchanged?",
        ),
    ],
)
def test_what_cannot_be_is_explained(rows: list[Row], told: str) -> None:
    with pytest.raises(CharacteriseError) as raised:
        entry(rows)
    assert told in str(raised.value)


@pytest.mark.parametrize(
    ("known", "told"),
    [
        ({"class_id": "own"}, "expected --id and --frequency-khz, or --draft"),
        ({"draft": DRAFT, "class_id": "own"}, "described twice"),
        ({"draft": "class = ["}, "The draft is no TOML"),
        ({"draft": "[[class]]\n[[class]]\n"}, "expected one [[class]]"),
        ({"draft": DRAFT.replace('"ultrasonic"', '"optical"')}, "expected 'ultrasonic'"),
        ({"draft": DRAFT.replace("frequency_hz", "# frequency_hz")}, "expected frequency_hz"),
        ({"draft": DRAFT.replace("gap_max_mm = 60", "gap_max_mm = 30")}, "gap_max_mm"),
        ({"draft": DRAFT.replace("gap_min_mm", "least_gap_mm")}, "least_gap_mm"),
        ({"draft": DRAFT.replace("width_mm = 18", "width_mm = 0")}, "width_mm above 0"),
        ({"class_id": "own pair", "frequency_hz": 180e3}, "expected letters, digits"),
        ({"class_id": "own", "frequency_hz": 180e7}, "frequency_hz: expected at most 1e+06"),
        ({"class_id": "own", "frequency_hz": 180e3, "temperature_c": 199.0}, "temperature_c"),
    ],
)
def test_a_class_that_cannot_be_is_explained(known: dict[str, Any], told: str) -> None:
    with pytest.raises(CharacteriseError) as raised:
        entry(bench_rows(Truth(), seed=5), **known)
    assert told in str(raised.value)
