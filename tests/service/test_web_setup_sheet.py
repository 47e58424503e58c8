"""The set-up sheet: what it says, in whose words, for which job; and the link that makes it again."""

from __future__ import annotations

import base64
import json
import re
from html import unescape
from itertools import pairwise
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from flask.testing import FlaskClient
from sheetmargin_service.web import setup_sheets
from sheetmargin_service.web.ladder import ticks
from sheetmargin_service.web.pdf import NoPdf
from sheetmargin_service.web.setup_sheet import ON_THE_PAGE, Checklist, columns
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
    return unescape(response.text)


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
    number = Words("en").number
    for told in (
        JOB["reference"],
        "cover: copy-paper, 80 g/m²",
        setup["detector_class"]["id"],
        f"{number(setup['geometry']['gap_mm']['nominal'])} mm",
        f"{low} to {high} dB",
        answer["model_version"],
        answer["catalogue_version"],
        *(caution["text"] for caution in answer["cautions"]),
        *(step["text"] for step in answer["trial"] if step["code"] not in ON_THE_PAGE),
        *(number(sheet["signal"][state]["p50"]) for state in ("no_sheet", "single", "double")),
    ):
        assert told in text


def test_the_choice_is_the_rank(real_api: FlaskClient, answer: dict[str, Any]) -> None:
    ids = [r["setups"][0]["detector_class"]["id"] for r in answer["recommendations"]]
    assert len(set(ids)) == 2
    for rank, other in ((1, 2), (2, 1)):
        heading = re.search(r"<title>(.*)</title>", page(real_api, rank=rank))
        assert heading is not None
        assert heading[1].endswith(ids[rank - 1])
        assert ids[other - 1] not in heading[1]


def test_a_class_without_positions(real_api: FlaskClient) -> None:
    text = page(real_api, principles=["thickness"])
    assert "No positions were computed" in text
    assert text.count("<svg") == 1  # the ladder
    assert "as its own instructions say" in text


LIST: dict[str, Any] = {
    "reference": "a list",
    "sheets": [
        {"label": "hygiene tissue", "material": "tissue", "grammage_gsm": 18},
        {"label": "letter", "material": "copy-paper", "grammage_gsm": 80},
        {"label": "mailer", "material": "pvc-rigid", "thickness_um": 760},
    ],
    "classes": ["thickness-roller"],
}


def test_a_list_shows_first_what_is_not_served_then_whom_each_set_up_is_for(real_api: FlaskClient) -> None:
    answer: dict[str, Any] = real_api.post("/v1/recommendations", json=LIST).get_json()
    best = answer["recommendations"][0]
    assert [setup["sheets"] for setup in best["setups"]] == [[1], [2]]
    blocks = [step for step in answer["trial"] if step["code"] == "send-samples"]
    assert sorted(step["values"]["setup"] for step in blocks) == [0, 1]
    for number, (own, other) in enumerate((("letter", "mailer"), ("mailer", "letter"))):
        text = unescape(real_api.post(PATH, json=LIST | {"setup": number}).text)
        not_served = text.index(f"Not served:</strong> hygiene tissue: {best['not_served'][0]['text']}")
        assert not_served < text.index("Before you start") < text.index("Align and commission")
        assert "2 of 3 sheets" in text
        assert f"{own}: " in text[text.index('<section class="job">') : text.index('<dl class="plate row">')]
        assert f"Set-up {2 - number} is for {other}." in text
        assert "Change-overs while the list is run once: 1 of the profile." in text
        # The trial plan of the page is the set-up's own.
        for step in blocks:
            assert (step["text"] in text) == (step["values"]["setup"] == number)


def test_a_sheet_for_one_set_up_says_nothing_of_others(real_api: FlaskClient) -> None:
    text = page(real_api)
    assert "Not served" not in text
    assert "Change-overs" not in text
    assert " is for " not in text


