"""What serving costs beside the physics: an answer that is kept, against the least that Flask can do."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from statistics import median

import pytest
from support.closed_loop import processor_seconds, requests_per_second
from support.servers import Server, gunicorn

pytestmark = pytest.mark.long

TESTS = Path(__file__).parents[1]
QUERY = "/v1/recommendations?material=copy-paper&grammage_gsm=80"
SLICE_S = 0.5
SLICES = 24
CONNECTIONS = 4


def test_a_kept_answer_against_hello(tmp_path: Path, record_property: Callable[[str, object], None]) -> None:
    """Requests a second of both, one worker each, by turns: what disturbs the machine disturbs both."""

    def measure(server: Server, path: str) -> tuple[float, float]:
        """Requests a second, and microseconds of the worker's processor time for one."""
        before = sum(processor_seconds(server.process.pid))
        rate = requests_per_second(server.port, path, seconds=SLICE_S, connections=CONNECTIONS)
        return rate, 1e6 * (sum(processor_seconds(server.process.pid)) - before) / (rate * SLICE_S)

    hello = gunicorn(tmp_path, "--pythonpath", str(TESTS), application="support.hello:app")
    with gunicorn(tmp_path) as ours, hello as bare:
        measure(ours, QUERY), measure(bare, "/")
        slices = [(measure(ours, QUERY), measure(bare, "/")) for _ in range(SLICES)]
    ratio = median(kept[0] / least[0] for kept, least in slices)
    record_property("kept_over_hello", round(ratio, 3))
    record_property("processor_time_hello_over_kept", round(median(least[1] / kept[1] for kept, least in slices), 3))
    record_property("kept_us", round(median(kept[1] for kept, _ in slices)))
    record_property("hello_us", round(median(least[1] for _, least in slices)))
    # 0.42 when it was set: below this, something was added to every request.
    assert ratio >= 0.35
