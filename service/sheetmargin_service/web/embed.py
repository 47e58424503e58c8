"""The embeddable selector: one script, joined from its parts, at an address that moves and at one that never changes.

`python -m sheetmargin_service.web.embed` prints the tag that pins this version by its integrity hash.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from dataclasses import dataclass
from functools import cache
from importlib import resources

from flask import Response

from sheetmargin_service.api.caching import cacheable
from sheetmargin_service.api.canonical import strong_etag
from sheetmargin_service.api.problems import Problem
from sheetmargin_service.api.routes import Call, Routes
from sheetmargin_service.messages.names import names

PARTS = (
    "dom",
    "sizes",
    "words",
    "question",
    "service",
    "sheet_field",
    "form",
    "ladder",
    "stance",
    "reserve",
    "chance",
    "compare",
    "questions",
    "answer",
    "element",
)
"""Modules of the script, each after those that it imports."""

JAVASCRIPT = "text/javascript"
_IMPORT = re.compile(r"^import [^;]+;\n", re.MULTILINE)
_EXPORT = re.compile(r"^export ", re.MULTILINE)
_COMMENT = re.compile(r"^ *(//.*|/\*\*.*\*/|/\*\*$|\*( .*|/)?)$")
_STYLE_COMMENT = re.compile(r"/\*.*?\*/", re.DOTALL)
_YEAR_S = 365 * 24 * 3600

routes = Routes("embed", "The selector that a web shop embeds.")


@dataclass(frozen=True, kw_only=True)
class Script:
    """The script, and what pins it: `digest` in its address, `integrity` in its tag."""

    body: bytes
    digest: str
    integrity: str


@cache
def script() -> Script:
    """The modules in one, with their style and the principles' names, and the version that their text alone decides."""
    folder = resources.files(__package__) / "selector"
    modules = [(folder / f"{name}.js").read_text(encoding="utf-8") for name in PARTS]
    style = _STYLE_COMMENT.sub("", (folder / "selector.css").read_text(encoding="utf-8"))
    style = "\n".join(filter(None, map(str.strip, style.splitlines())))
    joined = "\n".join(_EXPORT.sub("", _IMPORT.sub("", module)) for module in modules)
    # Visitors load neither comments nor indentation; nothing in the modules spans lines by a template.
    text = "\n".join(line.strip() for line in joined.splitlines() if line.strip() and not _COMMENT.match(line))
    text += "\nexport { SheetSelector };\n"
    for place, value in (("__STYLE__", style), ("__NAMES__", names())):
        text = text.replace(f'"{place}"', json.dumps(value, ensure_ascii=False))
    text = text.replace("__VERSION__", hashlib.sha256(text.encode()).hexdigest()[:12])
    body = text.encode()
    integrity = base64.b64encode(hashlib.sha384(body).digest()).decode()
    return Script(body=body, digest=hashlib.sha256(body).hexdigest()[:16], integrity=f"sha384-{integrity}")


@routes.get("/embed/v1/selector.js", Call(scope="open", media_type=JAVASCRIPT, cached=True))
def show_selector() -> Response:
    """The selector as it is now: the address moves on within version 1."""
    return _script_response()


@routes.get("/embed/selector-<digest>.js", Call(scope="open", media_type=JAVASCRIPT, cached=True))
def show_pinned_selector(digest: str) -> Response:
    """The selector of one version: what stands here never changes, so that pages can pin it by an integrity hash."""
    if digest != script().digest:
        raise Problem("not-found", detail="This service has a different version of the selector.")
    response = _script_response()
    response.headers["Cache-Control"] = f"public, max-age={_YEAR_S}, immutable"
    return response


def _script_response() -> Response:
    body = script().body
    etag = strong_etag(JAVASCRIPT, script().digest)
    response = cacheable(lambda: body, etag=etag, language="en", keyed=False, media_type=f"{JAVASCRIPT}; charset=utf-8")
    # Public, the same for everybody and sent without cookies: any page may run it. Answers are another matter.
    response.headers["Access-Control-Allow-Origin"] = "*"
    response.headers["Cross-Origin-Resource-Policy"] = "cross-origin"
    return response


def main() -> None:
    """Print the tag that pins this version."""
    pinned = script()
    print(
        f'<script type="module" crossorigin src="https://SERVICE/embed/selector-{pinned.digest}.js" '
        f'integrity="{pinned.integrity}"></script>'
    )


if __name__ == "__main__":
    main()
