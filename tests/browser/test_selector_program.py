"""What a shop's own program does with the element: properties, methods, forms, links, words of its own, slots."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from io import BytesIO
from typing import Any

from playwright.sync_api import Page, expect
from pypdf import PdfReader
from support.shop import ANSWERS, Scene, Selector, recorded

Open = Callable[..., Selector]


def test_properties_and_methods(page: Page, scene: Scene, selector: Open, answer: dict[str, Any]) -> None:
    recorded(page, answer)
    shop = selector(scene.put("properties"))
    element = shop.element
    entries = {"sheets": ["250 gsm card stock"], "known": {"/line/speed_m_per_min": "120"}}
    assert element.evaluate("e => [e.value, e.result, e.choice]") == [{"sheets": [], "known": {}}, None, None]
    assert element.evaluate("e => e.choose(1)") is False
    element.evaluate("(e, value) => { e.value = value; }", entries)
    shop.answered()
    assert element.evaluate("e => e.value") == entries
    assert element.evaluate("e => e.result.recommendations.length") == 3
    assert element.evaluate("e => [e.choose(9), e.choose(2), e.choice.recommendation.rank]") == [False, True, 2]
    # The choice is confirmed in view, in a set-up that was folded.
    expect(element.locator(".chosen")).to_be_visible()
    element.evaluate("e => e.reset()")
    expect(shop.verdict).to_have_count(0)
    assert element.evaluate("e => [e.value, e.result, e.choice]") == [{"sheets": [], "known": {}}, None, None]


def test_entered_before_the_script_runs(page: Page, scene: Scene, selector: Open, answer: dict[str, Any]) -> None:
    """Programs set properties on elements that they have made and not yet put into the page."""
    recorded(page, answer)
    shop = selector(scene.put("before"))
    page.evaluate(
        """() => {
          const one = document.createElement("sheet-selector");
          one.value = { sheets: ["250 gsm card stock"] };
          document.querySelector("sheet-selector").replaceWith(one);
        }"""
    )
    shop.answered()
    expect(shop.sheet).to_have_value("250 gsm card stock")


def test_a_form_sends_the_choice(page: Page, scene: Scene, selector: Open, answer: dict[str, Any]) -> None:
    recorded(page, answer)
    scene.put("form", selector='name="detector"')
    scene.pages["form"] = re.sub(
        "(<sheet-selector.*</sheet-selector>)",
        r"<form id=order>\1<button type=reset>Reset</button></form>",
        scene.pages["form"],
    )
    shop = selector(f"{scene.shop}/form")
    sent = "() => new FormData(document.querySelector('#order')).get('detector')"
    assert shop.element.evaluate("e => e.form.id") == "order"
    shop.enter("250 gsm card stock")
    shop.answered()
    assert page.evaluate(sent) is None
    shop.element.get_by_role("button", name="Choose this set-up 1").click()
    assert json.loads(page.evaluate(sent))["recommendation"]["rank"] == 1
    page.get_by_role("button", name="Reset").click()
    assert page.evaluate(sent) is None
    expect(shop.sheet).to_have_value("")


def test_a_link_restores_what_was_entered(page: Page, scene: Scene, selector: Open, answer: dict[str, Any]) -> None:
    recorded(page, answer)
    address = scene.put("shared", selector='share="sheets"')
    shop = selector(f"{address}#part=2")
    shop.enter("250 gsm card stock")
    shop.answered()
    link = page.url
    assert re.search(r"#part=2&sheets=[\w-]+$", link)
    other = page.context.new_page()
    recorded(other, answer)
    other.goto(link)
    again = Selector(other)
    again.answered()
    expect(again.sheet).to_have_value("250 gsm card stock")
    other.goto(f"{address}?x#sheets=!!")
    expect(again.sheet).to_have_value("")  # of a broken link nothing is entered
    shop.element.evaluate("e => e.reset()")
    page.wait_for_url(f"{address}#part=2")


def test_words_of_another_language(page: Page, scene: Scene, selector: Open, answer: dict[str, Any]) -> None:
    recorded(page, answer)
    address = scene.put("words", lang="fr-CH")
    shop = selector(address)
    expect(shop.status).to_have_text("Enter a sheet. The result appears as you type.")
    page.evaluate(
        """async () => {
          const { SheetSelector } = await import(document.querySelector("script[src]").src);
          SheetSelector.addWords("fr", { waiting: "Indiquez une feuille.", verdict: { suitable: "Convient" } });
          document.querySelector("sheet-selector").replaceWith(document.createElement("sheet-selector"));
        }"""
    )
    expect(shop.status).to_have_text("Indiquez une feuille.")
    shop.enter("250 gsm card stock")
    expect(shop.verdict).to_have_text("Convient")
    expect(shop.element.locator("dt", has_text="Gap").first).to_be_visible()  # what the table lacks is English


def test_slots(page: Page, scene: Scene, selector: Open, answer: dict[str, Any]) -> None:
    nothing = {**answer, "verdict": "unsuitable", "recommendations": [], "find_out": []}
    nothing["would_serve"] = [{"code": "would-serve-clearance", "values": {}, "text": "A clearance of 60 mm."}]
    recorded(page, nothing)
    scene.put("slots")
    own = '<p slot="contact">Call Ms Ng.</p><p slot="privacy">Our own note.</p>'
    scene.pages["slots"] = scene.pages["slots"].replace("<p>Ring", f"{own}<p>Ring")
    shop = selector(f"{scene.shop}/slots")
    expect(page.get_by_text("Our own note.")).to_be_visible()
    expect(page.get_by_text("Call Ms Ng.")).to_be_hidden()
    shop.enter("250 gsm card stock")
    expect(shop.verdict).to_have_text("Not suitable")
    expect(page.get_by_text("Call Ms Ng.")).to_be_visible()
    expect(shop.element.get_by_role("region", name="What would help")).to_contain_text("A clearance of 60 mm.")
    expect(page.get_by_text("Ring our workshop.")).to_be_hidden()


def test_an_error_comes_with_its_problem(page: Page, scene: Scene, selector: Open) -> None:
    shop = selector(scene.put("problem"))
    page.evaluate(
        """() => {
          window.got = new Promise((got) => document.addEventListener("sheet-selector:error", (e) => got(e.detail)));
        }"""
    )
    problem = {"type": "/docs/problems/internal", "title": "The service failed", "status": 500, "request_id": "r-1"}
    page.route(
        ANSWERS, lambda route: route.fulfill(status=500, json=problem, headers={"Access-Control-Allow-Origin": "*"})
    )
    shop.enter("80 gsm copy paper")
    expect(shop.element.get_by_role("alert")).to_contain_text("r-1")
    assert page.evaluate("window.got") == {"schema": "sheet-selector/1", "kind": "failed", "problem": problem}


def test_nothing_is_stored(page: Page, scene: Scene, selector: Open, answer: dict[str, Any]) -> None:
    """What the note on privacy says."""
    recorded(page, answer)
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    shop = selector(scene.put("private"))
    shop.enter("250 gsm card stock")
    shop.answered()
    assert page.evaluate("[localStorage.length, sessionStorage.length, document.cookie]") == [0, 0, ""]
    assert page.evaluate("indexedDB.databases().then((all) => all.length)") == 0
    assert page.context.cookies() == []
    assert {url.split("/")[2] for url in asked} == {origin.split("/")[2] for origin in (scene.shop, scene.service)}
    expect(shop.element.get_by_text("Nothing is stored in this browser")).to_be_visible()


def test_printed_on_one_page(page: Page, scene: Scene, selector: Open, answer: dict[str, Any]) -> None:
    recorded(page, answer)
    shop = selector(scene.put("printed"))
    shop.enter("250 gsm card stock")
    shop.answered()
    shop.element.get_by_text("The machine, if you know it").click()
    printed = PdfReader(BytesIO(page.pdf(format="A4")))
    assert len(printed.pages) == 1
    text = printed.pages[0].extract_text()
    for told in ("Suitable", "Single-sheet band", "Before you rely on it", "protect"):
        assert told in text
    assert "Choose this set-up" not in text
