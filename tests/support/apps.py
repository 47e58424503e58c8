"""The application with a stand-in for the physics, as settings make it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from flask import Flask
from sheetmargin_service.api import caching
from sheetmargin_service.app import create_app, load_service
from sheetmargin_service.config import Settings

from support.answers import CountingRecommend


def app_of(*, recommend: Any = None, **settings: Any) -> Flask:
    """An application with these settings; `recommend` stands in for the physics."""
    chosen = Settings(**settings)
    return create_app(chosen, service=replace(load_service(chosen), recommend=recommend or CountingRecommend()))


def forget_answers(app: Flask) -> None:
    """Let an application answer as if nothing had been asked yet."""
    app.extensions[caching.EXTENSION].clear()
