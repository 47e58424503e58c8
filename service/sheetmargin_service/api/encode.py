"""JSON as it is sent: compact UTF-8, and no number that JSON does not have."""

from __future__ import annotations

import json
from typing import Any


def json_bytes(value: Any) -> bytes:
    """The value as JSON; ValueError for NaN or infinity, which would be a fault of this service."""
    return json.dumps(value, allow_nan=False, ensure_ascii=False, separators=(",", ":")).encode()
