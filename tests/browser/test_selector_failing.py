"""The selector where the network or the service does not play along: it says what to do, keeps the entries, goes on."""

from __future__ import annotations

import json
import re
import time
from collections.abc import Callable
from itertools import pairwise
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Page, Route, expect
from support.shop import Scene, Selector

Open = Callable[..., Selector]
ANSWERS = "**/v1/recommendations**"


def refuse(page: Page, status: int, problem: dict[str, Any] | None = None, **headers: str) -> list[float]:
    """Answer every question with a status; the times at which it was asked."""
    times: list[float] = []

    def answer(route: Route) -> None:
        times.append(time.monotonic())
        shared = {"Access-Control-Allow-Origin": "*", "Access-Control-Expose-Headers": "Retry-After"}
        body = json.dumps(problem or {"status": status, "errors": [], "request_id": "abc123"})
        route.fulfill(status=status, body=body, content_type="application/problem+json", headers=shared | headers)

    page.route(ANSWERS, answer)
    return times


def test_a_slow_answer_is_announced_and_only_the_last_shows(page: Page, scene: Scene, selector: Open) -> None:
    held: list[Route] = []
    page.route(re.compile(r"/v1/recommendations.*grammage_gsm=80&"), lambda route: held.append(route))
    shop = selector(scene.put("slow", selector='limit="1"'))
    shop.enter("80 gsm copy paper")
    expect(shop.status).to_have_text("Computing the result.")
    expect(shop.element.locator(".skeleton")).to_be_visible()
    expect(shop.element.locator("css=[part=answer]")).to_have_attribute("aria-busy", "true")
    with page.expect_event("requestfailed") as stopped:
        shop.sheet.fill("90 gsm copy paper")
    assert "grammage_gsm=80" in stopped.value.url
    assert stopped.value.failure == "net::ERR_ABORTED"
    shop.answered()
    expect(shop.element.get_by_text("90 g/m² copy paper").first).to_be_visible()
    expect(shop.status).to_be_hidden()
    expect(shop.element.locator(".skeleton")).to_have_count(0)
    assert len(held) == 1


def test_typing_asks_once_and_going_back_asks_nobody(page: Page, scene: Scene, selector: Open) -> None:
    shop = selector(scene.put("typing", selector='limit="1"'))
    shop.sheet.press_sequentially("120 gsm copy paper", delay=60)
    shop.answered()
    header = shop.element.locator("header .understood")
    shop.sheet.fill("130 gsm copy paper")
    expect(header).to_contain_text("130 g/m²")
    shop.sheet.fill("120 gsm copy paper")
    expect(header).to_contain_text("120 g/m²")
    asked = [re.search(r"grammage_gsm=(\d+)", path) for _, path, _ in scene.seen if "recommendations" in path]
    assert [match[1] for match in asked if match] == ["120", "130"]


def test_an_unreachable_service(page: Page, scene: Scene, selector: Open) -> None:
    page.route(ANSWERS, lambda route: route.abort())
    shop = selector(scene.put("gone", selector='limit="1"'))
    shop.enter("80 gsm copy paper")
    alert = shop.element.get_by_role("alert")
    expect(alert).to_contain_text("cannot be reached")
    expect(page.get_by_text("Ring our workshop.")).to_be_visible()
    expect(shop.sheet).to_have_value("80 gsm copy paper")
    page.unroute(ANSWERS)
    retry = alert.get_by_role("button", name="Try again")
    retry.focus()
    page.keyboard.press("Enter")
    shop.answered()
    expect(shop.verdict).to_be_focused()  # not lost with the button
    expect(alert).to_be_empty()
    expect(page.get_by_text("Ring our workshop.")).to_be_hidden()


def test_offline_and_back(page: Page, context: BrowserContext, scene: Scene, selector: Open) -> None:
    shop = selector(scene.put("offline", selector='limit="1"'))
    shop.enter("80 gsm copy paper")
    shop.answered()
    context.set_offline(True)
    shop.sheet.fill("100 gsm copy paper")
    expect(shop.element.get_by_role("alert")).to_contain_text("offline")
    context.set_offline(False)
    expect(shop.element.locator("header .understood")).to_contain_text("100 g/m²")


def test_a_page_of_another_origin_gets_no_answer(page: Page, scene: Scene, selector: Open) -> None:
    scene.put("stranger")
    # The same shop by another name is another origin, which the service does not list.
    other = scene.shop.replace("localhost", "shop.localhost")
    shop = selector(f"{other}/stranger")
    shop.sheet.fill("80 gsm copy paper")
    expect(shop.element.get_by_role("alert")).to_contain_text("cannot be reached")
    expect(page.get_by_text("Ring our workshop.")).to_be_visible()


def test_a_busy_service_is_asked_again(page: Page, scene: Scene, selector: Open) -> None:
    times = refuse(page, 503, **{"Retry-After": "1"})
    shop = selector(scene.put("busy", selector='limit="1"'))
    shop.enter("80 gsm copy paper")
    expect(shop.element.get_by_role("alert")).to_contain_text("Next attempt in 1 s")
    expect(shop.element.get_by_role("alert")).to_contain_text("still busy", timeout=8000)
    assert len(times) == 4
    assert all(later - earlier >= 0.9 for earlier, later in pairwise(times))
    page.unroute(ANSWERS)
    shop.element.get_by_role("button", name="Try again").click()
    shop.answered()


@pytest.mark.parametrize(
    ("status", "told"),
    [(401, "does not accept this page's key"), (403, "does not accept this page's key"), (500, "name request abc123")],
)
def test_other_failures(page: Page, scene: Scene, selector: Open, status: int, told: str) -> None:
    refuse(page, status)
    shop = selector(scene.put("failing"))
    shop.enter("80 gsm copy paper")
    expect(shop.element.get_by_role("alert")).to_contain_text(told)
    expect(page.get_by_text("Ring our workshop.")).to_be_visible()


