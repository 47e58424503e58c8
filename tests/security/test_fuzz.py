"""Bodies by the ten thousand, from right ones by small damage: none gets a 5xx or learns anything of the inside.

The physics is a stand-in: what is asked is the reading of requests. The damage is drawn from a fixed seed.
"""

from __future__ import annotations

import copy
import json
import logging
import os
import random
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from sheetmargin.contract.answer import Answer
from sheetmargin.contract.job import Job
from sheetmargin_service.app import create_app, load_service
from sheetmargin_service.config import Settings
from sheetmargin_service.detectors.catalogue import Catalogue
from sheetmargin_service.materials.library import Library
from support.answers import CountingRecommend
from support.machine import memory_mb
from support.telltale import TELLTALE

PAPER = {"material": "copy-paper", "grammage_gsm": 80}
SETUP = {"detector_class": "ultrasonic-300k", "gap_mm": 30}
JOB = {
    "reference": "a", "sheets": [{**PAPER, "double": {"contact": "air"}}, {"layers": [PAPER]}],
    "line": {"clearance_above_mm": 40, "speed_m_per_min": 120, "feeding": "singulated"},
    "environment": {"temperature_min_c": 15, "temperature_max_c": 35}, "controller": {"scan_ms": 10},
    "targets": {"double_as_single": 10}, "require": {"housing": ["M18"]}, "principles": ["ultrasonic"], "limit": 3,
}  # fmt: skip
BODIES: dict[str, Any] = {
    "/v1/recommendations": JOB,
    "/v1/setup-sheets": JOB,
    "/v1/recommendations/batch": [JOB, JOB],
    "/v1/predictions": {"sheet": PAPER, "setup": SETUP, "limit": 1},
    "/v1/fits": {"sheet": PAPER, "readings": [{"state": "single", "attenuation_db": -1, **SETUP}]},
    "/v1/diagnoses": {"sheet": PAPER, "setup": {**SETUP, "tilt_deg": 90}, "symptoms": ["x"]},
}
"""A body for each call. Those of the bench are wrong in one place, so that no physics is done."""
ODD: list[Any] = [
    None, True, "", "1.5", "copy-paper", "\x00", "\ud800", "a" * 300, -1, 0, 1e308, 10**30, 1.5, [], {}, [[]], {"": {}},
]  # fmt: skip
SLOWEST_S = 2.0


def places(value: Any, found: list[tuple[Any, Any]]) -> list[tuple[Any, Any]]:
    """Every container within a value, with each of its keys."""
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        found.append((value, key))
        places(inner, found)
    return found


def damaged(body: Any, draw: random.Random) -> bytes:
    """A body with one to three values replaced, dropped or added, and at times some bytes of its text changed."""
    body = copy.deepcopy(body)
    for _ in range(draw.randint(1, 3)):
        holder, key = draw.choice(places(body, []))
        match draw.randrange(4):
            case 0:
                holder[key] = copy.deepcopy(draw.choice(ODD))
            case 1 if isinstance(holder, dict):
                holder[draw.choice(["sheet", "layers", "plies", "unknown", ""])] = copy.deepcopy(draw.choice(ODD))
            case 2 if isinstance(holder, list):
                holder.append(copy.deepcopy(draw.choice(holder)))
            case _:
                holder[key] = [holder[key]]
    text = bytearray(json.dumps(body).encode())
    if draw.random() < 0.3:
        for _ in range(draw.randint(1, 4)):
            text[draw.randrange(len(text))] = draw.randrange(256)
    if draw.random() < 0.05:
        del text[draw.randrange(len(text)) :]
    return bytes(text)


def ask_many(client: FlaskClient, number: int) -> dict[int, int]:
    """How often each status came."""
    draw, statuses = random.Random(1), dict[int, int]()
    paths = list(BODIES)
    for _ in range(number):
        path = draw.choice(paths)
        body = damaged(BODIES[path], draw)
        begun = time.process_time()
        with client.post(path, data=body, content_type="application/json") as response:
            told = response.data
        assert response.status_code < 500, (path, body)
        assert not TELLTALE.search(told), (path, body, told)
        assert time.process_time() - begun < SLOWEST_S, (path, body)
        statuses[response.status_code] = statuses.get(response.status_code, 0) + 1
    return statuses


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    stand_in = CountingRecommend()

    def recommend(job: Job, *, catalogue: Catalogue, library: Library) -> Answer:
        stand_in.calls.clear()
        return stand_in(job, catalogue=catalogue, library=library)

    return create_app(service=replace(load_service(Settings()), recommend=recommend)).test_client()


def test_some_damaged_bodies(client: FlaskClient) -> None:
    statuses = ask_many(client, 400)
    assert statuses.keys() >= {200, 400, 422}


@pytest.mark.long
def test_a_hundred_thousand_damaged_bodies(
    client: FlaskClient, request: pytest.FixtureRequest, record_property: Callable[[str, object], None]
) -> None:
    logging.disable(logging.CRITICAL)  # pytest would keep every line of the log
    request.addfinalizer(lambda: logging.disable(logging.NOTSET))
    ask_many(client, 5_000)
    before = memory_mb(os.getpid())
    statuses = ask_many(client, 100_000)
    record_property("statuses", statuses)
    assert memory_mb(os.getpid()) < 1.1 * before


@pytest.mark.long
def test_bytes_under_atheris() -> None:
    """40,000 bodies that atheris makes by what they reach in the parser."""
    pytest.importorskip("atheris", reason="atheris is made for Linux alone")
    done = subprocess.run(
        [sys.executable, "-m", "support.parse_fuzz", "-atheris_runs=40000", "-max_len=4096", "-timeout=5"],
        cwd=Path(__file__).parents[2],
        env={**os.environ, "PYTHONPATH": os.pathsep.join(("tests", "service"))},
        capture_output=True,
        text=True,
        timeout=600,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    assert "Done 40000" in done.stderr, done.stderr[-3000:]
