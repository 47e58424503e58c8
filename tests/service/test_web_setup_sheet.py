"""The set-up sheet: what it says, in whose words, for which job; and the link that makes it again."""

from __future__ import annotations

import base64
import json
import re
from collections.abc import Callable
from html import unescape
from pathlib import Path
from typing import Any, get_args
from urllib.parse import parse_qs, urlsplit

import pytest
from flask.testing import FlaskClient
from sheetmargin.contract.answer import Verdict
from sheetmargin_service.messages.names import Reader
from sheetmargin_service.web import setup_sheets
from sheetmargin_service.web.one_page import Block, in_two_columns
from sheetmargin_service.web.pdf import NoPdf
from sheetmargin_service.web.setup_sheet import LONGEST_SCANNED, MOST_ROWS, _code
from sheetmargin_service.web.us_units import in_us_units
from sheetmargin_service.web.words import Words, _table

JOB: dict[str, Any] = {
    "reference": "quote 4711-2",
    "sheets": [{"label": "cover", "material": "copy-paper", "grammage_gsm": 80}],
    "line": {"speed_m_per_min": 120, "clearance_above_mm": 100, "clearance_below_mm": 100},
    "principles": ["ultrasonic"],
    "limit": 2,
}
PATH = "/v1/setup-sheets"


def page(client: FlaskClient, **wishes: Any) -> str:
    response = client.post(PATH, json=JOB | wishes)
    assert response.status_code == 200, response.text
    assert response.mimetype == "text/html"
    return plain(unescape(response.text))


def plain(text: str) -> str:
    """A number and its unit stand on one line of the page."""
    return text.replace("\N{NO-BREAK SPACE}", " ")


@pytest.fixture(scope="module")
def answer(real_api: FlaskClient) -> dict[str, Any]:
    document: dict[str, Any] = real_api.post("/v1/recommendations", json=JOB).get_json()
    return document


def again(text: str) -> str:
    """Path and query of the link that regenerates a page."""
    link = re.search(r'href="(http[^"]+/v1/setup-sheets\?[^"]+)">Regenerate', text)
    assert link is not None
    parts = urlsplit(link[1])
    return f"{parts.path}?{parts.query}"


def test_it_states_the_answer(real_api: FlaskClient, answer: dict[str, Any]) -> None:
    text = page(real_api)
    best = answer["recommendations"][0]
    setup, sheet = best["setups"][0], best["sheets"][0]
    low, high = (setup["profile"]["band"][edge] for edge in ("low", "high"))
    number = Words(Reader(language="en")).number
    for told in (
        JOB["reference"],
        "cover: copy paper, 80 g/m² (103 µm)",
        setup["detector_class"]["name"],
        f"{number(setup['geometry']['gap_mm']['nominal'])} mm",
        f"{low} to {high} dB",
        answer["model_version"],
        answer["catalogue_version"],
        "invented example, not a product",
        *(caution["text"] for caution in answer["cautions"] if caution["code"] != "illustrative-class"),
        *(number(sheet["signal"][state]["p50"]) for state in ("no_sheet", "single", "double")),
    ):
        assert plain(told) in text


ORDER = (
    "Isolate the machine",
    "Mount both heads",
    "Power only the detector",
    "Set the gap to",
    "Set the tilt to",
    "Move one head sideways",
    "teach in",
    "Set the band to",
    "Accept if",
)


def test_steps_are_in_the_order_of_work_and_facts_are_not_to_tick(real_api: FlaskClient) -> None:
    text = page(real_api)
    ticked = re.findall(r'<ol class="ticks">(.*?)</ol>', text, re.DOTALL)
    assert [" ".join(ticked).index(step) for step in ORDER] == sorted(" ".join(ticked).index(step) for step in ORDER)
    facts = " ".join(re.findall(r'<ul class="facts">(.*?)</ul>', text, re.DOTALL))
    assert "heads" in facts
    assert not [step for step in ORDER if step in facts]


