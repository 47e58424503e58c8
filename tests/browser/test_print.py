"""The set-up sheet on paper: one page, A4 and letter, from the browser and as PDF."""

from __future__ import annotations

import base64
import io
import json
from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page
from pypdf import PdfReader
from sheetmargin_service.web.drawing import FONT_PT, WIDTH
from sheetmargin_service.web.pdf import pdf_of
from support.shop import Scene

SIZES_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""ISO 216 and ANSI/ASME Y14.1."""

PLAIN: dict[str, Any] = {"sheets": [{"material": "copy-paper", "grammage_gsm": 80}]}
FULL: dict[str, Any] = {
    "reference": "a long reference of the quotation, 4711-2",
    "sheets": [
        {"label": "cover of the annual report", "material": "copy-paper", "grammage_gsm": 80},
        {"label": "insert, coated on one side", "material": "coated-paper", "grammage_gsm": 115},
        {"label": "backing", "material": "pvc-rigid", "thickness_um": 760},
        {"label": "card", "material": "card-stock", "grammage_gsm": 240},
    ],
    "line": {
        "clearance_above_mm": 15,
        "body_through_frame": True,
        "clearance_below_mm": 150,
        "speed_m_per_min": 120,
        "sheet_length_mm": 420,
        "sheet_spacing_mm": 160,
        "lanes": 3,
        "flutter_mm": 3,
    },
    "controller": {"scan_ms": 10, "input_filter_ms": 3},
    "principles": ["ultrasonic"],
}


ROLLER: dict[str, Any] = {"sheets": [{"material": "pvc-rigid", "thickness_um": 760}], "classes": ["thickness-roller"]}
ONE_SIDED: dict[str, Any] = {
    "sheets": [{"material": "steel", "thickness_um": 800}],
    "principles": ["eddy-current-one-sided"],
}
TILTED: dict[str, Any] = {
    "sheets": [{"material": "folding-boxboard", "grammage_gsm": 300}],
    "principles": ["ultrasonic"],
}
BANDS: dict[str, Any] = {
    "sheets": [
        {"material": "pet", "thickness_um": 50},
        {"label": "inner", "material": "copy-paper", "grammage_gsm": 80},
        {"label": "cover", "material": "coated-board", "grammage_gsm": 300},
    ],
    "principles": ["capacitive"],
}
SMALLEST_PT = 9.0
SMALLEST_DRAWN_PT = 8.0
OVERLAPS = """() => {
  const texts = [...document.querySelectorAll("svg text")];
  const boxes = texts.map((text) => [text.textContent, text.getBoundingClientRect()]);
  return boxes.flatMap(([a, x], n) => boxes.slice(n + 1).filter(([, y]) =>
    x.left < y.right - 1 && y.left < x.right - 1 && x.top < y.bottom - 2 && y.top < x.bottom - 2).map(([b]) => [a, b]));
}"""
"""Texts of a drawing that lie on one another."""
SIZES = """() => [...document.querySelectorAll("main *")]
  .filter((element) => [...element.childNodes].some((node) => node.nodeType === 3 && node.textContent.trim()))
  .map((element) => [element.closest("svg") !== null, parseFloat(getComputedStyle(element).fontSize) * 0.75])"""
"""Of each element with text of its own: whether it is drawn, and its size in points."""


def assert_one_page(pdf: bytes, paper: str) -> str:
    """Its text."""
    reader = PdfReader(io.BytesIO(pdf))
    assert len(reader.pages) == 1
    box = reader.pages[0].mediabox
    for points, mm in zip((box.width, box.height), SIZES_MM[paper], strict=True):
        assert float(points) * 25.4 / 72 == pytest.approx(mm, abs=0.5)
    return reader.pages[0].extract_text()


def said(words: str, text: str) -> bool:
    return words.replace(" ", "") in "".join(text.split())


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize(
    ("job", "language"),
    [
        *((PLAIN, language) for language in ("en", "de")),
        (FULL, "de"),
        (ROLLER, "en"),
        (ONE_SIDED, "de"),
        (TILTED, "de"),
        (BANDS, "en"),
    ],
    ids=["plain", "plain-de", "full", "roller", "one-sided", "tilted", "bands"],
)
def test_from_the_browser(page: Page, scene: Scene, job: dict[str, Any], language: str, paper: str) -> None:
    response = page.request.post(
        f"{scene.service}/v1/setup-sheets", data=job | {"paper": paper, "language": language, "limit": 1}
    )
    assert response.ok, response.text()
    # As a page of the service, so that its style is fetched under its policy.
    page.route("**/printed", lambda route: route.fulfill(body=response.text(), content_type="text/html"))
    page.goto(f"{scene.service}/printed")
    text = assert_one_page(page.pdf(prefer_css_page_size=True, print_background=True), paper)
    assert said("keine Sicherheitseinrichtung" if language == "de" else "safety device", text)
    assert said(job.get("reference", ""), text)
    page.emulate_media(media="print")
    sizes: list[tuple[bool, float]] = page.evaluate(SIZES)
    assert min(size for drawn, size in sizes if not drawn) >= SMALLEST_PT - 0.01
    assert page.evaluate(OVERLAPS) == []
    drawing = page.locator("figure svg").bounding_box()
    assert drawing is not None
    assert FONT_PT * 0.75 * drawing["width"] / WIDTH >= SMALLEST_DRAWN_PT - 0.05


def test_with_the_notice_of_other_versions(page: Page, scene: Scene) -> None:
    job = base64.urlsafe_b64encode(json.dumps(FULL | {"limit": 1}).encode()).decode().rstrip("=")
    page.goto(f"{scene.service}/v1/setup-sheets?job={job}&paper=letter&language=de&made_with=0123456789ab.cdef01")
    text = assert_one_page(page.pdf(prefer_css_page_size=True, print_background=True), "letter")
    assert said("Modell 0123456789ab", text)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_as_pdf(require_part: Callable[[str], str], page: Page, scene: Scene, paper: str) -> None:
    require_part("pango")
    response = page.request.post(f"{scene.service}/v1/setup-sheets.pdf", data=FULL | {"paper": paper, "limit": 1})
    assert response.ok, response.text()
    text = assert_one_page(response.body(), paper)
    assert said("safety device", text)
    root = PdfReader(io.BytesIO(response.body())).trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"].value is True
    assert root["/Lang"] == "en"
    assert "/StructTreeRoot" in root
    assert response.headers["content-disposition"].startswith('inline; filename="set-up-sheet')
    links = [
        annotation.get_object()["/A"]["/URI"]
        for annotation in PdfReader(io.BytesIO(response.body())).pages[0]["/Annots"]
    ]
    assert any("/v1/setup-sheets?job=" in link for link in links)


def test_a_pdf_fetches_nothing(require_part: Callable[[str], str], scene: Scene) -> None:
    require_part("pango")
    for tag in ('<link rel="stylesheet" href="{}">', '<img src="{}">', "<style>@import url({});</style>"):
        assert pdf_of(f"{tag.format(scene.service + '/livez')}<p>x</p>").startswith(b"%PDF")
    assert scene.seen == []
