"""What is entered and what is shown belong together: nothing stale is chosen, nothing entered is dropped in silence."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Browser, Locator, Page, Route, expect
from support.shop import ANSWERS, Scene, Selector, recorded

Open = Callable[..., Selector]
CHOSEN = "() => { window.chosen = 0; document.addEventListener('sheet-selector:choose', () => (window.chosen += 1)); }"


def copy(answer: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(json.dumps(answer))
    return found


def test_an_answer_to_earlier_entries_cannot_be_chosen(
    page: Page, scene: Scene, selector: Open, answer: dict[str, Any]
) -> None:
    recorded(page, answer)
    shop = selector(scene.put("stale"))
    page.evaluate(CHOSEN)
    shop.enter("18 gsm tissue")
    shop.answered()
    held: list[Route] = []
    page.unroute(ANSWERS)
    page.route(ANSWERS, lambda route: held.append(route))
    button = shop.element.get_by_role("button", name="Choose this set-up 1")
    shop.sheet.fill("20 gsm tissue")
    expect(button).to_be_disabled()
    expect(shop.element.get_by_text("These figures belong to your previous entries.")).to_be_visible()
    button.dispatch_event("click")
    assert page.evaluate("document.querySelector('sheet-selector').choose(1)") is False
    assert page.evaluate("window.chosen") == 0
    expect(shop.status).to_have_text("Computing the result.")
    held[0].fulfill(body=json.dumps(answer), headers={"Access-Control-Allow-Origin": "*"})
    expect(button).to_be_enabled()
    button.click()
    assert page.evaluate("window.chosen") == 1
    expect(shop.element.locator(".chosen")).to_have_text(
        "Chosen: set-up 1: Ultrasonic pair, 400 kHz (ultrasonic-400k)."
    )


def test_moving_the_element_asks_again(page: Page, scene: Scene, selector: Open, answer: dict[str, Any]) -> None:
    shop = selector(scene.put("moved", body="<section></section>"))
    held: list[Route] = []
    page.route(ANSWERS, lambda route: held.append(route))
    shop.enter("18 gsm tissue")
    expect(shop.status).to_have_text("Computing the result.")
    page.evaluate("document.querySelector('section').append(document.querySelector('sheet-selector'))")
    page.wait_for_function("() => true", timeout=1000)
    expect(shop.status).to_have_text("")
    expect(shop.status).to_have_text("Computing the result.")
    held[-1].fulfill(body=json.dumps(answer), headers={"Access-Control-Allow-Origin": "*"})
    shop.answered()
    assert len(held) == 2


def test_what_is_not_complete_blocks_the_answer(
    page: Page, scene: Scene, selector: Open, answer: dict[str, Any]
) -> None:
    recorded(page, answer)
    shop = selector(scene.put("half"))
    shop.enter("18 gsm tissue")
    shop.answered()
    shop.element.get_by_role("button", name="Add a sheet").click()
    shop.sheet.nth(1).fill("copper")
    expect(shop.status).to_have_text("Not complete yet: Sheet 2.")
    expect(shop.element.get_by_text("Add the grammage or thickness of copper")).to_be_visible()
    expect(shop.element.get_by_role("button", name="Choose this set-up 1")).to_be_disabled()
    asked = [path for _, path, _ in scene.seen if "recommendations" in path]
    # An empty row is none.
    shop.sheet.nth(1).fill("")
    expect(shop.element.get_by_role("button", name="Choose this set-up 1")).to_be_enabled()
    assert asked == []


@pytest.mark.parametrize(
    ("lang", "text", "speed", "um", "m_per_min"),
    [
        ("en", "1,200 um greyboard", "1,200", 1200, 1200),
        ("en", "1.2 mm greyboard", "1.2", 1200, 1.2),
        ("de", "Graupappe 1.200 µm", "1.200", 1200, 1200),
        ("de", "Graupappe 1,2 mm", "1,2", 1200, 1.2),
    ],
)
def test_thousands_and_decimals(
    page: Page,
    scene: Scene,
    selector: Open,
    answer: dict[str, Any],
    lang: str,
    text: str,
    speed: str,
    um: float,
    m_per_min: float,
) -> None:
    recorded(page, answer)
    shop = selector(scene.put("thousands", lang=lang))
    shop.enter(text)
    shop.element.locator("[part=machine] summary").click()
    with page.expect_request(lambda r: r.method == "POST" and "speed" in (r.post_data or "")) as sent:
        shop.element.get_by_label(re.compile("Line speed|Liniengeschwindigkeit")).fill(speed)
    job = sent.value.post_data_json
    assert job["sheets"][0]["thickness_um"] == um
    assert job["line"]["speed_m_per_min"] == m_per_min


def test_the_headline_is_the_verdict(page: Page, scene: Scene, selector: Open, answer: dict[str, Any]) -> None:
    """A margin below zero beside a verdict of trial: no words of its own that say otherwise."""
    words = {"suitable": "Suitable", "trial-needed": "Trial needed", "unsuitable": "Not suitable"}
    for verdict, word in words.items():
        found = copy(answer) | {"verdict": verdict}
        found["recommendations"][0]["sheets"][0]["margin"]["double"] = -0.4
        page.unroute_all()
        recorded(page, found)
        shop = selector(scene.put("words"))
        shop.enter("18 gsm tissue")
        expect(shop.verdict).to_have_text(word)
        expect(shop.element.locator("svg[part=ladder]").first.locator("text.fault").last).to_have_text(
            "margin \u22120.4\u00a0dB"
        )
        assert "look right" not in shop.element.inner_text()


@pytest.mark.parametrize("text", ["E flute", "corrugated board", "C flute 140/120/140"])
def test_corrugated_board(page: Page, scene: Scene, selector: Open, answer: dict[str, Any], text: str) -> None:
    recorded(page, answer)
    shop = selector(scene.put("corrugated"))
    with page.expect_request(re.compile("/v1/recommendations")) as sent:
        shop.enter(text)
    assert (
        re.search("construction=corrugated-[be]", sent.value.url)
        or "corrugated" in sent.value.post_data_json["sheets"][0]
    )
    shop.answered()


@pytest.mark.parametrize(
    ("text", "first"),
    [
        ("0.76 mm PVC", "760 µm rigid PVC"),
        ("sticker", "paper label stock"),
        ("0.5 mm metal", "500 µm steel sheet"),
        ("plexi 3 mm", "3 mm acrylic (PMMA)"),
        ("18 pt board", "18 pt folding boxboard"),
    ],
)
def test_common_words(page: Page, scene: Scene, selector: Open, answer: dict[str, Any], text: str, first: str) -> None:
    recorded(page, answer)
    shop = selector(scene.put("common"))
    shop.sheet.fill(text)
    told = shop.element.locator("[part=understood]")
    expect(told).to_contain_text(first)
    if text == "0.5 mm metal":
        shop.sheet.blur()
        told.get_by_role("button", name=first).click()
    shop.answered()


def test_tab_leaves_an_open_list_for_the_next_field(page: Page, scene: Scene, selector: Open) -> None:
    shop = selector(scene.put("tab"))
    shop.sheet.press_sequentially("metal 0.5 mm")
    shop.options.first.wait_for()
    page.keyboard.press("Tab")
    expect(shop.options).to_have_count(0)
    assert page.evaluate("document.activeElement?.shadowRoot?.activeElement?.tagName") in ("BUTTON", "SUMMARY")


@pytest.mark.parametrize("service", ["http://", "not an address", "javascript:0"])
def test_a_malformed_service_leaves_the_pages_own_content(
    page: Page, scene: Scene, selector: Open, service: str
) -> None:
    if service == "not an address":
        service = "https://[not"
    shop = selector(scene.put("malformed", selector=f'service="{service}"'))
    expect(page.get_by_text("Ring our workshop.")).to_be_visible()
    expect(shop.element.get_by_role("alert")).to_contain_text("address")


def test_one_complaint_once_typing_pauses(page: Page, scene: Scene, selector: Open, answer: dict[str, Any]) -> None:
    recorded(page, answer)
    shop = selector(scene.put("complaint"))
    shop.enter("18 gsm tissue")
    shop.element.get_by_text("The machine, if you know it").click()
    speed = shop.element.get_by_label("Line speed")
    speed.press_sequentially("-1x")
    assert shop.element.locator(".error:visible").count() == 0
    expect(shop.element.locator(".error:visible")).to_have_text("Enter a number.")
    assert shop.element.get_by_role("alert").all_inner_texts() == [""]


def test_what_to_find_out_next_is_answered_in_place(
    page: Page, scene: Scene, selector: Open, answer: dict[str, Any]
) -> None:
    """A finding shows the chance that it would give; a value entered goes into the job, and the chance moves."""
    found = copy(answer)
    finding = {"answer": None, "share": 0.5, "verdict": "suitable", "low": 900, "high": None, "chance": 0.97}
    other = finding | {"low": None, "high": 900, "chance": 0.02, "verdict": "unsuitable"}
    found["recommendations"][0] |= {"chance": 0.4, "verdict": "trial-needed"}
    found["verdict"] = "trial-needed"
    found["find_out"] = [
        {
            "code": "find-out-permeance", "text": "Measure the air permeance.", "values": {}, "input": "permeance",
            "pointers": ["/sheets/0/air_permeance_um_per_pa_s"], "unit": "um/(Pa s)", "effect": 0.3,
            "findings": [other, finding], "detector_class": "ultrasonic-400k",
        }
    ]  # fmt: skip
    recorded(page, found)
    shop = selector(scene.put("next"))
    shop.enter("18 gsm tissue")
    box = shop.element.get_by_role("region", name="Find out next")
    box.get_by_role("button", name="above 900\u00a0µm/(Pa s): 97\u00a0%, Suitable").click()
    chance = shop.element.locator("header [part=chance]")
    expect(chance).to_contain_text("97\u00a0%")
    expect(chance).to_contain_text("it was 40\u00a0%")
    page.unroute(ANSWERS)
    recorded(page, answer | {"find_out": found["find_out"]})
    with page.expect_request(lambda r: r.url.endswith("recommendations") or "permeance" in r.url) as sent:
        field = box.get_by_label("Yours")
        field.fill("1,200")
        field.press("Enter")
    assert "air_permeance_um_per_pa_s=1200" in sent.value.url
    expect(chance).to_contain_text("it was 40\u00a0%")
    expect(field).to_be_focused()


def test_what_is_not_served_blocks_the_headline(
    page: Page, scene: Scene, selector: Open, answer: dict[str, Any]
) -> None:
    """Of two sheets one is served: the verdict is no yes, and the set-up names the sheet that it is for."""
    found = copy(answer) | {"verdict": "unsuitable"}
    found["sheets"] = [found["sheets"][0] | {"index": index} for index in (0, 1)]
    best = found["recommendations"][0]
    best["not_served"] = [{"code": "overlap", "values": {}, "index": 0, "text": "It looks like two."}]
    best |= {"serves": {"count": 1, "of": 2}, "verdict": "suitable", "chance": 0.99}
    best["sheets"][0]["index"] = 1
    best["setups"][0]["sheets"] = [1]
    recorded(page, found)
    shop = selector(scene.put("list"))
    # Both at once: the answer is one to two sheets.
    shop.element.evaluate("e => { e.value = { sheets: ['18 gsm tissue', '80 gsm copy paper'] }; }")
    header = shop.element.locator("header")
    expect(shop.verdict).to_have_text("Not suitable")
    expect(header).to_contain_text("The best set-up serves 1 of 2 sheets.")
    expect(header.locator(".not-served li")).to_have_text("Not served: Sheet 1 (18 g/m² tissue). It looks like two.")
    # The chance is that of the sheet which is served: it stands with the set-up.
    expect(header.locator("[part=chance]")).to_have_count(0)
    expect(shop.element.locator("summary .word").first).to_have_text("Suitable, 99\u00a0% (1 of 2 sheets)")
    expect(shop.element.locator("li > details h4").first).to_contain_text("Sheet 2")


def test_titles_tell_set_ups_apart(page: Page, scene: Scene, selector: Open, answer: dict[str, Any]) -> None:
    recorded(page, answer)
    shop = selector(scene.put("titles"))
    shop.enter("18 gsm tissue")
    shop.answered()
    titles = shop.element.locator(".setup h3").all_text_contents()
    names = [title.partition(": ")[2] for title in titles]
    assert len(set(names)) == len(names) == 3


def box(locator: Locator) -> dict[str, float]:
    found = locator.bounding_box()
    assert found is not None
    return dict(found)


def test_drawings_have_one_scale_and_a_counter_roller(
    page: Page, scene: Scene, selector: Open, answer: dict[str, Any]
) -> None:
    recorded(page, answer)
    shop = selector(scene.put("drawings"))
    shop.enter("18 gsm tissue")
    shop.answered()
    shop.unfold()
    drawings = shop.element.locator("svg[part=drawing]")
    faces = [
        [float(face.get_attribute("y1") or "") for face in drawings.nth(index).locator(".face").all()]
        for index in (0, 2)
    ]
    gaps = [answer["recommendations"][index]["setups"][0]["geometry"]["gap_mm"]["nominal"] for index in (0, 2)]
    drawn = [abs(below - above) for below, above in faces]
    assert gaps[1] == 3
    assert drawn[1] / drawn[0] == pytest.approx(gaps[1] / gaps[0], rel=0.02, abs=0.01)
    bars = [drawings.nth(index).locator(".scale-bar").get_attribute("d") for index in range(3)]
    assert len(set(bars)) == 1
    roller = drawings.nth(1)
    expect(roller.get_by_text("counter-roller")).to_be_visible()
    assert roller.locator("circle.head").count() == 2
    expect(drawings.first.get_by_text("60\u00a0mm free")).to_be_visible()


@pytest.mark.parametrize("width", [360, 1280])
def test_figures_are_readable(page: Page, scene: Scene, selector: Open, answer: dict[str, Any], width: int) -> None:
    """No text on a line or below 12 px; a median is seen in its bar."""
    page.set_viewport_size({"width": width, "height": 900})
    recorded(page, answer)
    shop = selector(scene.put("readable"))
    shop.enter("18 gsm tissue")
    shop.answered()
    ladder = shop.element.locator("svg[part=ladder]").first
    scale = box(ladder)["width"] / 320
    sizes = ladder.locator("text").evaluate_all("(all) => all.map((t) => parseFloat(getComputedStyle(t).fontSize))")
    assert min(sizes) * scale >= 12
    texts = [box(text) for text in ladder.locator("text").all()]
    lines = [box(line) for line in ladder.locator("line.edge, line.median, rect.bar, line.dimension").all()]
    for text in texts:
        for line in lines:
            apart = (
                text["x"] >= line["x"] + line["width"]
                or line["x"] >= text["x"] + text["width"]
                or text["y"] >= line["y"] + line["height"] - 1
                or line["y"] >= text["y"] + text["height"] - 1
            )
            assert apart
    for state in ("single", "double"):
        ground = ladder.locator(f"rect.bar.{state}").first.evaluate("(e) => getComputedStyle(e).fill")
        median = ladder.locator("line.median.within").first.evaluate("(e) => getComputedStyle(e).stroke")
        assert ground != median


def test_american_units_in_the_answer(page: Page, scene: Scene, selector: Open, answer: dict[str, Any]) -> None:
    recorded(page, answer)
    shop = selector(scene.put("american", selector='units="us"'))
    shop.enter("18 gsm tissue")
    shop.answered()
    gap = answer["recommendations"][0]["setups"][0]["geometry"]["gap_mm"]["nominal"]
    facts = shop.element.locator("dl").first
    expect(facts).to_contain_text(f"{round(gap / 25.4, 2):g}\u00a0in")
    assert "mm" not in facts.inner_text()
    assert "mm" not in " ".join(shop.element.locator("svg[part=drawing]").first.locator("text").all_text_contents())
    assert shop.element.locator("header .understood").inner_text().endswith("mil)")


def test_forced_colours(browser: Browser, scene: Scene, answer: dict[str, Any]) -> None:
    """The active option and the drawings are seen where the system sets the colours."""
    context = browser.new_context(forced_colors="active", color_scheme="dark", locale="en-GB")
    page = context.new_page()
    recorded(page, answer)
    page.goto(scene.put("forced"))
    shop = Selector(page)
    shop.sheet.press_sequentially("metal 0.5 mm")
    shop.options.first.wait_for()
    shop.sheet.press("ArrowDown")
    background = "(e) => getComputedStyle(e).backgroundColor"
    assert shop.options.first.evaluate(background) != shop.options.nth(1).evaluate(background)
    shop.enter("18 gsm tissue")
    shop.answered()
    ground = page.locator("body").evaluate(
        "(e) => { e.style.background = 'Canvas'; return getComputedStyle(e).backgroundColor; }"
    )
    for part in ("line.sheet", "polygon.head", "line.face", "line.edge", "rect.bar.single"):
        stroke = shop.element.locator(part).first.evaluate("(e) => getComputedStyle(e).stroke")
        assert stroke != ground, part
    context.close()
