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
    assert found.violations_count == 0, found.generate_report()
    # Rules that could not decide count as little as rules that did not run.
    assert len(found.response["passes"]) > 15


def assert_fits(page: Page) -> None:
    """The page scrolls down alone, as reflow (WCAG 2.2, 1.4.10) asks."""
    sizes = page.evaluate("[document.documentElement.scrollWidth, document.documentElement.clientWidth]")
    assert sizes[0] <= sizes[1]


def test_every_state(page: Page, scene: Scene, selector: Open) -> None:
    shop = selector(scene.put("states", selector='limit="2"'))
    assert_clean(page)
    shop.material.fill("copy paper")
    shop.options.first.wait_for()
    shop.material.press("ArrowDown")
    assert_clean(page)
    shop.material.press("Enter")
    shop.size.fill("80")
    shop.answered()
    shop.unfold()
    assert_clean(page)
    shop.size.fill("900000")
    expect(shop.element.get_by_role("alert")).to_contain_text("the field says what")
    expect(shop.size).to_have_attribute("aria-invalid", "true")
    assert_clean(page)
    page.route("**/v1/recommendations**", lambda route: route.abort())
    shop.size.fill("81")
    expect(shop.element.get_by_role("alert")).to_contain_text("cannot be reached")
    assert_clean(page)


# 320: a page of 1280 at four times the size.
@pytest.mark.parametrize(("width", "lang"), [(320, "en"), (360, "de"), (768, "de"), (1280, "en")])
def test_every_width(browser: Browser, scene: Scene, width: int, lang: str) -> None:
    context = browser.new_context(viewport={"width": width, "height": 800}, locale={"en": "en-GB", "de": "de-DE"}[lang])
    page = context.new_page()
    page.goto(f"{scene.service}/demo")
    shop = Selector(page, lang=lang)
    shop.pick("copy paper" if lang == "en" else "Kopierpapier", "80")
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
    shop.pick("copy paper", "80")
    shop.answered()
    assert_fits(page)
    assert_clean(page)
    boxes: list[Any] = [shop.element.locator(part).first.bounding_box() for part in (".rank", ".setup h3", ".word")]
    assert boxes[0]["x"] > boxes[1]["x"] > boxes[2]["x"]  # the rank on the right, then the name, then the verdict
    # The scale of the ladder keeps to the left of its axis.
    tick = shop.element.locator("text.scale").first.bounding_box()
    axis = shop.element.locator("line.axis").first.bounding_box()
    assert tick is not None
    assert axis is not None
    assert tick["x"] + tick["width"] <= axis["x"]


@pytest.mark.parametrize("scheme", ["reduce", "no-preference"])
def test_motion(browser: Browser, scene: Scene, scheme: Any) -> None:
    context = browser.new_context(reduced_motion=scheme)
    page = context.new_page()
    page.goto(scene.put("motion"))
    duration = page.locator("sheet-selector .answer").evaluate("e => getComputedStyle(e).transitionDuration")
    assert (duration == "0s") == (scheme == "reduce")
    context.close()


def test_a_screen_reader_hears_the_answer(page: Page, scene: Scene, selector: Open) -> None:
    shop = selector(scene.put("heard", selector='limit="2"'))
    shop.material.fill("copy paper")
    heard = shop.element.get_by_role("status")
    expect(heard.filter(has_text="materials found")).to_have_count(1)
    shop.options.first.click()
    shop.size.fill("80")
    shop.answered()
    expect(heard.filter(has_text="2 set-ups. First: ")).to_have_count(1)
    shop.element.get_by_role("button", name="Choose this set-up 1").click()
    expect(heard.filter(has_text="Set-up 1 chosen.")).to_have_count(1)


def test_the_set_up_sheet(page: Page, scene: Scene) -> None:
    page.goto(f"{scene.service}/demo")
    shop = Selector(page)
    shop.pick("copy paper", "80")
    shop.answered()
    link = shop.element.get_by_role("link", name="Set-up sheet").first.get_attribute("href") or ""
    for width in (360, 1280):
        page.set_viewport_size({"width": width, "height": 900})
        page.goto(link)
        assert_fits(page)
        assert_clean(page)


@pytest.mark.long
def test_the_docs(page: Page, scene: Scene) -> None:
    page.goto(f"{scene.service}/docs")
    assert_clean(page)