@pytest.mark.parametrize("name", ["Machine, lane", "Date", "Part no.", "Serial no. emitter", "Notes", "Signature"])
def test_there_is_room_to_write(real_api: FlaskClient, name: str) -> None:
    assert name in page(real_api)


def test_the_choice_is_the_rank(real_api: FlaskClient, answer: dict[str, Any]) -> None:
    ids = [r["setups"][0]["detector_class"]["id"] for r in answer["recommendations"]]
    assert len(set(ids)) == 2
    for rank, other in ((1, 2), (2, 1)):
        heading = re.search(r"<title>(.*)</title>", page(real_api, rank=rank))
        assert heading is not None
        assert heading[1].endswith(ids[rank - 1])
        assert ids[other - 1] not in heading[1]


@pytest.mark.parametrize(
    ("principle", "sheet", "step"),
    [
        ("thickness", {}, "so that its roller rests on the bed"),
        ("capacitive", {}, "Mount both heads on one axis: faces"),
        ("eddy-current-one-sided", {"material": "steel", "thickness_um": 800}, "Mount the head on one side"),
        ("eddy-current", {"material": "aluminium", "thickness_um": 1000}, "Mount both heads on one axis: faces"),
        ("optical", {}, "the emitter below"),
    ],
)
def test_every_principle_has_a_drawing_and_words_of_its_own(
    real_api: FlaskClient, principle: str, sheet: dict[str, Any], step: str
) -> None:
    text = page(real_api, principles=[principle], sheets=[sheet or JOB["sheets"][0]])
    assert "Position of the heads (to scale)" in text
    assert text.count('role="img"') == 1
    assert step in text
    ultrasonic_words = ("emitter", "tilt") if principle != "optical" else ("tilt",)
    assert not [word for word in ultrasonic_words if word in re.sub(r"<[^>]*>", " ", text)]


LIST: dict[str, Any] = {
    "reference": "a list",
    "sheets": [
        {"label": "hygiene tissue", "material": "tissue", "grammage_gsm": 18},
        {"label": "letter", "material": "copy-paper", "grammage_gsm": 80},
        {"label": "mailer", "material": "pvc-rigid", "thickness_um": 760},
    ],
    "classes": ["thickness-roller"],
}


def test_a_list_shows_first_what_is_not_served_and_then_every_band(real_api: FlaskClient) -> None:
    answer: dict[str, Any] = real_api.post("/v1/recommendations", json=LIST).get_json()
    best = answer["recommendations"][0]
    assert [setup["sheets"] for setup in best["setups"]] == [[1], [2]]
    pages = [plain(unescape(real_api.post(PATH, json=LIST | {"setup": number}).text)) for number in (0, 1)]
    for text in pages:
        not_served = text.index("Not served:</strong> hygiene tissue: ")
        assert not_served < text.index("Reference") < text.index("Safety") < text.index("Steps")
        assert "2 of 3 sheets" in text
        for label, setup in zip(("letter", "mailer"), best["setups"], strict=True):
            band = setup["profile"]["band"]
            row = re.search(rf'<tr><th scope="row">{label}</th>(.*?)</tr>', text, re.DOTALL)
            assert row is not None
            assert f"{band['low']:,} to {band['high']:,}<" in row[1]
        assert "Change-overs while the list runs once: 1 × band." in text
        assert "from the table" in text


def test_many_sheets_go_on_on_a_second_page(real_api: FlaskClient) -> None:
    sheets = [{"label": f"sheet number {n}", "material": "copy-paper", "grammage_gsm": 70 + n} for n in range(20)]
    text = page(real_api, sheets=sheets)
    first, _, second = text.partition('<section class="continued">')
    for n in range(20):
        assert (f"sheet number {n}</th>" in first, f"sheet number {n}</th>" in second) == (
            n < MOST_ROWS,
            n >= MOST_ROWS,
        )
    assert "8 more sheets" in first


