"""Words and numbers of the set-up sheet in the language asked for, and in the units of its paper."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache

from sheetmargin_service.messages.names import Reader
from sheetmargin_service.messages.quantities import LEVEL, written_number
from sheetmargin_service.messages.say import Scalar, filled
from sheetmargin_service.tables import load_table
from sheetmargin_service.web.us_units import in_us_units

_UNIT = re.compile(r"(?<=\d) (?=(?:mm|µm|in|mil|dB|fF|ms|kHz|%|°[CF]|g/m²|m/min|ft/min|lb/1000)(?!\w))")


@cache
def _table() -> Mapping[str, Mapping[str, str]]:
    return load_table(__package__, "words.toml")


class Words:
    """Texts for one reader; `words("gap")`, with the text's places filled by keyword.

    `us`: lengths, speeds, grammages and temperatures in US units; what a detector reads keeps its unit.
    """

    def __init__(self, reader: Reader, *, us: bool = False, reading_unit: str = "") -> None:
        self._reader, self.us, self._reading_unit = reader, us, reading_unit
        self.language = reader.language

    def __call__(self, word: str, **places: Scalar) -> str:
        said = filled(_table()[word][self.language], places, self.language)
        return self.told(self._reader.in_trade_words(said))

    def told(self, text: str) -> str:
        """The text in the units of the page, each on the line of its number."""
        text = in_us_units(text, language=self.language, keep=self._reading_unit) if self.us else text
        return _UNIT.sub("\N{NO-BREAK SPACE}", text)

    def range(self, low: float, high: float, *, unit: str = "") -> str:
        """Two readings, or what is set in a receiver, with their unit once."""
        return f"{self('level-range', low=self.number(low), high=self.number(high))} {unit}".rstrip()

    def number(self, value: float) -> str:
        """A reading or a margin, without its unit.

        >>> Words(Reader(language="de")).number(-3.62), Words(Reader(language="en")).number(30.04)
        ('-3,6', '30')
        """
        return written_number(value, self.language, figure=LEVEL)
