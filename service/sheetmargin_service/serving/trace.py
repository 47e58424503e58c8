"""Which trace a request belongs to: W3C Trace Context, level 1 (Recommendation, 2021), header `traceparent`."""

from __future__ import annotations

import re
import secrets
from dataclasses import dataclass

HEADER = "traceparent"

# Section 3.2: version, trace id, parent id, flags; lower case. Version ff is forbidden; later ones may say more.
_FORM = re.compile(r"(?P<version>[0-9a-f]{2})-(?P<trace>[0-9a-f]{32})-(?P<span>[0-9a-f]{16})-[0-9a-f]{2}(?P<more>-.*)?")


@dataclass(frozen=True, kw_only=True)
class Trace:
    """Names of the trace, of this request in it, and of the caller's span, if it told one."""

    trace_id: str
    span_id: str
    parent_id: str | None = None


def trace_of(header: str | None) -> Trace:
    """The trace that the caller names, or a new one where it names none that is valid."""
    match = _FORM.fullmatch(header or "")
    span_id = secrets.token_hex(8)
    if match is None or not _valid(match):
        return Trace(trace_id=secrets.token_hex(16), span_id=span_id)
    return Trace(trace_id=match["trace"], span_id=span_id, parent_id=match["span"])


def _valid(match: re.Match[str]) -> bool:
    version_fits = match["version"] != "ff" and (match["version"] != "00" or match["more"] is None)
    return version_fits and int(match["trace"], 16) != 0 and int(match["span"], 16) != 0