def test_set_ups_of_another_detector_are_named(real_api: FlaskClient) -> None:
    job = {
        "sheets": [JOB["sheets"][0], {"label": "plate", "material": "aluminium", "thickness_um": 1500}],
        "classes": ["ultrasonic-500k", "eddy-current-10k"],
    }
    first, second = real_api.post("/v1/recommendations", json=job).get_json()["recommendations"][0]["setups"]
    assert first["detector_class"]["id"] != second["detector_class"]["id"]
    text = plain(unescape(real_api.post(PATH, json=job).text))
    other = "plate" if second["sheets"] == [1] else "cover"
    assert f"Set-up 2, with another detector, is for {other}." in text


def test_a_sheet_for_one_set_up_says_nothing_of_others(real_api: FlaskClient) -> None:
    text = page(real_api)
    assert "Not served" not in text
    assert "Change-overs" not in text
    assert " is for " not in text


def test_it_speaks_german(real_api: FlaskClient) -> None:
    text = page(real_api, language="de")
    assert '<html lang="de">' in text
    assert "Einrichteblatt" in text
    words = set(re.findall(r"\w+", re.sub(r"<[^>]*>", " ", text[text.index("<main>") :])))
    assert not words & {"the", "sheet", "and", "with", "head", "of", "to", "mount", "gap", "reading"}
    assert "80 g/m² (103 µm)" in text
    assert re.search(r"\d,\d", text)
    response = real_api.post(PATH, json=JOB, headers={"Accept-Language": "de"})
    assert response.headers["Content-Language"] == "de"


def test_every_word_is_in_both_languages() -> None:
    places = re.compile(r"\{(\w+)")
    for name, entry in _table().items():
        assert set(entry) == {"en", "de"}, name
        assert sorted(places.findall(entry["en"])) == sorted(places.findall(entry["de"])), name
        # Every figure on the page is one of the answer's, but for these, which are what the answer's figures mean.
        plain_text = re.sub(r"98 %|^0° ", "", re.sub(r"\{[^}]*\}", "", entry["en"]))
        assert not re.search(r"\d", plain_text), name


def test_every_word_is_used() -> None:
    folder = Path(setup_sheets.__file__).parent
    sources = [*folder.glob("*.py"), folder / "templates" / "setup-sheet.html"]
    told = " ".join(source.read_text(encoding="utf-8") for source in sources)
    made = ("serial-", "change-", "step-mount-", "side-")
    verdicts = get_args(Verdict)
    unused = [
        name for name in _table() if f'"{name}"' not in told and f"'{name}'" not in told and not name.startswith(made)
    ]
    assert [name for name in unused if name not in verdicts and name not in ("no_sheet",)] == []


def test_markup_in_a_job_stays_text(real_api: FlaskClient) -> None:
    evil = "<script>alert(1)</script>"
    job = JOB | {"reference": evil, "sheets": [JOB["sheets"][0] | {"label": f"{evil}"}]}
    response = real_api.post(PATH, json=job)
    assert response.status_code == 200
    assert "<script" not in response.text
    assert "&lt;script&gt;" in response.text


def test_nothing_runs_and_nothing_comes_from_elsewhere(real_api: FlaskClient) -> None:
    response = real_api.post(PATH, json=JOB)
    assert "script" not in response.text
    assert " style=" not in response.text
    policy = response.headers["Content-Security-Policy"]
    assert "style-src 'self'" in policy
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    style = re.search(r'<link rel="stylesheet" href="([^"]+)">', response.text)
    assert style is not None
    assert real_api.get(style[1]).mimetype == "text/css"


def test_the_link_makes_the_same_sheet(real_api: FlaskClient) -> None:
    text = page(real_api, rank=2, paper="letter")
    response = real_api.get(again(text))
    assert response.status_code == 200
    assert plain(unescape(response.text)) == text


