"""The answer as text."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

from sheetmargin import Answer, Note, Profile, Reason, Recommendation, Rejection, Setup
from sheetmargin.decode import decode
from sheetmargin.report import report

SAMPLE = decode(Answer, json.loads((Path(__file__).parent / "data" / "answer.json").read_text(encoding="utf-8")))

EXPECTED = """
quote 4711-2
trial: promising; only a bench trial can tell
cover: copy-paper, 80 g/m2, 104 um, 770 kg/m3
a rather long label of a sheet: pet, 140 g/m2, 100 um, 1390 kg/m3

#  class                          gap mm         tilt deg       one sheet reads  verdict
1  ultrasonic-180k-high-output *  45 (40 to 50)  20 (15 to 25)  25 to 60 dB      trial
* an illustrative class, invented; no product

Attenuation in dB: median (1 % to 99 % of events), then the margins to the edge of the band
#  sheet       no sheet           one sheet            two sheets             none   one   two
1  cover       0.0 (-1.5 to 1.5)  41.2 (38.1 to 44.0)  109.3 (64.7 to 118.2)  23.5  13.1   4.7
1  a rather..  0.0 (-1.5 to 1.5)  51.2 (48.1 to 54.0)  100.3 (74.7 to 108.2)  23.5   6.0  14.7

Why number 1
- One sheet of 80 g/m2 weakens the sound by 41.2 dB at 180 kHz, and the air trapped in a double
  takes another 68.1 dB, so that the band between them is wide. [a source]

Not placed
- a rather long label of a sheet by number 1: The sheet lies outside the band.

Trial
- Send 20 sheets.

Cautions
- This is no safety device.

Assumed
- The sheet flutters by 1 mm.

Rejected
- ultrasonic-500k: One sheet reads below the noise.
"""


def test_the_whole_report() -> None:
    assert report(SAMPLE) == EXPECTED.strip("\n")
    assert repr(SAMPLE) == str(SAMPLE) == report(SAMPLE)


def test_no_line_is_wider_than_100_columns() -> None:
    long = Note(code="long", text="many words " * 60)
    why = Reason(code="long", text="many words " * 60, source="a long source " * 20)
    answer = replace(
        SAMPLE,
        recommendations=(Recommendation(reasons=(why,)),),
        cautions=(long,),
        trial=(long,),
        rejected=(Rejection(detector_class="x", text="w " * 200),),
    )
    assert max(map(len, report(answer).splitlines())) <= 100


def test_one_sheet_needs_no_name_in_the_table() -> None:
    assert SAMPLE.best is not None
    alone = replace(
        SAMPLE, sheets=SAMPLE.sheets[:1], recommendations=(replace(SAMPLE.best, sheets=SAMPLE.best.sheets[:1]),)
    )
    (head,) = [line for line in report(alone).splitlines() if line.startswith("#") and "no sheet" in line]
    assert head.split() == ["#", "no", "sheet", "one", "sheet", "two", "sheets", "none", "one", "two"]


def test_an_older_or_newer_service_still_gives_a_report() -> None:
    assert report(Answer()) == "no verdict"
    assert report(Answer(verdict="a later verdict")) == "a later verdict"
    bare = decode(
        Answer, {"recommendations": [{"setups": [{}], "sheets": [{}]}], "cautions": [{"code": "only-a-code"}]}
    )
    text = report(bare)
    assert "only-a-code" in text
    assert "None" not in text


def test_a_setup_without_tilt_or_band_in_db() -> None:
    assert SAMPLE.best is not None
    roller = replace(SAMPLE.best, setups=(Setup(profile=Profile(id="band-90-120")),))
    row = report(replace(SAMPLE, recommendations=(roller,))).splitlines()
    assert any("band-90-120" in line and " - " in line for line in row)
