"""Figures as a reader writes them: digits that can be set or measured, with their unit.

The end of a value's name tells the quantity: `gap_mm`, `target_ppm`. A level or a margin, which has no such end, is in
the unit that stands beside it as `unit`. Full precision stays in the values.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from math import ceil, floor, log10
from typing import Literal

from sheetmargin_service.messages.languages import Language, number_marks

Rounding = Literal["nearest", "up", "down"]

FIELD_UNITS: Mapping[str, str] = {"um": "µm"}
"""Units of a signal that ASCII writes otherwise."""
LEVELS = frozenset({"margin", "margin_alone", "margin_after", "single_move", "double_move", "expected", "other"})
"""Names of values in the unit beside them, with those that end as `LEVEL_ENDS`."""
LEVEL_ENDS = ("_p1", "_p50", "_p99", "_edge", "band_low", "band_high")
FINEST_PPM = 1.0
"""Rarer misreads are not resolved."""
PPM_AS_SHARE = 10_000.0
"""From here a rate is written in per cent."""
CHANCES = frozenset({"chance_pct", "own_pct", "other_pct"})
"""Chances: none is told as certain."""
FASTEST_M_PER_MIN = 1_000.0
"""A line that may run faster than this is not limited by the detector."""
_WORDS: Mapping[str, Mapping[Language, str]] = {
    "to": {"en": "to", "de": "bis"},
    "per million": {"en": "per million", "de": "je Million"},
    "finest": {"en": "1 per million or fewer", "de": "höchstens 1 je Million"},
    "or fewer": {"en": "{} or fewer", "de": "höchstens {}"},
    "less than": {"en": "less than", "de": "weniger als"},
    "up": {"en": "rises by about {}", "de": "steigt um etwa {}"},
    "down": {"en": "falls by about {}", "de": "fällt um etwa {}"},
    "unchanged": {"en": "does not change", "de": "bleibt gleich"},
    "gap": {"en": "gap {}", "de": "Abstand {}"},
    "tilt": {"en": "tilt {}", "de": "Neigung {}"},
    "in contact": {"en": "in contact", "de": "in Kontakt"},
    "not limited": {
        "en": "not limited by the detector (above 1,000 m/min)",
        "de": "durch den Detektor nicht begrenzt (über 1.000 m/min)",
    },
}


@dataclass(frozen=True, kw_only=True)
class Figure:
    """How a quantity is written: `places` after the point below `whole_from`, none from there; or `digits` in all.
    `small`: two digits below 0.1."""

    unit: str = ""
    places: int = 1
    whole_from: float = 10.0
    digits: int | None = None
    rounding: Rounding = "nearest"
    small: bool = False


FIGURES: Mapping[str, Figure] = {
    "mm": Figure(unit="mm", small=True),
    "needed_mm": Figure(unit="mm", rounding="up"),
    "least_mm": Figure(unit="mm", rounding="up"),
    "least_pitch_mm": Figure(unit="mm", rounding="up"),
    "height_mm": Figure(unit="mm", rounding="up"),
    "short_mm": Figure(unit="mm", rounding="up"),
    "um": Figure(unit="µm", digits=3),
    "spread_um": Figure(unit="µm"),
    "own_um": Figure(unit="µm"),
    "air_um": Figure(unit="µm"),
    "sunk_um": Figure(unit="µm"),
    "db": Figure(unit="dB"),
    "ff": Figure(unit="fF"),
    "deg": Figure(unit="°"),
    "ms": Figure(unit="ms"),
    "c": Figure(unit="°C", whole_from=1000.0),
    "pct": Figure(unit="%", digits=2),
    "share": Figure(unit="%", digits=2),
    "chance_pct": Figure(unit="%", places=0),
    "confidence_pct": Figure(unit="%", digits=3),
    "prior_pct": Figure(unit="%", digits=3),
    "share_pct": Figure(unit="%", digits=3),
    "ppm": Figure(digits=2),
    "target_ppm": Figure(digits=3),
    "bound_ppm": Figure(digits=2, rounding="up"),
    "alone_ppm": Figure(digits=2, rounding="up"),
    "wanted_ppm": Figure(digits=3),
    "gsm": Figure(unit="g/m²", digits=3),
    "kg_m3": Figure(unit="kg/m³", digits=3),
    "khz": Figure(unit="kHz", digits=3),
    "nm": Figure(unit="nm", places=0),
    "n": Figure(unit="N", digits=2),
    "pa": Figure(unit="Pa", digits=3),
    "kpa": Figure(unit="kPa", digits=3),
    "um_per_pa_s": Figure(unit="µm/(Pa s)", digits=2),
    "mm_per_s": Figure(unit="mm/s", digits=3),
    "uohm_m": Figure(unit="µΩ m", digits=2),
    "ms_per_m": Figure(unit="MS/m", digits=2),
    "s_per_100ml": Figure(unit="s per 100 ml", digits=3),
    "ml_per_min": Figure(unit="ml/min", digits=3),
    "m_per_min": Figure(unit="m/min", digits=4),
    "speed_max_m_per_min": Figure(unit="m/min", digits=2, rounding="down"),
    "per_hour": Figure(digits=2),
    "sheets_per_hour": Figure(digits=2),
    "runs": Figure(digits=2, rounding="up"),
    "fitted": Figure(digits=2),
    "fed": Figure(places=0),
}
"""By the end of a value's name, the longest that fits; what comes per hour, and a count of sheets, has no unit of its
own."""
GAP = Figure(unit="mm", whole_from=100.0)
"""Gaps are set to half a millimetre."""
LEVEL = Figure()
PLAIN = Figure(digits=3)
"""What has no unit: counts, factors, ratios."""


@cache
def figure_of(name: str) -> Figure | None:
    """How the value of a name is written; None where the name tells no quantity."""
    if name.startswith("gap_") and name.endswith("_mm"):
        return GAP
    parts = name.split("_")
    ends = ("_".join(parts[start:]) for start in range(len(parts)))
    return next((FIGURES[end] for end in ends if end in FIGURES), LEVEL if is_level(name) else None)


def is_level(name: str) -> bool:
    """Whether a value is in the unit that stands beside it."""
    return name in LEVELS or name.endswith(LEVEL_ENDS)


def written_number(value: float, language: Language, *, figure: Figure = PLAIN, fine: bool = False) -> str:
    """A number by a figure's digits, with the marks of the language.

    >>> written_number(23.5, "de", figure=FIGURES["mm"]), written_number(29956, "en", figure=FIGURES["runs"])
    ('23,5', '30,000')
    """
    rounded, places = _rounded(value, figure, fine=fine)
    text = f"{rounded:,.{max(places, 0)}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return ("0" if text == "-0" else text).translate(number_marks(language))


def _rounded(value: float, figure: Figure, *, fine: bool = False) -> tuple[float, int]:
    """The number that is written, and its places after the point; negative for tens and hundreds."""
    places = figure.places if abs(value) < figure.whole_from or fine else 0
    digits = 2 if figure.small and 0.0 < abs(value) < 0.1 else figure.digits
    if digits is not None:
        size = floor(log10(abs(value))) + 1 if value else 1
        places = digits - size
    scaled = value * 10.0**places if places >= 0 else value / 10.0**-places
    # Nine digits first: binary fractions leave more behind, which would round a whole number up or down.
    scaled = float(f"{scaled:.9g}")
    whole = {"up": ceil(scaled), "down": floor(scaled), "nearest": round(scaled)}[figure.rounding]
    return (whole / 10.0**places if places >= 0 else float(whole * 10**-places)), places


def written(name: str, value: float, language: Language, *, unit: str = "", fine: bool = False) -> str:
    """A value with its unit.

    >>> written("gap_mm", 23.5, "de"), written("high_ppm", 21.7, "en"), written("low_ppm", 0.2, "en")
    ('23,5 mm', '22 per million', '1 per million or fewer')
    """
    number, unit = _parts(name, value, language, unit=unit, fine=fine)
    return _joined(number, unit)


def written_range(
    first: tuple[str, float], second: tuple[str, float], language: Language, *, unit: str = "", fine: bool = False
) -> str:
    """Two values with their unit once, at the end; one where they do not differ.

    >>> written_range(("p5_um", 8.0), ("p95_um", 80.0), "en"), written_range(("low_ppm", 1.0), ("high_ppm", 1.0), "de")
    ('8 to 80 µm', 'höchstens 1 je Million')
    """
    if figure_of(second[0]) is FIGURES["ppm"] and first[1] <= FINEST_PPM < second[1]:
        low, low_unit = written_number(FINEST_PPM, language), _WORDS["per million"][language]
    else:
        low, low_unit = _parts(*first, language, unit=unit, fine=fine)
    high, high_unit = _parts(*second, language, unit=unit, fine=fine)
    if (low, low_unit) == (high, high_unit):
        return _joined(high, high_unit)
    start = low if low_unit == high_unit else _joined(low, low_unit)
    return f"{start} {_WORDS['to'][language]} {_joined(high, high_unit)}"


def written_target(value: float, language: Language) -> str:
    """A target: the highest rate that is acceptable.

    >>> written_target(1000, "en"), written_target(100, "de")
    ('1,000 per million or fewer', 'höchstens 100 je Million')
    """
    number, unit = _parts("target_ppm", value, language)
    return _WORDS["or fewer"][language].format(_joined(number, unit))


def written_change(value: float, language: Language, *, unit: str) -> str:
    """By how much a level rises or falls, in words.

    >>> written_change(7.4, "en", unit="dB"), written_change(-0.6, "de", unit="dB")
    ('rises by about 7.4 dB', 'fällt um etwa 0,6 dB')
    """
    if _rounded(value, LEVEL)[0] == 0.0:
        return _WORDS["unchanged"][language]
    amount = written("expected", abs(value), language, unit=unit)
    return _WORDS["up" if value > 0.0 else "down"][language].format(amount)


def written_position(gap_mm: float, tilt_deg: float | None, language: Language) -> str:
    """Gap and tilt; the gap alone where tilt means nothing.

    >>> written_position(23.5, 0.0, "de"), written_position(0.0, None, "en")
    ('Abstand 23,5 mm, Neigung 0°', 'in contact')
    """
    gap = _WORDS["gap" if gap_mm else "in contact"][language].format(written("gap_mm", gap_mm, language))
    if tilt_deg is None:
        return gap
    return f"{gap}, {_WORDS['tilt'][language].format(written('tilt_deg', tilt_deg, language))}"


def _joined(number: str, unit: str) -> str:
    return f"{number}{'' if unit in ('', '°') else ' '}{unit}"


def _parts(name: str, value: float, language: Language, *, unit: str = "", fine: bool = False) -> tuple[str, str]:
    """Number and unit; an empty unit where the number has none, or says it all."""
    figure = figure_of(name) or PLAIN
    if name.endswith("ppm"):
        return _rate(value, language, figure)
    if name.endswith("speed_max_m_per_min") and value > FASTEST_M_PER_MIN:
        return _WORDS["not limited"][language], ""
    if name.endswith("_share"):
        value *= 100.0
    own = figure.unit or (FIELD_UNITS.get(unit, unit) if is_level(name) else "")
    if name in CHANCES and not 0.5 <= value < 99.5:
        return ("> 99" if value > 50.0 else "< 1"), own
    if (own == "%" or name.endswith("per_hour")) and 0.0 < value < 0.01:
        return f"{_WORDS['less than'][language]} {written_number(0.01, language)}", own
    if own == "µm" and float(f"{abs(value):.3g}") >= 1000.0:
        return written_number(value / 1000.0, language, figure=FIGURES["um"]), "mm"
    if own == "kHz" and value < 1.0:
        value, own = 1000.0 * value, "Hz"
    return written_number(value, language, figure=figure, fine=fine), own


def _rate(value: float, language: Language, figure: Figure) -> tuple[str, str]:
    if value <= FINEST_PPM and figure is FIGURES["ppm"]:
        return _WORDS["finest"][language], ""
    if _rounded(value, figure)[0] >= PPM_AS_SHARE:
        return written_number(value / 10_000.0, language, figure=figure), "%"
    return written_number(value, language, figure=figure), _WORDS["per million"][language]