def test_the_link_says_when_versions_differ(real_api: FlaskClient) -> None:
    link = again(page(real_api))
    made_with = parse_qs(urlsplit(link).query)["made_with"][0]
    assert "Compare every figure" not in real_api.get(link).text
    old = real_api.get(link.replace(made_with, "0123456789ab.fedcba98"))
    assert old.status_code == 200
    assert "Compare every figure" in old.text
    assert "0123456789ab" in old.text
    assert "fedcba98" in old.text
    assert parse_qs(urlsplit(again(unescape(old.text))).query)["made_with"] == [made_with]
    without = real_api.get(re.sub(r"&made_with=[^&]+", "", link))
    assert "Compare every figure" not in without.text


def test_a_code_carries_the_address_as_long_as_it_can_be_scanned(real_api: FlaskClient) -> None:
    text = page(real_api)
    link = re.search(r'href="(http[^"]+)">Regenerate', text)
    assert link is not None
    assert len(link[1]) <= LONGEST_SCANNED
    assert str(_code(link[1])) in text
    assert "Digest" not in text
    sheets = [{"label": f"sheet {n}", "material": "copy-paper", "grammage_gsm": 80 + n} for n in range(12)]
    longer = page(real_api, sheets=sheets)
    assert "made_with" in longer
    assert '<div class="code">' not in longer
    assert re.search(r"Digest of the job: [0-9a-f]{4}( [0-9a-f]{4}){3}\.", longer)
    assert _code("x" * LONGEST_SCANNED) is not None
    assert _code("x" * (LONGEST_SCANNED + 1)) is None


def test_a_job_too_long_for_a_link_has_none(real_api: FlaskClient) -> None:
    sheets = [{"label": f"{n}{' long label' * 6}", "material": "copy-paper", "grammage_gsm": 80} for n in range(30)]
    response = real_api.post(PATH, json=JOB | {"sheets": sheets})
    assert response.status_code == 200
    assert "made_with" not in response.text
    assert "too long for a link" in response.text


def test_letter_paper_has_us_units(real_api: FlaskClient, answer: dict[str, Any]) -> None:
    gap = answer["recommendations"][0]["setups"][0]["geometry"]["gap_mm"]["nominal"]
    text = page(real_api, paper="letter")
    assert f"{gap / 25.4:.2f} in" in text
    assert "cover: copy paper, 16.4 lb/1000 ft² (4.1 mil)" in text
    band = answer["recommendations"][0]["setups"][0]["profile"]["band"]
    assert f"{band['low']} to {band['high']} dB" in text
    metric = re.findall(r"\d mm\b", re.sub(r"<[^>]*>", " ", text))
    assert len(metric) == 1  # the gap, beside its inches
    # What a thickness sensor reads stays in its unit.
    thickness = page(real_api, paper="letter", principles=["thickness"])
    assert re.search(r"\d to [\d,]+ µm", thickness)


@pytest.mark.parametrize(
    ("reference", "name"), [("quote 4711-2", "set-up-sheet-quote-4711-2.pdf"), ('ä/../"', "set-up-sheet.pdf")]
)
def test_a_pdf_has_a_file_name(
    require_part: Callable[[str], str], real_api: FlaskClient, reference: str, name: str
) -> None:
    require_part("pango")
    response = real_api.post(f"{PATH}.pdf", json=JOB | {"reference": reference})
    assert response.status_code == 200
    assert response.headers["Content-Disposition"] == f'inline; filename="{name}"'


def packed(value: Any) -> str:
    return base64.urlsafe_b64encode(json.dumps(value).encode()).decode().rstrip("=")


