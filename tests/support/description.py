"""The published description of the service, as it is committed."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from jsonschema_rs import Draft202012Validator, meta

COMMITTED = Path(__file__).parents[2] / "openapi" / "openapi.json"
DESCRIPTION: Any = json.loads(COMMITTED.read_text(encoding="utf-8"))


def validator(name: str, document: Any = DESCRIPTION) -> Draft202012Validator:
    """Of one of its schemas."""
    meta.validate(document["components"]["schemas"][name])
    return Draft202012Validator({"$ref": f"#/components/schemas/{name}", "components": document["components"]})