def test_it_speaks_german(real_api: FlaskClient) -> None:
    text = page(real_api, language="de")
    assert '<html lang="de">' in text
    assert "Einrichteblatt" in text
    assert "keine Sicherheitseinrichtung" in text
    response = real_api.post(PATH, json=JOB, headers={"Accept-Language": "de"})
    assert response.headers["Content-Language"] == "de"


def test_every_word_is_in_both_languages() -> None:
    places = re.compile(r"\{(\w+)\}")
    for name, entry in _table().items():
        assert set(entry) == {"en", "de"}, name
        assert set(places.findall(entry["en"])) == set(places.findall(entry["de"])), name
        # Every figure on the page is one of the answer's, but for these, which are what the answer's figures mean.
        plain = re.sub(r"98 (in|von) 100|1 dB|^0, ", "", places.sub("", entry["en"]))
        assert not re.search(r"\d", plain), name


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
    assert unescape(response.text) == text


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


def test_a_job_too_long_for_a_link_has_none(real_api: FlaskClient) -> None:
    sheets = [{"label": f"{n}{' long label' * 6}", "material": "copy-paper", "grammage_gsm": 80} for n in range(20)]
    response = real_api.post(PATH, json=JOB | {"sheets": sheets})
    assert response.status_code == 200
    assert "made_with" not in response.text
    assert "too long for a link" in response.text


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
        ({"require": {"temperature_min_c": -60}}, "No class of the catalogue meets the job's requirements"),
        (
            {"sheets": [{"material": "pet", "thickness_um": 12}], "principles": ["ultrasonic"]},
            "Nothing that is admitted serves this job",
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
    assert len(links) == 3  # as PDF, for the other paper, once more
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
    assert "print the page" in response.get_json()["detail"]


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


@pytest.mark.parametrize("above", [0, 5, 40])
@pytest.mark.parametrize("lengths", [([], []), ([1], [1]), ([40] * 9, [200] * 4), ([300] * 3, []), ([10], [10] * 30)])
def test_columns_keep_every_item_in_order(lengths: tuple[list[int], list[int]], above: int) -> None:
    lists = [
        Checklist(title=title, items=[f"{title}{n}".ljust(length, "x") for n, length in enumerate(items)])
        for title, items in zip("ab", lengths, strict=True)
    ]
    left, right = columns(lists, lines_above=above)
    assert [item for part in (*left, *right) for item in part.items] == [item for part in lists for item in part.items]
    # Each title stands once, over the first of its items.
    titled = [(part.title, part.items[0]) for part in (*left, *right) if part.title is not None]
    assert titled == [(part.title, part.items[0]) for part in lists if part.items]


def test_columns_are_of_about_one_height() -> None:
    lists = [Checklist(title="a", items=["x" * 100] * 14), Checklist(title="b", items=["x" * 100] * 11)]
    left, right = columns(lists, lines_above=10)
    heights = [2 * sum(len(part.items) for part in side) for side in (left, right)]
    assert abs(heights[0] + 10 - heights[1]) <= 4


@pytest.mark.parametrize(("low", "high"), [(-4.0, 110.0), (-20.0, 2000.0), (0.001, 0.009), (37.0, 41.0)])
def test_ticks_are_round_and_inside(low: float, high: float) -> None:
    steps = ticks(low, high)
    assert 3 <= len(steps) <= 8
    assert all(low <= step <= high for step in steps)
    gaps = {float(f"{b - a:.9g}") for a, b in pairwise(steps)}
    assert len(gaps) == 1
    mantissa = float(f"{gaps.pop():.9e}".split("e")[0])
    assert mantissa in (1.0, 2.0, 5.0)


@pytest.mark.parametrize(
    ("value", "en", "de"),
    [(-3.62, "−3.6", "−3,6"), (30.0, "30", "30"), (-0.0, "0", "0"), (-0.04, "0", "0")],
)
def test_numbers(value: float, en: str, de: str) -> None:
    assert (Words("en").number(value), Words("de").number(value)) == (en, de)