@pytest.mark.parametrize(
    ("query", "place"),
    [
        ({}, {"parameter": "job"}),
        ({"job": "?"}, {"parameter": "job"}),
        ({"job": "e30"}, {"pointer": "/sheets"}),
        ({"job": "e3"}, {"parameter": "job"}),
        ({"job": packed([1])}, {"pointer": ""}),
        ({"job": base64.urlsafe_b64encode(b"{").decode()}, {"parameter": "job"}),
        ({"job": packed({"sheets": [{"material": "papr", "grammage_gsm": 80}]})}, {"pointer": "/sheets/0/material"}),
        ({"job": packed(JOB), "rank": 3}, {"parameter": "rank"}),
        ({"job": packed(JOB), "rank": 0}, {"parameter": "rank"}),
        ({"job": packed(JOB), "setup": 1}, {"parameter": "setup"}),
        ({"job": packed(JOB), "paper": "a3"}, {"parameter": "paper"}),
        ({"job": packed(JOB | {"classes": ["capacitive-200k"]})}, {"parameter": "job", "code": "no-set-up"}),
    ],
)
def test_a_wrong_link_says_where(real_api: FlaskClient, query: dict[str, Any], place: dict[str, str]) -> None:
    response = real_api.get(PATH, query_string=query)
    assert response.status_code == 422, response.text
    assert place.items() <= response.get_json()["errors"][0].items()


@pytest.mark.parametrize(
    ("job", "told"),
    [
        ({"require": {"temperature_min_c": -60}}, "No detector class meets the job's requirements"),
        (
            {"sheets": [{"material": "pet", "thickness_um": 12}], "principles": ["ultrasonic"]},
            "No detector class serves this job",
        ),
    ],
)
def test_without_a_set_up_it_says_whether_any_class_was_considered(
    real_api: FlaskClient, job: dict[str, Any], told: str
) -> None:
    (error,) = real_api.post(PATH, json=JOB | job).get_json()["errors"]
    assert error["code"] == "no-set-up"
    assert error["detail"].startswith(told)


def test_the_sheet_is_cached_like_an_answer(real_api: FlaskClient) -> None:
    link = again(page(real_api))
    response = real_api.get(link)
    assert real_api.get(link, headers={"If-None-Match": response.headers["ETag"]}).status_code == 304
    assert real_api.get(link.replace("rank=1", "rank=2")).headers["ETag"] != response.headers["ETag"]


def test_links_carry_a_publishable_key_on(real_api: FlaskClient) -> None:
    link = again(page(real_api))
    assert "key=" not in link
    text = unescape(real_api.get(f"{link}&key=shop.public").text)
    links = re.findall(r'href="(http[^"]+)"', text)
    assert len(links) == 4  # as PDF, for the other paper, behind the code, once more
    assert all(parse_qs(urlsplit(address).query)["key"] == ["shop.public"] for address in links)


def test_a_link_to_a_pdf_stands_where_there_is_one(real_api: FlaskClient, monkeypatch: pytest.MonkeyPatch) -> None:
    assert "/v1/setup-sheets.pdf?" in page(real_api)
    monkeypatch.setattr(setup_sheets, "pdf_installed", lambda: False)
    assert "/v1/setup-sheets.pdf?" not in page(real_api)


def test_without_the_extra_there_is_no_pdf(real_api: FlaskClient, monkeypatch: pytest.MonkeyPatch) -> None:
    def missing(html: str) -> bytes:
        raise NoPdf("not installed")

    monkeypatch.setattr(setup_sheets, "pdf_of", missing)
    response = real_api.post(f"{PATH}.pdf", json=JOB)
    assert response.status_code == 404
    assert "Print the page" in response.get_json()["detail"]


def test_a_link_may_carry_what_a_campaign_adds(real_api: FlaskClient) -> None:
    link = f"{PATH}?job={packed(JOB)}"
    response = real_api.get(f"{link}&utm_source=mail&utm_campaign=spring&fbclid=x", headers={"Accept": "text/html"})
    assert response.status_code == 200
    assert response.text == real_api.get(link).text


def test_a_broken_link_tells_people_on_a_page(real_api: FlaskClient) -> None:
    browser = {"Accept": "text/html,application/xhtml+xml,*/*;q=0.8"}
    response = real_api.get(f"{PATH}?job=broken", headers=browser)
    assert response.status_code == 422
    assert response.mimetype == "text/html"
    assert "The job in this link cannot be read." in response.text
    assert real_api.get(f"{PATH}?job=broken").mimetype == "application/problem+json"


