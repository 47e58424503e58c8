"""The service as it is shipped, shared by these tests."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from support.servers import Server, gunicorn


@pytest.fixture(scope="session")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """One worker under gunicorn, started without a word on BLAS."""
    with pytest.MonkeyPatch.context() as monkeypatch:
        for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
            monkeypatch.delenv(name, raising=False)
        environment = {"SHEETMARGIN_DEMO": "on", "SHEETMARGIN_TIME_LIMIT_S": "2"}
        with gunicorn(tmp_path_factory.mktemp("server"), environment=environment) as running:
            yield running