def test_a_misspelt_material_is_marked_and_mended(page: Page, scene: Scene, selector: Open) -> None:
    shop = selector(scene.put("misspelt", selector='limit="1"'))
    shop.sheet.fill("coppypapr 80 gsm")
    page.keyboard.press("Tab")
    expect(shop.sheet).to_have_attribute("aria-invalid", "true")
    error = shop.element.get_by_text("Which one?")
    expect(error).to_be_visible()
    described = (shop.sheet.get_attribute("aria-describedby") or "").split()
    assert error.evaluate("(e, ids) => ids.includes(e.closest('div').id)", described)
    shop.element.get_by_role("button", name="80 g/m² copy paper", exact=True).click()
    shop.answered()
    expect(shop.sheet).to_be_focused()
    expect(shop.sheet).to_have_value("80 g/m² copy paper")
    expect(shop.sheet).to_have_attribute("aria-invalid", "false")


def test_impossible_sizes_are_marked(page: Page, scene: Scene, selector: Open) -> None:
    shop = selector(scene.put("sizes", selector='limit="1"'))
    shop.sheet.fill("900 gsm copy paper")
    expect(shop.element.get_by_text("far outside the usual")).to_be_visible()
    expect(shop.sheet).to_have_attribute("aria-invalid", "true")
    shop.sheet.fill("80 gsm copy paper")
    shop.answered()
    expect(shop.sheet).to_have_attribute("aria-invalid", "false")
    shop.element.get_by_text("The machine, if you know it").click()
    speed = shop.element.get_by_label("Line speed")
    for text, told in (("fast", "Enter a number."), ("-80", "above zero")):
        speed.fill(text)
        expect(shop.element.get_by_text(told)).to_be_visible()
    expect(shop.status).to_have_text("Not complete yet: Line speed.")
    assert len([path for _, path, _ in scene.seen if "recommendations" in path]) == 1


def test_a_contradiction_on_the_machine_is_marked(page: Page, scene: Scene, selector: Open) -> None:
    shop = selector(scene.put("machine", selector='limit="1"'))
    shop.enter("80 gsm copy paper")
    shop.element.get_by_text("The machine, if you know it").click()
    shop.element.get_by_label("Coldest air").fill("30")
    shop.element.get_by_label("Warmest air").fill("-5")
    expect(shop.element.get_by_text("The lower limit is above the upper limit.").first).to_be_visible()
    expect(shop.element.get_by_label("Warmest air")).to_have_attribute("aria-invalid", "true")
    shop.element.get_by_label("Warmest air").fill("35")
    shop.answered()


def test_a_fault_that_no_field_has(page: Page, scene: Scene, selector: Open) -> None:
    shop = selector(scene.put("catalogue", selector='catalogue="nowhere"'))
    shop.enter("80 gsm copy paper")
    expect(shop.element.get_by_role("alert")).to_contain_text("This catalogue does not exist.")


def test_nothing_serves(page: Page, scene: Scene, selector: Open) -> None:
    shop = selector(scene.put("nothing"))
    page.evaluate("() => document.addEventListener('sheet-selector:result', (event) => (window.result = event.detail))")
    refusal = {"code": "below-noise", "detector_class": "some-class", "text": "One sheet is hidden.", "values": {}}
    caution = {"code": "not-a-safety-device", "text": "It is no safety device.", "values": {}}
    summary = {"index": 0, "label": None, "material": "steel", "grammage_gsm": 78500, "thickness_um": 10000}
    answer = {
        "reference": None, "job": {}, "model_version": "m", "catalogue_version": "c", "verdict": "unsuitable",
            "sheets": [summary],
        "recommendations": [], "alternatives": [], "ruled_out": [refusal], "trial": [], "assumptions": [],
        "cautions": [caution],
    }  # fmt: skip
    headers = {"Access-Control-Allow-Origin": "*"}
    page.route(ANSWERS, lambda route: route.fulfill(body=json.dumps(answer), headers=headers))
    shop.enter("10 mm steel")
    expect(shop.verdict).to_have_text("Not suitable")
    expect(shop.element.get_by_text("What would help")).to_be_visible()
    expect(shop.element.get_by_text("some-class: One sheet is hidden.")).to_be_visible()
    expect(shop.element.get_by_text("It is no safety device.")).to_be_visible()
    result = page.evaluate("window.result")
    assert (result["recommendation"], result["order"], result["setup_sheets"]) == (None, [], [])


def test_the_key_goes_in_the_query(page: Page, scene: Scene, selector: Open) -> None:
    shop = selector(scene.put("key", selector='key="shop.secret" limit="1"'))
    shop.enter("80 gsm copy paper")
    shop.answered()
    asked = [(method, path) for method, path, _ in scene.seen if path.startswith("/v1/")]
    assert {method for method, _ in asked} == {"GET"}
    assert all("key=shop.secret" in path for _, path in asked)
    assert "key=shop.secret" in (shop.element.get_by_role("link").first.get_attribute("href") or "")


def test_another_service_by_its_attribute(page: Page, scene: Scene, selector: Open) -> None:
    shop = selector(scene.put("other", selector=f'service="{scene.service}/under/a/path" limit="1"'))
    with page.expect_request(re.compile("/under/a/path/v1/sheets")):
        shop.sheet.fill("paper")
    page.locator("sheet-selector").evaluate("(element, url) => element.setAttribute('service', url)", scene.service)
    shop.enter("80 gsm copy paper")
    shop.answered()
