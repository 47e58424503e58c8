"""The package for npm, packed, installed and compiled in a shop written with React and in one written with Vue."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from flask import Flask, Response, send_from_directory
from playwright.sync_api import Page, expect
from sheetmargin_service.app import create_app
from sheetmargin_service.config import Settings
from sheetmargin_service.web import npm_package
from support.shop import Selector, serving

pytestmark = pytest.mark.long

APPS = Path(__file__).parent / "apps"
DESCRIPTION = Path(__file__).parents[2] / "openapi" / "openapi.json"


def npm(folder: Path, *arguments: str) -> str:
    # A build script of a dependency is not run, nor is anything asked that a build does not need.
    done = subprocess.run(
        ["npm", *arguments, "--no-audit", "--no-fund"],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=600,
        check=False,
    )
    assert done.returncode == 0, f"{done.stdout}\n{done.stderr}"
    return done.stdout


@pytest.fixture(scope="module")
def archive(require_part: Callable[[str], str], tmp_path_factory: pytest.TempPathFactory) -> Path:
    require_part("node")
    folder = tmp_path_factory.mktemp("npm")
    npm_package.main(folder / "package", DESCRIPTION)
    name = npm(folder, "pack", "./package", "--silent").strip()
    return folder / name


@pytest.fixture(scope="module", params=["react", "vue"])
def built(request: pytest.FixtureRequest, archive: Path) -> Path:
    folder = archive.parent / request.param
    shutil.copytree(APPS / request.param, folder)
    npm(folder, "install", "--ignore-scripts", "--no-package-lock", str(archive))
    npm(folder, "run", "build")
    return folder / "dist"


@pytest.fixture(scope="module")
def shop(built: Path) -> Iterator[str]:
    app = Flask("built", static_folder=None)

    @app.get("/", defaults={"name": "index.html"})
    @app.get("/<path:name>")
    def show(name: str) -> Response:
        return send_from_directory(built, name)

    with serving(app, "localhost") as origin:
        yield origin


def test_a_visitor_chooses(page: Page, shop: str) -> None:
    with serving(create_app(Settings(origins=(shop,))), "127.0.0.1") as service:
        page.goto(f"{shop}/?service={service}/")
        selector = Selector(page)
        expect(selector.sheet).to_have_value("80 gsm copy paper")  # a property that the program sets
        expect(page.locator("#verdict")).to_have_text("suitable")
        expect(selector.element.locator(".setup")).to_have_count(2)
        selector.element.get_by_role("button", name="Choose this set-up 1").click()
        expect(page.locator("#cart li").first).to_contain_text(" x ")


def test_without_a_service_the_pages_own_content_stands(page: Page, shop: str) -> None:
    page.goto(shop)
    expect(page.get_by_text("Call us.")).to_be_visible()
    expect(page.get_by_role("alert")).to_contain_text("address in this page is not valid")


def test_on_a_server_it_is_loaded_and_does_nothing(archive: Path, built: Path) -> None:
    script = "import('sheetmargin-selector').then(({ SheetSelector }) => console.log(typeof SheetSelector))"
    done = subprocess.run(
        ["node", "-e", script], cwd=built.parent, capture_output=True, text=True, timeout=60, check=False
    )
    assert (done.stdout.strip(), done.returncode) == ("function", 0), done.stderr
