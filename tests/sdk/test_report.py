"""The answer as text."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

from sheetmargin import Answer, Changeovers, Note, Reason, Recommendation, RuledOut, Setup
from sheetmargin.report.recommendation import MISREADS, report
from support.whole import made

SAMPLE = made(Answer, json.loads((Path(__file__).parent / "data" / "answer.json").read_text(encoding="utf-8")))

EXPECTED = """
quote 4711-2
unsuitable: of 3 sheets, number 1 serves 2; nothing admitted serves every one
Not served: sheet 2. The sheet lies outside the band.
cover: copy-paper, 80 g/m2, 104 um, 770 kg/m3
a rather long label of a sheet: pet, 140 g/m2, 100 um, 1390 kg/m3
sheet 2: tissue, 18 g/m2, 82 um, 220 kg/m3

#  class                          gap mm         tilt deg       one sheet reads  verdict
1  ultrasonic-180k-high-output *  45 (40 to 50)  20 (15 to 25)  25 to 60 dB      trial-needed, 62 %, 2 of 3
   for cover, a rather long label of a sheet
* an illustrative class, invented; no product

Attenuation in dB: median (1 % to 99 % of events), then the margins to the edge of the band
#  sheet         no sheet           one sheet            two sheets             none   one   two
1  cover         0.0 (-1.5 to 1.5)  41.2 (38.1 to 44.0)  109.3 (64.7 to 118.2)  23.5  13.1   4.7
1  a rather l..  0.0 (-1.5 to 1.5)  51.2 (48.1 to 54.0)  100.3 (74.7 to 108.2)  23.5   6.0  14.7

Misreads in a million events: estimate (low to high)
#  sheet         two as one
1  cover         25 (1 to 334)
1  a rather l..  -

Why number 1
- One sheet of 80 g/m2 weakens the sound by 41.2 dB at 180 kHz, and the air trapped in a double
  takes another 68.1 dB, so that the band between them is wide. [a source]

Number 1 in place
- faces at (-7.7, -21.1) (emitter) and (7.7, 21.1) (receiver): x along travel, y up, mm from where
  the beam meets the sheet
- 1 dB is lost by an offset of 1.2 mm or an angle of 0.8 degrees of one face
- hold the output for 20 ms
- The line may run at 180 m per minute.
- Both heads together take 175 mm in height.

Trial
- Send 20 sheets.

Cautions
- This is no safety device.

Assumed
- The sheet flutters by 1 mm.

