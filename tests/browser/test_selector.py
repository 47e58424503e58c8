"""The selector in a shop on another origin: asked, answered, chosen from."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from playwright.sync_api import ConsoleMessage, Page, expect
from support.shop import GUIDE, Scene, Selector

Open = Callable[..., Selector]
LISTEN = "name => { window.got = []; document.addEventListener(name, (event) => window.got.push(event.detail)); }"

FOCUSED = """() => {
  const element = document.activeElement?.shadowRoot?.activeElement;
  if (!element) return "";
  const outline = getComputedStyle(element).outlineStyle;
  return [element.getAttribute("role") ?? element.tagName, element.className, outline].join(" ");
}"""


def asked(scene: Scene) -> list[tuple[str, dict[str, list[str]]]]:
    """Method and query of what the service was asked to recommend, and of what browsers asked before."""
    return [
        (method, parse_qs(urlsplit(path).query))
        for method, path, _ in scene.seen
        if path.startswith("/v1/recommendations")
    ]


def listen(page: Page, name: str) -> None:
    page.evaluate(LISTEN, f"sheet-selector:{name}")


def got(page: Page) -> list[dict[str, Any]]:
    details: list[dict[str, Any]] = page.evaluate("window.got")
    return details


def test_a_page_of_fifteen_lines_sells_a_part(page: Page, scene: Scene, selector: Open) -> None:
    guide = re.search(r"^```html\n(.*?)^```$", GUIDE.read_text(encoding="utf-8"), re.DOTALL | re.MULTILINE)
    assert guide is not None
    assert len(guide[1].splitlines()) == 15
    scene.pages["fifteen"] = guide[1].replace("https://SERVICE", scene.service)
    shop = selector(f"{scene.shop}/fifteen")
    listen(page, "choose")
    shop.enter("80 gsm copy paper")
    shop.answered()
    assert shop.element.locator("li > details").count() == 3
    shop.element.get_by_role("button", name="Choose this set-up 1").click()
    cart = page.locator("#cart li")
    expect(cart.first).to_be_visible()
    (detail,) = got(page)
    assert detail["schema"] == "sheet-selector/1"
    assert detail["reference"] == "basket 17"
    assert detail["recommendation"]["rank"] == 1
    chosen = detail["recommendation"]["setups"][0]["detector_class"]["id"]
    assert cart.all_inner_texts() == [f"{line['quantity']} x {line['role']}: {chosen}" for line in detail["order"]]
    # One question, without asking before, from the shop.
    assert asked(scene) == [
        ("GET", {"material": ["copy-paper"], "grammage_gsm": ["80"], "limit": ["3"], "language": ["en"]})
    ]
    assert {origin for _, path, origin in scene.seen if path.startswith("/v1/")} == {scene.shop}


def test_keyboard_alone(page: Page, scene: Scene, selector: Open) -> None:
    shop = selector(scene.put("keyboard", selector='limit="1"'))
    listen(page, "choose")

    def tab_to(target: str) -> None:
        for _ in range(30):
            page.keyboard.press("Tab")
            focused = page.evaluate(FOCUSED)
            if target in focused:
                assert focused.endswith("solid"), f"{focused} shows no focus"
                return
        pytest.fail(f"Tab does not reach {target}")

    tab_to("combobox")
    page.keyboard.type("kraf 70 gsm")
    options = shop.element.get_by_role("listbox").get_by_role("option")
    options.first.wait_for()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowUp")
    active = shop.sheet.get_attribute("aria-activedescendant")
    assert options.first.get_attribute("id") == active
    assert options.first.get_attribute("aria-selected") == "true"
    page.keyboard.press("Escape")
    expect(options).to_have_count(0)
    page.keyboard.press("ArrowDown")
    options.first.wait_for()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    expect(shop.sheet).to_have_value("70 g/m² kraft paper")
    shop.answered()
    tab_to("SUMMARY")
    tab_to("choose")
    page.keyboard.press("Enter")
    assert got(page)[0]["recommendation"]["rank"] == 1


def test_sheets_become_the_fields_of_the_api(page: Page, scene: Scene, selector: Open) -> None:
    shop = selector(scene.put("sizes", selector='limit="1"'))
    for text, fields in (
        ("100 lb cover card stock", {"basis_weight_lb": "100", "basis": "cover"}),
        ("card stock 11.81 mil", {"thickness_um": "299.974"}),
        ("12 pt card stock", {"caliper_pt": "12"}),
    ):
        with page.expect_request(re.compile("/v1/recommendations")) as sent:
            shop.enter(text)
        query = parse_qs(urlsplit(sent.value.url).query)
        expected = {"material": "card-stock", **fields, "limit": "1", "language": "en"}
        assert query == {name: [value] for name, value in expected.items()}
    # An object has no place in a query.
    with page.expect_request(lambda request: request.method == "POST") as sent:
        shop.enter("26 gauge steel")
    gauge = {"system": "steel", "number": 26}
    assert sent.value.post_data_json == {"sheets": [{"material": "steel", "sheet_gauge": gauge}], "limit": 1}
    shop.answered()


def test_several_sheets_and_the_machine_go_together(page: Page, scene: Scene, selector: Open) -> None:
    shop = selector(scene.put("several", selector='limit="1" units="us" reference="R 1"'))
    expect(shop.element.get_by_role("button", name="20 lb bond")).to_be_visible()
    shop.enter("80 gsm copy paper")
    shop.answered()
    shop.element.get_by_role("button", name="Add a sheet").click()
    expect(shop.sheet.nth(1)).to_be_focused()
    shop.element.get_by_text("The machine, if you know it").click()
    shop.element.get_by_label("Line speed ft/min").fill("400")
    shop.element.get_by_label("Coldest air °F").fill("59")
    with page.expect_request(lambda r: r.method == "POST" and "pvc-rigid" in (r.post_data or "")) as sent:
        shop.enter("80 gsm copy paper", "0.76 mm rigid PVC")
    assert sent.value.post_data_json == {
        "sheets": [
            {"material": "copy-paper", "grammage_gsm": 80},
            {"material": "pvc-rigid", "thickness_um": 760},
        ],
        "line": {"speed_m_per_min": 121.92},
        "environment": {"temperature_min_c": 15},
        "limit": 1,
    }
    second = shop.element.get_by_role("img", name="Readings of Sheet 2")
    expect(second).to_be_visible()
    link = shop.element.get_by_role("link", name="Set-up sheet to print")
    sheet = page.context.new_page()
    sheet.goto(link.first.get_attribute("href") or "")
    expect(sheet.get_by_role("heading", name="Set-up sheet")).to_be_visible()
    expect(sheet.get_by_text("R 1", exact=True)).to_be_visible()
    # Without the second sheet the row is gone and the question is another one.
    shop.element.get_by_role("button", name="Remove sheet 2").click()
    expect(shop.sheet).to_be_focused()
    expect(second).to_have_count(0)


def number(text: str | None) -> float:
    """A number as English writes it."""
    return float((text or "").replace("\u2212", "-").replace(",", "").removesuffix("."))


def test_figures_say_their_numbers(page: Page, scene: Scene, selector: Open) -> None:
    shop = selector(scene.put("figures", selector='limit="1"'))
    listen(page, "result")
    shop.enter("80 gsm copy paper")
    shop.answered()
    best = got(page)[-1]["recommendation"]
    setup, sheet = best["setups"][0], best["sheets"][0]
    ladder = shop.element.get_by_role("img", name="Readings")
    stance = shop.element.get_by_role("img", name="Mounting")
    spoken = (ladder.locator("desc").text_content() or "").partition("98 % of readings.")[2]
    said = [number(text) for text in re.findall(r"[\u2212]?\d[\d,]*\.?\d*", spoken)]
    signal, margin = sheet["signal"], sheet["margin"]
    low, high = (setup["profile"]["band"][edge] for edge in ("low", "high"))
    expected = [
        value
        for state in ("no_sheet", "single", "double")
        for value in (signal[state]["p50"], signal[state]["p1"], signal[state]["p99"], margin[state])
    ]
    # Whole decibels, tenths below ten.
    assert said == pytest.approx([*expected, low, high], abs=0.51)
    gap = setup["geometry"]["gap_mm"]
    assert f"{gap['nominal']:g}" in (stance.locator("desc").text_content() or "")
    # What is drawn is what is said: each bar begins at p1 on the scale that the ticks give.
    places = [
        (number(tick.text_content()), float(tick.get_attribute("x") or ""))
        for tick in ladder.locator("text.scale").all()
    ]
    assert len(places) >= 3
    (v0, x0), (v1, x1) = places[0], places[-1]
    for state in ("no_sheet", "single", "double"):
        left = float(ladder.locator(f"rect.bar.{state}").first.get_attribute("x") or "")
        value = v0 + (left - x0) * (v1 - v0) / (x1 - x0)
        assert value == pytest.approx(signal[state]["p1"], abs=0.02 * abs(v1 - v0))


def test_german(page: Page, scene: Scene, selector: Open) -> None:
    shop = selector(scene.put("deutsch", lang="de-AT", selector='limit="2"'))
    listen(page, "result")
    shop.enter("Kopierpapier 80,5 g")
    shop.answered()
    assert asked(scene)[-1][1] == {
        "material": ["copy-paper"],
        "grammage_gsm": ["80.5"],
        "limit": ["2"],
        "language": ["de"],
    }
    expect(shop.verdict).to_have_text("Geeignet")
    expect(shop.element.get_by_text("keine Sicherheitseinrichtung")).to_be_visible()
    expect(shop.element.get_by_text("Kopierpapier 80,5 g/m² (103\u00a0µm)").first).to_be_visible()
    assert "[lang]" not in shop.element.locator("css=[part=whole]").inner_text()
    assert shop.element.locator("css=[part=whole]").get_attribute("lang") == "de"
    link = shop.element.get_by_role("link", name="Einrichteblatt").first.get_attribute("href") or ""
    assert parse_qs(urlsplit(link).query)["language"] == ["de"]


def test_loaded_twice_is_nothing_new(page: Page, scene: Scene, selector: Open) -> None:
    again = f'<script type="module" src="{scene.service}/embed/v1/selector.js?again"></script>'
    # A parameter is refused by the service, so the copy comes from here, as another address would give it.
    script = page.request.get(f"{scene.service}/embed/v1/selector.js").text()
    warnings = warnings_of(page)
    serve(page, script)
    selector(scene.put("twice", head=again)).enter("80 gsm copy paper")
    expect(page.locator("sheet-selector h2")).to_have_count(1)
    assert warnings == []


def test_of_two_versions_the_first_stays(page: Page, scene: Scene, selector: Open) -> None:
    other = f'<script type="module" src="{scene.service}/embed/v1/selector.js?again"></script>'
    script = page.request.get(f"{scene.service}/embed/v1/selector.js").text()
    version = re.search(r'const VERSION = "(\w+)"', script)
    assert version is not None
    warnings = warnings_of(page)
    serve(page, script.replace(version[1], "0123456789ab"))
    selector(scene.put("versions", head=other)).enter("80 gsm copy paper")
    expect(page.locator("sheet-selector h2")).to_have_count(1)
    (warning,) = warnings
    assert page.evaluate("customElements.get('sheet-selector').version") == "0123456789ab"
    assert "0123456789ab is already on this page" in warning
    assert version[1] in warning


def warnings_of(page: Page) -> list[str]:
    warnings: list[str] = []

    def keep(message: ConsoleMessage) -> None:
        if message.type == "warning" and "sheet-selector" in message.text:
            warnings.append(message.text)

    page.on("console", keep)
    return warnings


def serve(page: Page, script: str) -> None:
    """Answer the script's second address with this text."""
    headers = {"Access-Control-Allow-Origin": "*", "Content-Type": "text/javascript"}
    page.route("**/selector.js?again", lambda route: route.fulfill(body=script, headers=headers))