def test_a_program_that_names_problems_gets_them(real_api: FlaskClient) -> None:
    program = {"Accept": "text/html, application/problem+json"}
    assert real_api.post(PATH, json=JOB, headers=program).mimetype == "text/html"
    response = real_api.post(PATH, json=JOB | {"rank": 99}, headers=program)
    assert (response.status_code, response.mimetype) == (422, "application/problem+json")
    assert [error["pointer"] for error in response.get_json()["errors"]] == ["/rank"]


@pytest.mark.parametrize(
    ("wrong", "pointer"),
    [
        ({"rank": 9}, "/rank"),
        ({"setup": 5}, "/setup"),
        ({"paper": "a3"}, "/paper"),
        ({"colour": "red"}, "/colour"),
        ({"sheets": [{"material": "papr", "grammage_gsm": 80}]}, "/sheets/0/material"),
        ({"classes": ["capacitive-200k"]}, "/sheets"),
    ],
)
def test_a_wrong_body_says_where(real_api: FlaskClient, wrong: dict[str, Any], pointer: str) -> None:
    response = real_api.post(PATH, json=JOB | wrong)
    assert response.status_code == 422
    assert response.get_json()["errors"][0]["pointer"] == pointer


@pytest.mark.parametrize("right", [200, 30, 8, 0])
@pytest.mark.parametrize("lengths", [([1], [1]), ([40] * 9, [200] * 4), ([300] * 3, [2]), ([10], [10] * 30)])
def test_columns_keep_the_order_and_leave_out_the_last(lengths: tuple[list[int], list[int]], right: int) -> None:
    first, last = (["x" * length for length in some] for some in lengths)
    blocks = [
        Block(title="a", items=first, ticked=True),
        Block(title="b", items=last, more=lambda count: f"{count} more"),
        Block(title="c", items=[]),
    ]
    columns = in_two_columns(blocks, left=20, right=right, left_out=",".join)
    told = [item for column in (columns.left, columns.right) for block in column for item in block.items]
    assert told[: len(first)] == first
    kept = told[len(first) :]
    if kept == last:
        assert columns.fit
    elif kept != ["b"]:
        assert kept == [*last[: len(kept) - 1], f"{len(last) - len(kept) + 1} more"]
    assert columns.fit or kept == ["b"]


def test_each_title_stands_once() -> None:
    blocks = [Block(title="a", items=["x"] * 30), Block(title="b", items=["x"] * 5)]
    columns = in_two_columns(blocks, left=12, right=100, left_out=",".join)
    assert [block.title for column in (columns.left, columns.right) for block in column] == ["a", None, "b"]


@pytest.mark.parametrize(
    ("metric", "us"),
    [
        ("gap 15 to 35.5 mm", "gap 0.59 to 1.40 in"),
        ("spot 14 mm × 9.9 mm", "spot 0.55 in × 0.39 in"),
        ("x -12.9 mm", "x \N{MINUS SIGN}0.51 in"),
        ("0 mm at 1,200 m/min", "0 in at 3,937 ft/min"),
        ("1.6 mm or 1.7°", "0.063 in or 1.7°"),
        ("80 g/m², 103 µm", "16.4 lb/1000 ft², 4.1 mil"),
        ("-20 to 60 °C", "\N{MINUS SIGN}4 to 140 °F"),
        ("M18x1, 20 ms, 12 mm/s", "M18x1, 20 ms, 12 mm/s"),
    ],
)
def test_us_units(metric: str, us: str) -> None:
    """By NIST SP 811: 25.4 mm are an inch, 0.45359237 kg a pound."""
    assert in_us_units(metric, language="en") == us


def test_us_units_in_german() -> None:
    assert in_us_units("1.234,5 mm und 0,5 mm", language="de") == "48,60 in und 0,020 in"
    assert in_us_units("323 bis 1.121 µm", language="de", keep="µm") == "323 bis 1.121 µm"