Ruled out
- ultrasonic-500k: One sheet reads below the noise.
"""


def test_the_whole_report() -> None:
    assert report(SAMPLE) == EXPECTED.strip("\n")
    assert repr(SAMPLE) == str(SAMPLE) == report(SAMPLE)


def test_no_line_is_wider_than_100_columns() -> None:
    long = Note(code="long", text="many words " * 60, values={})
    why = Reason(code="long", text="many words " * 60, values={}, source="a long source " * 20)
    answer = replace(
        SAMPLE,
        recommendations=(replace(made(Recommendation, {}), reasons=(why,)),),
        cautions=(long,),
        trial=(long,),
        ruled_out=(RuledOut(detector_class="x", code="x", values={}, text="w " * 200),),
    )
    assert max(map(len, report(answer).splitlines())) <= 100


def test_one_sheet_needs_no_name_in_the_table() -> None:
    assert SAMPLE.best is not None
    alone = replace(
        SAMPLE, sheets=SAMPLE.sheets[:1], recommendations=(replace(SAMPLE.best, sheets=SAMPLE.best.sheets[:1]),)
    )
    (head,) = [line for line in report(alone).splitlines() if line.startswith("#") and "no sheet" in line]
    assert head.split() == ["#", "no", "sheet", "one", "sheet", "two", "sheets", "none", "one", "two"]


def test_set_ups_of_a_list_name_their_sheets_and_what_is_changed_between_them() -> None:
    assert SAMPLE.best is not None
    (setup,) = SAMPLE.best.setups
    two = replace(
        SAMPLE.best,
        rank=2,
        setups=(replace(setup, sheets=(0,)), replace(setup, index=1, sheets=(1,))),
        changeovers=Changeovers(detector_class=0, geometry=1, profile=2),
    )
    lines = report(replace(SAMPLE, recommendations=(SAMPLE.best, two))).splitlines()
    start = next(number for number, line in enumerate(lines) if line.startswith("2  "))
    assert lines[start].endswith("trial-needed, 62 %, 2 of 3")
    assert lines[start + 1 : start + 3] == [
        "   Not served: sheet 2. The sheet lies outside the band.",
        "   set-up 1: for cover",
    ]
    assert lines[start + 4 : start + 6] == [
        "   set-up 2: for a rather long label of a sheet",
        "   change-overs while the list is run once: 1 of gap or tilt, 2 of profile",
    ]
    assert "set-up 2, ultrasonic-180k-high-output: hold the output for 20 ms" in report(
        replace(SAMPLE, recommendations=(two,))
    )


def test_an_older_or_newer_service_still_gives_a_report() -> None:
    assert report(made(Answer, {"verdict": "a later verdict"})) == "a later verdict"
    bare = made(Answer, {"recommendations": [{"setups": [{}], "sheets": [{}]}], "cautions": [{"code": "only-a-code"}]})
    text = report(bare)
    assert "only-a-code" in text
    assert "None" not in text


def test_a_setup_without_tilt_or_band_in_db() -> None:
    assert SAMPLE.best is not None
    roller = replace(SAMPLE.best, setups=(made(Setup, {"profile": {"band": {"low": 90, "high": 120, "unit": "um"}}}),))
    row = report(replace(SAMPLE, recommendations=(roller,))).splitlines()
    assert any("90 to 120 um" in line and " - " in line for line in row)


def test_misreads_at_the_floor_everywhere_are_named_once() -> None:
    floored = {"estimate": 1, "mean": 1, "low": 1, "high": 1, "floored": True}
    likely = {"estimate": 25, "mean": 80, "low": 1, "high": 300, "floored": False}
    everywhere = dict.fromkeys(MISREADS, floored)

    def text(misreads: dict[str, object]) -> str:
        return report(made(Answer, {"recommendations": [{"rank": 1, "sheets": [{"misread_ppm": misreads}]}]}))

    assert "Every misread: at most 1 in a million" in text(everywhere)
    assert "two as one" not in text(everywhere)
    but_one = text(everywhere | {"double_as_single": likely})
    assert "two as one" in but_one
    assert "25 (1 to 300)" in but_one
    assert "Every other misread: at most 1 in a million" in but_one
    assert "in a million" not in text({"double_as_single": floored})
    # At the median alone: a few such jobs are far above it.
    wide = text(everywhere | {"double_as_single": floored | {"mean": 40, "high": 300}})
    assert "1 (1 to 300)" in wide
    assert "Every other misread: at most 1 in a million" in wide


def test_the_band_is_in_the_unit_that_is_read() -> None:
    setup = {"index": 0, "profile": {"band": {"low": 49, "high": 160, "unit": "um"}}}
    sheet = {"setup": 0, "signal": {"quantity": "thickness", "unit": "um"}}
    text = report(made(Answer, {"recommendations": [{"setups": [setup], "sheets": [sheet]}]}))
    assert "49 to 160 um" in text
    assert "dB" not in text


def headline(*codes: str) -> str:
    rejected = [{"detector_class": "a", "code": code} for code in codes]
    answer = made(Answer, {"verdict": "unsuitable", "ruled_out": rejected})
    return " ".join(report(answer).partition("\n\n")[0].split())


def test_the_headline_says_why_no_class_was_asked_about_the_sheets() -> None:
    told = "unsuitable: no class of the catalogue "
    assert headline("requirement-missed") == told + "meets the job's requirements"
    assert headline("outside-rating") == told + "is rated for this air"
    assert (
        headline("no-room-for-head", "requirement-missed") == told + "meets the job's requirements and fits the machine"
    )
    # One that was asked about the sheets: then these are the reason.
    nothing = "unsuitable: nothing admitted tells none, one and two sheets apart"
    assert headline("requirement-missed", "one-looks-like-two") == nothing
    assert headline() == nothing
