"""The answer as text: the lines of one that is whole, and of answers of another service."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from sheetmargin import Answer, Changeovers, Note, Reason, Recommendation, RuledOut, Setup
from sheetmargin.report.page import Page
from sheetmargin.report.render import SECTIONS, render
from sheetmargin.report.view import View
from support.whole import made

SAMPLE = made(Answer, json.loads((Path(__file__).parent / "data" / "answer.json").read_text(encoding="utf-8")))
VIEW = View(language="en")


def everything(answer: Answer) -> str:
    return render(answer, VIEW, show=SECTIONS[Answer])


def test_short_and_whole_are_what_the_client_prints() -> None:
    short = render(SAMPLE, VIEW)
    assert repr(SAMPLE) == str(SAMPLE)
    assert [line for line in repr(SAMPLE).splitlines() if line not in short.splitlines()] == [
        'Next           answer.explain("trial")'
    ]
    assert SAMPLE.explain() == everything(SAMPLE)
    assert SAMPLE.explain("trial") == render(SAMPLE, VIEW, show=["trial"])
    with pytest.raises(ValueError, match="There is no section 'wyh'"):
        SAMPLE.explain("wyh")


def test_a_list_tells_verdict_what_is_not_served_and_a_row_a_sheet() -> None:
    lines = render(SAMPLE, VIEW).splitlines()
    assert lines[0] == "quote 4711-2"
    assert lines[2] == "NOT SUITABLE   2 of 3 sheets with one set-up and one band"
    assert lines[4].startswith("Not served")
    assert lines[4].endswith("tissue: The sheet lies outside the band.")
    (cover,) = [line for line in lines if line.startswith("cover")]
    assert cover.split("  ")[-1] == "25 per million (1 to 330)"
    assert "25 to 60 dB" in cover
    told = "\n".join(lines)
    for part in (
        "45 mm",
        "40 to 50 mm is usable",
        "20°",
        "15 to 25° is usable",
    ):
        assert part in told


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
    for text in (everything(answer), render(answer, VIEW), everything(SAMPLE), render(SAMPLE, VIEW)):
        assert max(map(len, text.splitlines())) <= 100


def test_the_sections_have_what_the_short_answer_leaves_out() -> None:
    told = everything(SAMPLE)
    for part in (
        "Why this set-up\n- One sheet of 80 g/m2 weakens the sound by 41.2 dB",
        "offset of 1.2 mm or an angle of 0.8° of one head costs 1 dB",
        "Trial\n1  Send 20 sheets.",
        "The sheet flutters by 1 mm.",
        "- ultrasonic-500k: One sheet reads below the noise.",
        "Cautions\n- This is no safety device.",
    ):
        assert part in told
    assert render(SAMPLE, VIEW, show=["trial"]).startswith("Trial\n1  Send 20 sheets.")


def test_set_ups_of_a_list_name_their_sheets_and_what_is_changed_between_them() -> None:
    assert SAMPLE.best is not None
    (setup,) = SAMPLE.best.setups
    first, second = SAMPLE.best.sheets
    moved = replace(setup, index=1, sheets=(1,), geometry=replace(setup.geometry, tilt_deg=None))
    two = replace(
        SAMPLE.best,
        setups=(replace(setup, sheets=(0,)), moved),
        sheets=(first, replace(second, setup=1)),
        changeovers=Changeovers(detector_class=0, geometry=1, profile=2),
    )
    lines = render(replace(SAMPLE, recommendations=(two,)), VIEW).splitlines()
    (head,) = [line for line in lines if line.startswith("NOT SUITABLE")]
    assert "2 of 3 sheets with 2 set-ups (1 change of gap or tilt, 2 changes of" in head
    assert [line.split()[:2] for line in lines if line.startswith("Set-up")] == [["Set-up", "1"], ["Set-up", "2"]]
    (row,) = [line for line in lines if line.startswith("cover")]
    assert row.split("  ")[1].strip() == "1"


def test_an_older_or_newer_service_still_gives_a_report() -> None:
    assert render(made(Answer, {"verdict": "a later verdict"}), VIEW).startswith("A LATER VERDICT")
    bare = made(Answer, {"recommendations": [{"setups": [{}], "sheets": [{}]}], "cautions": [{"code": "only-a-code"}]})
    text = everything(bare)
    assert "only-a-code" in text
    assert "None" not in text + render(bare, VIEW)


def test_a_roller_has_no_tilt_and_touches() -> None:
    assert SAMPLE.best is not None
    told = {"profile": {"band": {"low": 90, "high": 120, "unit": "um"}}}
    roller = replace(SAMPLE.best, setups=(made(Setup, told),), sheets=SAMPLE.best.sheets[:1])
    text = render(replace(SAMPLE, recommendations=(roller,), sheets=SAMPLE.sheets[:1]), VIEW)
    assert "Gap            in contact\n" in text
    assert "Tilt" not in text
    assert "90 to 120 µm means a single sheet" in text


def test_misreads_are_written_by_what_is_known_of_them() -> None:
    floored = {"estimate": 1, "mean": 1, "low": 1, "high": 1, "floored": True}
    likely = {"estimate": 25, "mean": 80, "low": 1, "high": 300, "floored": False}
    bad = {"estimate": 25, "mean": 9e3, "low": 1, "high": 300_000, "floored": False}

    def text(**misreads: object) -> str:
        kinds = ("double_as_single", "single_as_double", "single_as_no_sheet", "no_sheet_as_double")
        told = dict.fromkeys(kinds, floored) | misreads
        answer = {"recommendations": [{"rank": 1, "setups": [{}], "sheets": [{"misread_ppm": told}]}], "sheets": [{}]}
        return render(made(Answer, answer), VIEW)

    assert "Missed doubles  1 per million or fewer" in text()
    assert "read as" not in text()
    assert "Missed doubles  about 25 per million (1 to 300)" in text(double_as_single=likely)
    assert "No sheet read as double sheet  about 25 per million (1 to 300)" in text(no_sheet_as_double=likely)
    assert "Missed doubles  25 per million, at worst 30 %" in text(double_as_single=bad)
    # At the median alone: a few such jobs are far above it.
    assert "False stops     about 1 per million (1 to 300)" in text(single_as_double=floored | {"high": 300})


def test_without_letters_beyond_ascii_every_word_is_still_there() -> None:
    plain = View(language="de", page=Page(ascii=True))
    text = render(SAMPLE, plain) + render(SAMPLE, plain, show=SECTIONS[Answer])
    assert text.isascii()
    assert "?" not in text
    assert "uebersehene Doppelbogen" in text


def test_bold_and_colour_are_beside_the_text_and_not_in_it() -> None:
    styled = render(SAMPLE, View(language="en", page=Page(styled=True)))
    assert "\x1b[1;31mNOT SUITABLE\x1b[0m" in styled
    bare = styled
    for mark in ("\x1b[1;31m", "\x1b[1m", "\x1b[0m"):
        bare = bare.replace(mark, "")
    assert bare == render(SAMPLE, VIEW)


def headline(*codes: str) -> str:
    ruled_out = [{"detector_class": "a", "code": code} for code in codes]
    answer = made(Answer, {"verdict": "unsuitable", "ruled_out": ruled_out, "sheets": [{}]})
    return render(answer, VIEW).split("\n\n")[1]


def test_the_headline_says_why_no_class_was_asked_about_the_sheets() -> None:
    told = "No detector class of this catalogue "
    assert headline("requirement-missed") == f"{told}meets the requirements of the job."
    assert headline("outside-rating") == f"{told}is rated for this air."
    both = f"{told}meets the requirements of the job and fits the machine."
    assert headline("no-room-for-head", "requirement-missed") == both
    # One that was asked about the sheets: then these are the reason.
    assert headline("requirement-missed", "one-looks-like-two") == (
        "The one detector class considered cannot tell one sheet from two."
    )
