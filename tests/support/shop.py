"""A shop on an origin of its own, the service on another, and the selector as a visitor uses it."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from flask import Flask, Response
from playwright.sync_api import BrowserContext, Locator, Page
from werkzeug.serving import make_server

GUIDE = Path(__file__).parents[2] / "docs" / "selector.md"
ANSWERS = "**/v1/recommendations**"


def recorded(page: Page | BrowserContext, answer: dict[str, Any]) -> None:
    """Answer every question with this."""
    headers = {"Access-Control-Allow-Origin": "*", "Access-Control-Allow-Headers": "*"}
    page.route(ANSWERS, lambda route: route.fulfill(body=json.dumps(answer), headers=headers))


@contextmanager
def serving(app: Flask, host: str) -> Iterator[str]:
    """The origin at which an application is served, in a thread of this process."""
    server = make_server(host, 0, app, threaded=True)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield f"http://{host}:{server.server_port}"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


@dataclass
class Shop:
    """A shop under a strict policy; its pages are put in by the tests."""

    service: str = ""
    pages: dict[str, str] = field(default_factory=dict)

    def policy(self, page: str) -> str:
        """No inline code but the page's own, by its hash; no markup made from text."""
        inline = re.findall(r'<script type="module">(.*?)</script>', page, re.DOTALL)
        hashes = [f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'" for text in inline]
        return (
            f"default-src 'none'; script-src {self.service} {' '.join(hashes)}; connect-src {self.service}; "
            "require-trusted-types-for 'script'; trusted-types 'none'"
        )

    def app(self) -> Flask:
        app = Flask("shop", static_folder=None)

        @app.get("/<name>")
        def show(name: str) -> Response:
            response = Response(self.pages[name], content_type="text/html; charset=utf-8")
            response.headers["Content-Security-Policy"] = self.policy(self.pages[name])
            return response

        return app


@dataclass(frozen=True)
class Scene:
    """Both origins, and what the service was asked since the test began: method, path with query, origin."""

    service: str
    shop: str
    pages: dict[str, str]
    seen: list[tuple[str, str, str | None]]

    def put(self, name: str, *, selector: str = "", body: str = "", head: str = "", lang: str = "en") -> str:
        """Address of a page of the shop with the selector in it."""
        self.pages[name] = (
            f'<!doctype html><html lang="{lang}"><head><meta charset="utf-8"><title>Shop</title>{head}'
            f'<script type="module" src="{self.service}/embed/v1/selector.js"></script></head>'
            f"<body><main><h1>Shop</h1>{body}"
            f"<sheet-selector {selector}><p>Ring our workshop.</p></sheet-selector></main></body></html>"
        )
        return f"{self.shop}/{name}"


class Selector:
    """The element on a page, as a visitor uses it."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.element = page.locator("sheet-selector")
        self.sheet = self.element.locator("input[role=combobox]")
        self.status = self.element.locator("css=[part=status]")

    def enter(self, *texts: str) -> None:
        """Enter sheets, a row each, as a visitor does; all of them are understood."""
        for row, text in enumerate(texts):
            if row == self.sheet.count():
                self.element.locator("form > button").click()
            self.sheet.nth(row).fill(text)
            self.element.locator(".taken").nth(row).wait_for()

    @property
    def options(self) -> Locator:
        """Of the list of materials; those of a select have the role by themselves."""
        return self.element.locator("[role=option]:visible")

    @property
    def verdict(self) -> Locator:
        return self.element.locator("h2")

    def unfold(self) -> None:
        """Open everything that can be opened."""
        self.element.evaluate("e => e.shadowRoot.querySelectorAll('details').forEach((d) => (d.open = true))")

    def answered(self) -> None:
        self.verdict.wait_for()
