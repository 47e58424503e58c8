"""What a code says, in the language asked for.

The words are data in `texts/`, one table a code, one file a subject, and in `texts.toml` of each principle's folder; a
new code is a new table. A text states no number of its own: every figure is a placeholder named in the note's `values`
(`{pointer}` is the note's own), and units are written without digits (`g per square metre`). `kind` says where in an
answer the code stands.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from string import Formatter

from sheetmargin_service.messages.languages import LANGUAGES, Language
from sheetmargin_service.principles import principles
from sheetmargin_service.tables import load_table, table_names

Scalar = str | int | float | bool | None

SIGNIFICANT_DIGITS = 3
TABLE = "texts.toml"
"""What a principle's folder has: `names` of it and its quantity, `texts` by code, and `words`."""
KINDS = (
    "reason",
    "ruled-out",
    "alternative",
    "assumption",
    "caution",
    "trial",
    "find-out",
    "setup",
    "fit",
    "cause",
    "test",
    "remedy",
)
"""`setup`: notes of mounting, timing and alignment; `fit`: what readings say; the last three: of a diagnosis."""


class TextWarning(UserWarning):
    """A code without a text, or a text that asks for a value that the note does not have: a fault of this service.

    A warning, so that tests fail on it and a caller still gets the code and the values.
    """


@dataclass(frozen=True, kw_only=True)
class Text:
    """The texts of one code."""

    kind: str
    templates: Mapping[Language, str]

    def placeholders(self, language: Language) -> frozenset[str]:
        """Names of the values that the text states."""
        return frozenset(name for _, name, _, _ in Formatter().parse(self.templates[language]) if name is not None)


@cache
def texts() -> Mapping[str, Text]:
    """Every text by its code: those of this folder, and each principle's own."""
    tables = [*(load_table(__package__, name) for name in table_names(__package__, "texts")), *_of_principles("texts")]
    return {
        code: Text(kind=entry["kind"], templates=_worded(entry)) for table in tables for code, entry in table.items()
    }


@cache
def words() -> Mapping[str, Mapping[Language, str]]:
    """Values that are names, as each language writes them."""
    tables = [load_table(__package__, "words.toml"), *_of_principles("words")]
    return {value: _worded(entry) for table in tables for value, entry in table.items()}


def names() -> Mapping[Language, Mapping[str, Mapping[str, str]]]:
    """What each principle and each quantity is called, by language and id."""
    told = [(p, load_table(p.folder, TABLE)["names"]) for p in principles().values()]
    return {
        language: {
            "principle": {p.id: table["principle"][language] for p, table in told},
            "quantity": {p.quantity: table["quantity"][language] for p, table in told},
        }
        for language in LANGUAGES
    }


def _of_principles(section: str) -> list[Mapping[str, Mapping[str, str]]]:
    """A section of the texts that lie in each principle's folder."""
    return [load_table(p.folder, TABLE).get(section, {}) for p in principles().values()]


def _worded(entry: Mapping[str, str]) -> Mapping[Language, str]:
    return {language: entry[language] for language in LANGUAGES}


def say(code: str, values: Mapping[str, Scalar], *, language: Language, pointer: str | None = None) -> str:
    """The text of a code with its values; the bare code where there is none."""
    text = texts().get(code)
    if text is None:
        warnings.warn(f"no text for the code {code}", TextWarning, stacklevel=2)
        return code
    known = {"pointer": pointer, **values}
    missing = text.placeholders(language) - set(known)
    if missing:
        warnings.warn(f"the text of {code} asks for {sorted(missing)}", TextWarning, stacklevel=2)
        return code
    return text.templates[language].format_map({name: written(value, language) for name, value in known.items()})


def written(value: Scalar, language: Language) -> str:
    """A value as the language writes it: three significant digits, every digit of the whole part, no exponent.

    >>> written(1234.5, "de"), written(0.04567, "en"), written(-60.0, "en")
    ('1235', '0.0457', '-60')
    """
    if isinstance(value, float):
        size = abs(value)
        whole_digits = len(str(int(size))) if size >= 1 else 0
        leading_zeros = 0
        while 0 < size < 0.1 and leading_zeros < 12:
            size, leading_zeros = size * 10, leading_zeros + 1
        text = f"{value:.{max(0, SIGNIFICANT_DIGITS - whole_digits + leading_zeros)}f}"
        text = text.rstrip("0").rstrip(".") if "." in text else text
        text = "0" if text == "-0" else text
        return text.replace(".", ",") if language == "de" else text
    if value is None:
        return "-"
    return words().get(str(value), {}).get(language, str(value))
