"""Files of catalogues and stocks taken up anew while the service runs.

A child reads the files and computes with them: whatever is wrong with them, or slow about them, hurts the child and not
the service. Only then the master takes the catalogues up, before it forks new workers and stops the old ones, which
answer until then. A file that cannot be used leaves everything as it was and raises a flag.
"""

from __future__ import annotations

import logging
import os
import signal
import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

from flask import Flask

from sheetmargin_service.api.service import Service
from sheetmargin_service.api.stock import stocks_of
from sheetmargin_service.detectors.files import read_files
from sheetmargin_service.errors import FieldError
from sheetmargin_service.principles.catalogues import catalogues_of
from sheetmargin_service.selection.recommend import recommend
from sheetmargin_service.serving.warm import warm_up

log = logging.getLogger(__name__)

EXTENSION = "sheetmargin.catalogues"
LONGEST_S = 300.0
"""200 classes take about a minute to build (a choice)."""


class Files(NamedTuple):
    """The files of an application, by name."""

    catalogues: Mapping[str, Path]
    stocks: Mapping[str, Path]


def install_swap(app: Flask, catalogues: Mapping[str, Path], stocks: Mapping[str, Path]) -> None:
    """Let `take_up` know the application's files."""
    app.extensions[EXTENSION] = Files(catalogues, stocks)


def take_up(app: Flask, *, sound: bool) -> bool:
    """Take up the catalogue files as they are now, if they are sound; whether that went well. The application's flag
    tells it, too."""
    old: Service = app.extensions["sheetmargin"]
    service = old
    if sound:
        try:
            service = _with(app.extensions[EXTENSION], old)
            warm_up(_news(service, old))
            versions = {name: catalogue.version for name, catalogue in service.catalogues.items()}
            log.info("catalogues are taken up", extra={"fields": {"versions": versions}})
        except FieldError as error:
            log.error("catalogues are kept as they were: %s", error)
            service, sound = old, False
    app.extensions["sheetmargin"] = replace(service, catalogue_stale=not sound)
    return sound


def sound(app: Flask) -> bool:
    """Whether a child can read the files and compute with them."""
    service: Service = app.extensions["sheetmargin"]

    def compute() -> None:
        try:
            warm_up(_news(_with(app.extensions[EXTENSION], service), service))
        except FieldError as error:
            log.error("catalogues are kept as they were: %s", error)
            raise SystemExit(1) from error

    status = in_child(compute, longest_s=LONGEST_S)
    if status not in (0, 1):
        log.error("catalogues are kept as they were: the child that tried them ended with %s", status)
    return status == 0


def _with(files: Files, service: Service) -> Service:
    catalogues = catalogues_of(read_files(files.catalogues))
    stocks = stocks_of(files.stocks, service.library)
    return replace(service, catalogues=catalogues, default_catalogue=next(iter(catalogues)), stocks=stocks)


def _news(service: Service, old: Service) -> Service:
    """The service with the catalogues that are not as they were, and without metrics and limits: nobody asks."""
    versions = {catalogue.version for catalogue in old.catalogues.values()}
    news = {name: catalogue for name, catalogue in service.catalogues.items() if catalogue.version not in versions}
    return replace(service, catalogues=news, recommend=recommend)


def in_child(work: Callable[[], None], *, longest_s: float) -> int:
    """Do work in a fork of this process; its exit code, or minus the signal that ended it, which is SIGKILL after
    `longest_s`."""
    child = os.fork()
    if child == 0:
        code = 70  # EX_SOFTWARE of sysexits.h
        try:
            default_signals()
            work()
            code = 0
        except SystemExit as error:
            code = error.code if isinstance(error.code, int) else code
        except BaseException:
            log.exception("work in a child failed")
        finally:
            os._exit(code)
    ends = time.monotonic() + longest_s
    while True:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status)
        if time.monotonic() > ends:
            os.kill(child, signal.SIGKILL)
            ends = float("inf")
        time.sleep(0.02)


def default_signals() -> None:
    """Let a fork of the master end as any process does."""
    for number in (signal.SIGTERM, signal.SIGINT, signal.SIGQUIT, signal.SIGHUP, signal.SIGCHLD):
        signal.signal(number, signal.SIG_DFL)
