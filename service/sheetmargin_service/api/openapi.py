"""The published description, as the application serves it."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any

from flask import Flask, current_app

from sheetmargin_service.api.examples import with_examples
from sheetmargin_service.api.service import Service

EXTENSION = "sheetmargin-openapi"


def publish(app: Flask, document: Mapping[str, Any], service: Service) -> None:
    """Make the description, its examples computed when it is first asked for, the application's own."""
    app.extensions[EXTENSION] = cache(lambda: with_examples(document, service))


def description() -> dict[str, Any]:
    """The description of the current application."""
    document: dict[str, Any] = current_app.extensions[EXTENSION]()
    return document
