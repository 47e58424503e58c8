"""A browser, the service on one origin, and a shop on another."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from typing import Any

import pytest
import requests
from flask import request
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright
from sheetmargin_service.app import create_app
from sheetmargin_service.config import Settings
from support.shop import Scene, Selector, Shop, serving

CHROMIUM_OPTIONS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)

# Answers are computed, on machines that may do other work beside.
expect.set_options(timeout=45_000)


@pytest.fixture(scope="session")
def origins() -> Iterator[Scene]:
    shop = Shop()
    seen: list[tuple[str, str, str | None]] = []
    with serving(shop.app(), "localhost") as shop_origin:
        app = create_app(Settings(origins=(shop_origin,), demo=True))
        app.before_request(lambda: seen.append((request.method, request.full_path, request.headers.get("Origin"))))
        with serving(app, "127.0.0.1") as service_origin:
            shop.service = service_origin
            yield Scene(service=service_origin, shop=shop_origin, pages=shop.pages, seen=seen)


@pytest.fixture
def scene(origins: Scene) -> Scene:
    origins.seen.clear()
    return origins


@pytest.fixture(scope="session")
def answer(origins: Scene) -> dict[str, Any]:
    """An answer with three set-ups, to be copied and altered: two ultrasonic classes and a roller in contact."""
    job = {
        "sheets": [{"material": "card-stock", "grammage_gsm": 250}],
        "classes": ["ultrasonic-400k", "thickness-roller"],
    }
    found: dict[str, Any] = requests.post(f"{origins.service}/v1/recommendations", json=job, timeout=60).json()
    assert len(found["recommendations"]) == 2
    found["recommendations"].sort(key=lambda one: one["setups"][0]["detector_class"]["id"], reverse=True)
    for rank, recommendation in enumerate(found["recommendations"], start=1):
        recommendation["rank"] = rank
    third = json.loads(json.dumps(found["recommendations"][0]))
    found["job"]["line"]["clearance_above_mm"] = 60
    third["rank"] = 3
    third["setups"][0]["detector_class"]["id"] = "another-400k"
    third["setups"][0]["geometry"]["gap_mm"] = {"nominal": 3, "min": 3, "max": 3}
    third["setups"][0]["mounting"] = None
    found["recommendations"].append(third)
    return found


@pytest.fixture(scope="session")
def browser(require_part: Callable[[str], str]) -> Iterator[Browser]:
    program = require_part("chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, headless=True, args=list(CHROMIUM_OPTIONS))
        yield browser
        browser.close()


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    context = browser.new_context(viewport={"width": 1280, "height": 900}, locale="en-GB")
    yield context
    context.close()


@pytest.fixture
def page(context: BrowserContext) -> Iterator[Page]:
    """A page; the test fails where a policy stopped something or a script failed."""
    page = context.new_page()
    page.set_default_timeout(60_000)
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("console", lambda message: faults.append(message.text) if "Security Policy" in message.text else None)
    yield page
    assert not faults


@pytest.fixture
def selector(page: Page) -> Callable[..., Selector]:
    def open_at(url: str, **options: Any) -> Selector:
        page.goto(url)
        return Selector(page, **options)

    return open_at