def test_pinned_by_its_hash(page: Page, scene: Scene, selector: Open) -> None:
    from sheetmargin_service.web.embed import script

    pinned = script()
    address = f"{scene.service}/embed/selector-{pinned.digest}.js"
    tag = f'<script type="module" crossorigin src="{address}" integrity="{pinned.integrity}"></script>'
    moving = f'<script type="module" src="{scene.service}/embed/v1/selector.js"></script>'
    scene.put("pinned")
    scene.pages["pinned"] = scene.pages["pinned"].replace(moving, tag)
    shop = selector(f"{scene.shop}/pinned")
    expect(shop.sheet).to_be_visible()
    scene.pages["altered"] = scene.pages["pinned"].replace(pinned.integrity, "sha384-" + "A" * 64)
    page.goto(f"{scene.shop}/altered")
    expect(page.get_by_text("Ring our workshop.")).to_be_visible()
    assert page.evaluate("customElements.get('sheet-selector')") is None


def test_dressed_by_the_shop(page: Page, scene: Scene, selector: Open) -> None:
    shop = selector(scene.put("dressed"))
    shop.enter("80 gsm copy paper")
    shop.answered()
    page.evaluate(
        """() => {
          const sheet = new CSSStyleSheet();
          sheet.replaceSync(`sheet-selector { --sheet-selector-accent: rgb(90, 20, 90); }
            sheet-selector::part(choose) { text-transform: uppercase; }`);
          document.adoptedStyleSheets = [sheet];
        }"""
    )
    button = shop.element.get_by_role("button", name="Choose this set-up 1")
    expect(button).to_have_css("background-color", "rgb(90, 20, 90)")
    expect(button).to_have_css("text-transform", "uppercase")


def test_the_demo_shop(page: Page, scene: Scene, selector: Open) -> None:
    shop = selector(f"{scene.service}/demo")
    shop.enter("80 gsm copy paper")
    shop.answered()
    shop.element.get_by_role("button", name="Choose this set-up 1").click()
    cart = page.get_by_role("complementary")
    expect(cart.get_by_role("listitem").first).to_contain_text("1 ×")
    expect(cart.get_by_role("link", name="Set-up sheet")).to_be_visible()
