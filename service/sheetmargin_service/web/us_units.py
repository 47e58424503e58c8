"""US customary units in place of metric ones, in texts of the set-up sheet."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping

from sheetmargin_service.messages.languages import Language

MM_PER_INCH = 25.4
_FACTORS: Mapping[str, tuple[str, Callable[[float], float]]] = {
    "mm": ("in", lambda mm: mm / MM_PER_INCH),
    "µm": ("mil", lambda um: um / MM_PER_INCH),
    "m/min": ("ft/min", lambda speed: speed / 0.3048),
    "g/m²": ("lb/1000 ft²", lambda gsm: gsm * 0.3048**2 / 0.45359237),
    "°C": ("°F", lambda celsius: 1.8 * celsius + 32.0),
}
"""By NIST SP 811, appendix B: the foot is 0.3048 m, the pound 0.45359237 kg."""
_NUMBER = r"[-\N{MINUS SIGN}]?\d[\d.,]*"
_QUANTITY = re.compile(rf"(?P<numbers>{_NUMBER}(?: (?:to|bis|×|x) {_NUMBER})*) (?P<unit>mm|µm|m/min|g/m²|°C)(?![\w/])")
_MARKS: Mapping[Language, Mapping[int, int]] = {
    "en": {ord("."): ord("."), ord(","): ord(",")},
    "de": {ord("."): ord(","), ord(","): ord(".")},
}


def in_us_units(text: str, *, language: Language, keep: str = "") -> str:
    """The text with every metric quantity in US units, but for those in the unit `keep`.

    >>> in_us_units("Gap 15 to 35.5 mm at 120 m/min.", language="en")
    'Gap 0.59 to 1.40 in at 394 ft/min.'
    >>> in_us_units("Abstand 23,5 mm", language="de")
    'Abstand 0,93 in'
    """

    def converted(match: re.Match[str]) -> str:
        unit = match["unit"]
        if unit == keep:
            return match[0]
        name, convert = _FACTORS[unit]

        def number(found: re.Match[str]) -> str:
            plain = found[0].replace("\N{MINUS SIGN}", "-").translate(_MARKS[language]).replace(",", "")
            return _written(convert(float(plain)), unit=unit).translate(_MARKS[language])

        return f"{re.sub(_NUMBER, number, match['numbers'])} {name}"

    return _QUANTITY.sub(converted, text)


def _written(value: float, *, unit: str) -> str:
    """As fine as the metric figure: inches to 0.01, below 0.2 to 0.001; mils and pounds to 0.1; else whole."""
    places = {"mm": 2 if abs(value) >= 0.2 else 3, "µm": 1, "g/m²": 1}.get(unit, 0)
    text = f"{value:,.{places}f}" if value else "0"
    return text.replace("-", "\N{MINUS SIGN}")
