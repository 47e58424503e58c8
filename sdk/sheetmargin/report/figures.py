"""Numbers as a reader writes them: digits that can be set or measured, the marks of the language, the unit once."""

from __future__ import annotations

from dataclasses import dataclass
from math import floor, log10

from sheetmargin.report.words import Words

UNITS = {"um": "µm", "deg": "°", "g/m2": "g/m²"}
"""Units of the contract that are written otherwise."""
FINEST_PPM = 1.0
"""Rarer misreads are not resolved."""
PPM_AS_PERCENT = 10_000.0
HARDLY_PERCENT = 100.0
"""Below this a range that ends in per cent is not written as one in per cent."""
NOT_LIMITED_M_PER_MIN = 1_000.0
"""A line that may run faster than this is not limited by the detector."""


@dataclass(frozen=True, kw_only=True)
class Figures:
    """Writes quantities in one language."""

    words: Words

    def number(self, value: float, places: int = 0) -> str:
        """To so many places after the point, without trailing zeros.

        >>> Figures(words=Words(language="de")).number(1234.5, 1)
        '1.234,5'
        """
        text = f"{value:,.{places}f}"
        text = text.rstrip("0").rstrip(".") if "." in text else text
        text = "0" if text == "-0" else text
        return text.translate(str.maketrans(",.", ".,")) if self.words.language == "de" else text

    def significant(self, value: float, digits: int) -> str:
        """To so many significant digits.

        >>> Figures(words=Words()).significant(29956, 2), Figures(words=Words()).significant(0.01234, 2)
        ('30,000', '0.012')
        """
        size = floor(log10(abs(value))) + 1 if value else 1
        places = digits - size
        return self.number(round(value, places), max(places, 0))

    def level(self, value: float) -> str:
        """A level or a margin: whole from 10, else to 0.1.

        >>> Figures(words=Words()).level(46.6), Figures(words=Words()).level(9.94), Figures(words=Words()).level(-0.02)
        ('47', '9.9', '0')
        """
        return self.number(value, 0 if abs(round(value, 1)) >= 10 else 1)

    def unit(self, unit: str) -> str:
        """A unit of the contract as it is read: `um/(Pa s)` with its Greek letter."""
        return UNITS.get(unit, f"µm{unit[2:]}" if unit.startswith("um/") else unit)

    def range(self, low: str, high: str, unit: str = "") -> str:
        """Two numbers and their unit once, at the end; one where both are the same."""
        text = low if low == high else f"{low} {self.words('to')} {high}"
        return f"{text}{'' if unit in ('', '°') else ' '}{unit}"

    def levels(self, low: float, high: float, unit: str) -> str:
        return self.range(self.level(low), self.level(high), self.unit(unit))

    def gap(self, value: float) -> str:
        """As the answer has it, to 0.1 mm; whole from 100 mm."""
        return self.number(value, 1 if value < 100 else 0)

    def thickness(self, value_um: float) -> str:
        """Three digits, in mm from 1 mm.

        >>> Figures(words=Words()).thickness(102.6), Figures(words=Words(language="de")).thickness(1500)
        ('103 µm', '1,5 mm')
        """
        if float(f"{value_um:.3g}") >= 1000:
            return f"{self.significant(value_um / 1000, 3)} mm"
        return f"{self.significant(value_um, 3)} µm"

    def grammage(self, value_gsm: float) -> str:
        return f"{self.significant(value_gsm, 3)} g/m²"

    def percent(self, share: float, digits: int = 2) -> str:
        return f"{self.significant(100 * share, digits)} %"

    def chance(self, chance: float) -> str:
        """In whole per cent; never more certain than it is told."""
        whole = round(100 * chance)
        return "> 99 %" if whole > 99 else "< 1 %" if whole < 1 else f"{whole} %"

    def rate(self, ppm: float) -> str:
        """Misreads: two digits per million; from 10,000 in per cent.

        >>> Figures(words=Words()).rate(21.7), Figures(words=Words()).rate(0.4), Figures(words=Words()).rate(17_300)
        ('22 per million', '1 per million or fewer', '1.7 %')
        """
        if ppm <= FINEST_PPM:
            return self.words("finest")
        if ppm >= PPM_AS_PERCENT:
            return self.percent(ppm / 1e6)
        return self.words("per-million", rate=self.significant(ppm, 2))

    def rates(self, middle: float, low: float, high: float, *, short: bool = False) -> str:
        """Misreads with what 90 % of such jobs have, in the unit of the greatest; `short` in the width of a column.

        >>> Figures(words=Words()).rates(9.9, 1, 102), Figures(words=Words()).rates(1, 1, 1)
        ('about 9.9 per million (1 to 100)', '1 per million or fewer')
        """
        if high <= FINEST_PPM:
            return self.words("finest")
        low, middle = max(low, FINEST_PPM), max(middle, FINEST_PPM)
        if high >= PPM_AS_PERCENT:
            if short:
                return self.words("up-to-rate", rate=self.rate(high))
            if low < HARDLY_PERCENT:
                return self.words("at-worst", rate=self.rate(middle), worst=self.rate(high))
            low, middle, high = (value / PPM_AS_PERCENT for value in (low, middle, high))
            numbers = (self.significant(low, 2), self.significant(high, 2))
            return f"{self.words('about', rate=f'{self.significant(middle, 2)} %')} ({self.range(*numbers)} %)"
        told = self.words("per-million", rate=self.significant(middle, 2))
        told = told if short else self.words("about", rate=told)
        return f"{told} ({self.range(self.significant(low, 2), self.significant(high, 2))})"

    def target(self, ppm: float) -> str:
        """The greatest rate that is accepted, per million without saying so; from 10,000 in per cent."""
        return self.percent(ppm / 1e6, 3) if ppm >= PPM_AS_PERCENT else self.significant(ppm, 3)

    def speed(self, m_per_min: float) -> str:
        """Two digits, rounded down; what is no limit is said so."""
        if m_per_min > NOT_LIMITED_M_PER_MIN:
            return self.words("speed-not-limited")
        step = 10 ** max(floor(log10(m_per_min)) - 1, 0) if m_per_min >= 1 else 1
        return self.words("speed-up-to", speed=f"{self.number(floor(m_per_min / step) * step)} m/min")
