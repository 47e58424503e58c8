"""The selector in Firefox and in WebKit: asked, answered, chosen from, within a form, under a strict policy."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from support.other_browsers import Window, firefox, webkit
from support.shop import Scene

pytestmark = pytest.mark.long

VISIT = """
  await customElements.whenDefined("sheet-selector");
  const element = document.querySelector("sheet-selector");
  const next = (name) => new Promise((got) => {
    document.addEventListener(`sheet-selector:${name}`, (event) => got(event.detail), { once: true });
  });
  const shown = next("result");
  element.value = { sheets: ["80 gsm copy paper"], known: { "/line/speed_m_per_min": "120" } };
  const { answer } = await shown;
  const root = element.shadowRoot;
  const chosen = next("choose");
  root.querySelector("button.choose").click();
  const { order } = await chosen;
  const small = [...root.querySelectorAll(".figure text")].filter((text) => text.getBoundingClientRect().height < 8);
  return {
    verdict: answer.verdict,
    headline: root.querySelector("h2").textContent,
    confirmed: root.querySelector(".chosen").textContent,
    roles: order.map(({ role }) => role),
    sent: JSON.parse(new FormData(document.querySelector("form")).get("detector")).order.length,
    fits: document.documentElement.scrollWidth <= document.documentElement.clientWidth,
    figures: root.querySelectorAll("svg.figure").length,
    small: small.length,
    background: getComputedStyle(root.querySelector(".choose")).backgroundColor,
  };
"""


@pytest.fixture(params=["firefox", "webkit"])
def window(request: pytest.FixtureRequest, require_part: Callable[[str], str], tmp_path: Path) -> Iterator[Window]:
    if request.param == "firefox":
        with firefox(require_part("firefox"), tmp_path) as opened:
            yield opened
    else:
        with webkit(require_part("webkit")) as opened:
            yield opened


def test_a_visitor_chooses(window: Window, scene: Scene) -> None:
    scene.put("other", selector='limit="2" name="detector"')
    page = scene.pages["other"]
    scene.pages["other"] = page.replace("<sheet-selector", "<form><sheet-selector").replace("</main>", "</form></main>")
    window.goto(f"{scene.shop}/other")
    seen = window.run(VISIT)
    assert (seen["verdict"], seen["headline"]) == ("suitable", "Suitable")
    assert seen["confirmed"].startswith("Chosen: set-up 1: ")
    assert {"emitter", "receiver"} <= set(seen["roles"])
    assert seen["sent"] == len(seen["roles"])
    assert seen["fits"]
    assert (seen["figures"], seen["small"]) == (4, 0)  # of each set-up its mounting and its readings
    assert seen["background"] == "rgb(20, 80, 140)"


def test_the_search_of_the_docs(window: Window, scene: Scene) -> None:
    window.goto(f"{scene.service}/docs/search?q=flutter")
    assert window.run("return document.querySelectorAll('ol.found li').length") > 2
    assert window.run("return document.documentElement.scrollWidth <= document.documentElement.clientWidth")
