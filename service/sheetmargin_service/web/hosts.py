"""Under which names the service is asked: a forged one would stand in the links of a page, and in caches."""

from __future__ import annotations

from collections.abc import Collection

from flask import Flask, request

from sheetmargin_service.api.faults import Fault
from sheetmargin_service.api.problems import Problem

PROBES = ("/livez", "/readyz", "/metrics")
"""Asked by address: by Kubernetes, and by Prometheus of each replica. No link is made there."""


def install_hosts(app: Flask, hosts: Collection[str]) -> None:
    """Refuse requests whose Host, or X-Forwarded-Host of a trusted proxy, is malformed or none of these."""

    known = {"localhost", "127.0.0.1", "[::1]", *hosts}

    def check() -> None:
        # Empty where it is malformed.
        host = request.host.lower()
        name = host if host.endswith("]") else host.rpartition(":")[0] or host
        if name not in known and request.path not in PROBES:
            fault = Fault(code="host", detail="The service does not answer under this name.", header="Host")
            raise Problem("unknown-host", fault)

    app.before_request(check)
