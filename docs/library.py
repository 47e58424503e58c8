"""What stands in docs/materials.md: every material and every construction, by its names in English and German."""

from __future__ import annotations

from sheetmargin_service.materials.constructions import load_constructions
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.materials.material import Named

HEAD = """<!-- Written by .ci/generate.py; do not edit. -->
# Materials and constructions

For whoever looks for the name of a sheet. An id, a name or a synonym in either language goes into `--material`, of a
construction into `--construction`, or into a job file. What is missing is described there as `layers`, `corrugated` or
`custom`. Next: [which principle senses which sheet](principles.md).
"""


def document() -> str:
    """The whole page."""
    materials = load_library().materials.values()
    families = sorted({material.family for material in materials})
    parts = [HEAD]
    for family in families:
        parts.append(_table(family.capitalize(), [one for one in materials if one.family == family]))
    parts.append(_table("Constructions: sheets of several layers", list(load_constructions().values())))
    return "\n".join(parts)


def _table(title: str, entries: list[Named]) -> str:
    rows = [
        f"| `{one.id}` | {_named(one, 'en')} | {_named(one, 'de')} |" for one in sorted(entries, key=lambda one: one.id)
    ]
    return "\n".join([f"## {title}\n", "| id | English | Deutsch |", "| --- | --- | --- |", *rows, ""])


def _named(one: Named, language: str) -> str:
    synonyms = one.synonyms[language]
    return f"{one.name[language]} ({', '.join(synonyms)})" if synonyms else one.name[language]
