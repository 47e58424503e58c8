"""Nothing that axe-core finds; nothing cut off; readable at every width, at twice the size, and from right to left."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect
from support.shop import Scene, Selector

Open = Callable[..., Selector]
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}


def assert_clean(page: Page) -> None:
    """No violation of WCAG 2.2 AA, nor of axe-core's best practices."""
    found = Axe().run(page, options=RULES)
    told = [(one["id"], [node["html"] for node in one["nodes"]]) for one in found.response["violations"]]
    assert told == []
    # Rules that could not decide count as little as rules that did not run.
    assert len(found.response["passes"]) > 15


def assert_fits(page: Page) -> None:
    """The page scrolls down alone, as reflow (WCAG 2.2, 1.4.10) asks."""
    sizes = page.evaluate("[document.documentElement.scrollWidth, document.documentElement.clientWidth]")
    assert sizes[0] <= sizes[1]


def test_every_state(page: Page, scene: Scene, selector: Open) -> None:
    shop = selector(scene.put("states", selector='limit="2"'))
    assert_clean(page)
    shop.sheet.press_sequentially("metal 0.8 mm")
    shop.options.first.wait_for()
    shop.sheet.press("ArrowDown")
    assert_clean(page)
    shop.sheet.press("Escape")
    shop.sheet.blur()
    expect(shop.sheet).to_have_attribute("aria-invalid", "true")
    assert_clean(page)
    shop.enter("80 gsm copy paper")
    shop.answered()
    shop.unfold()
    shop.element.get_by_label("Line speed").fill("120")
    expect(shop.element.get_by_text("At this line speed the times decide:")).to_be_visible()
    shop.unfold()
    assert_clean(page)
    shop.element.get_by_role("button", name="Choose this set-up 1").click()
    assert_clean(page)
    shop.sheet.fill("900000 gsm copy paper")
    expect(shop.sheet).to_have_attribute("aria-invalid", "true")
    expect(shop.element.locator(".stale-note")).to_be_visible()
    assert_clean(page)
    page.route("**/v1/recommendations**", lambda route: route.abort())
    shop.sheet.fill("81 gsm copy paper")
    expect(shop.element.get_by_role("alert")).to_contain_text("cannot be reached")
    assert_clean(page)


# 320: a page of 1280 at four times the size.
@pytest.mark.parametrize(("width", "lang"), [(320, "en"), (360, "de"), (768, "de"), (1280, "en")])
def test_every_width(browser: Browser, scene: Scene, width: int, lang: str) -> None:
    context = browser.new_context(viewport={"width": width, "height": 800}, locale={"en": "en-GB", "de": "de-DE"}[lang])
    page = context.new_page()
    page.goto(f"{scene.service}/demo")
    shop = Selector(page)
    shop.enter("80 gsm copy paper" if lang == "en" else "Kopierpapier 80 g")
    shop.answered()
    shop.unfold()
    assert_fits(page)
    small = page.evaluate(
        """() => [...document.querySelector("sheet-selector").shadowRoot.querySelectorAll("button, input, summary")]
          .map((e) => e.getBoundingClientRect()).filter((r) => r.width > 0 && (r.width < 24 || r.height < 24)).length"""
    )
    assert small == 0  # WCAG 2.2, 2.5.8
    if width == 360:
        assert_clean(page)
    context.close()


def test_right_to_left(page: Page, scene: Scene, selector: Open) -> None:
    scene.put("rtl", selector='limit="1"')
    scene.pages["rtl"] = scene.pages["rtl"].replace("<html ", '<html dir="rtl" ')
    shop = selector(f"{scene.shop}/rtl")
    shop.enter("80 gsm copy paper")
    shop.answered()
    assert_fits(page)
    assert_clean(page)
    boxes: list[Any] = [shop.element.locator(part).first.bounding_box() for part in (".rank", ".setup h3", ".word")]
    assert boxes[0]["x"] > boxes[1]["x"] > boxes[2]["x"]  # the rank on the right, then the name, then the verdict
    # A range reads from left to right: its first number stands left of its last, and the unit behind both.
    places = (
        shop.element.locator("dd")
        .nth(2)
        .evaluate(
            """(node) => [...node.textContent.matchAll(/[\\d.]+|dB/g)].map(({ 0: text, index }) => {
          const range = document.createRange();
          range.setStart(node.firstChild, index);
          range.setEnd(node.firstChild, index + text.length);
          return range.getBoundingClientRect().x;
        })"""
        )
    )
    assert len(places) == 3
    assert places == sorted(places)


@pytest.mark.parametrize("scheme", ["reduce", "no-preference"])
def test_motion(browser: Browser, scene: Scene, scheme: Any) -> None:
    context = browser.new_context(reduced_motion=scheme)
    page = context.new_page()
    page.goto(scene.put("motion", selector='limit="1"'))
    shop = Selector(page)
    duration = shop.element.locator(".answer").evaluate("e => getComputedStyle(e).transitionDuration")
    assert (duration == "0s") == (scheme == "reduce")
    context.close()


def test_a_screen_reader_hears_an_answer_once(page: Page, scene: Scene, selector: Open) -> None:
    shop = selector(scene.put("heard", selector='limit="2"'))
    heard = shop.element.get_by_role("status")
    heard.evaluate(
        """(node) => {
          window.heard = [];
          const keep = () => node.textContent && window.heard.push(node.textContent);
          new MutationObserver(keep).observe(node, { childList: true });
        }"""
    )
    shop.sheet.press_sequentially("80 gsm copy paper", delay=30)
    shop.answered()
    shop.element.get_by_role("button", name="Choose this set-up 1").click()
    expect(heard).to_contain_text("Chosen: set-up 1")
    first, second = page.evaluate("window.heard")
    assert first.startswith("Suitable.")
    assert "2 set-ups. First: " in first
    assert second.startswith("Chosen")


def test_the_set_up_sheet(page: Page, scene: Scene) -> None:
    page.goto(f"{scene.service}/demo")
    shop = Selector(page)
    shop.enter("80 gsm copy paper")
    shop.answered()
    link = shop.element.get_by_role("link", name="Set-up sheet").first.get_attribute("href") or ""
    for width in (360, 1280):
        page.set_viewport_size({"width": width, "height": 900})
        page.goto(link)
        assert_fits(page)
        assert_clean(page)


def test_search_of_the_docs(page: Page, scene: Scene) -> None:
    page.set_viewport_size({"width": 320, "height": 800})
    page.goto(f"{scene.service}/docs")
    assert_fits(page)
    page.get_by_role("search").get_by_label("Search").fill("clearance above")
    page.keyboard.press("Enter")
    expect(page.get_by_role("status")).to_contain_text("pages with")
    assert_fits(page)
    page.get_by_role("link", name="LineInput").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("LineInput")
    expect(page.get_by_role("rowheader", name="clearance_above_mm")).to_be_visible()
    assert_fits(page)
    assert_clean(page)


@pytest.mark.long
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_docs(browser: Browser, scene: Scene, scheme: Any) -> None:
    context = browser.new_context(viewport={"width": 320, "height": 800}, color_scheme=scheme)
    page = context.new_page()
    for path in (
        "/docs",
        "/docs/selector",
        "/docs/guides",
        "/docs/calls/recommend_for_job",
        "/docs/codes",
        "/docs/glossary",
    ):
        page.goto(f"{scene.service}{path}")
        assert_fits(page)
        assert_clean(page)
    context.close()
