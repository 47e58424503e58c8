"""The level ladder of the set-up sheet: a scale that runs down, the band that counts as one sheet, the three states.

States differ by shape: an open bar, a filled bar, two bars side by side. Every length is one of the answer's numbers.
Presentation attributes carry the look: a strict Content-Security-Policy drops style attributes, and a renderer of PDF
does not apply the page's style to inline SVG.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any
from xml.sax.saxutils import escape

from sheetmargin_service.web.drawing import FONT
from sheetmargin_service.web.words import Words

INK, SOFT, BAND, ACCENT = "#16283a", "#56677a", "#f3e3b0", "#14508c"
WIDTH, HEIGHT = 320, 240
_TOP, _BOTTOM, _AXIS, _HALF_BAR = 34, 8, 44, 11
_COLUMNS = {"no_sheet": ("none", 92), "single": ("one", 172), "double": ("two", 252)}


def ladder(*, signal: Mapping[str, Any], margin: Mapping[str, float], band: Sequence[int], words: Words) -> str:
    """SVG of one sheet on one set-up, from the answer's signal, margin and profile."""
    unit = written_unit(signal["unit"])
    ends: list[float] = [signal[state][p] for state in _COLUMNS for p in ("p1", "p99")] + list(band)
    room = 0.04 * (max(ends) - min(ends) or 1.0)
    low, high = min(ends) - room, max(ends) + room

    def y(value: float) -> float:
        """Its height on the page."""
        return _TOP + (value - low) / (high - low) * (HEIGHT - _TOP - _BOTTOM)

    right = WIDTH - 6
    parts = [
        _rect(_AXIS, y(band[0]), right - _AXIS, y(band[1]) - y(band[0]), fill=BAND),
        *(_line(_AXIS, y(edge), right, y(edge), width=1.5) for edge in band),
        _text(_AXIS + 4, y(band[1]) - 5, words("counts"), size=11, fill=SOFT),
        _line(_AXIS, _TOP - 6, _AXIS, HEIGHT - 2, stroke=SOFT),
        _text(_AXIS - 8, 14, unit, size=11, fill=SOFT, anchor="end"),
    ]
    for tick in ticks(low, high):
        parts += [
            _line(_AXIS - 5, y(tick), _AXIS, y(tick), stroke=SOFT),
            _text(_AXIS - 8, y(tick) + 4, words.number(tick), size=11, fill=SOFT, anchor="end"),
        ]
    for state, (name, x) in _COLUMNS.items():
        spread = signal[state]
        parts += [
            _text(x, 15, words(name), size=13, bold=True, anchor="middle"),
            *_bars(x, y(spread["p1"]), y(spread["p50"]), y(spread["p99"]), state),
            _text(x + _HALF_BAR + 5, y(spread["p50"]) + 4, words.number(spread["p50"]), bold=True),
            *_reserve(x, state, signal=signal, margin=margin[state], band=band, y=y, words=words),
        ]
    told = escape(" ".join(_told(signal=signal, band=band, unit=unit, words=words)))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" direction="ltr" '
        f'font-family="{FONT}" font-size="12" fill="{INK}"><title>{told}</title>{"".join(parts)}</svg>'
    )


def written_unit(unit: str) -> str:
    """The unit as people write it."""
    return "µm" if unit == "um" else unit


def ticks(low: float, high: float) -> list[float]:
    """Round steps between two values, three to seven of them.

    >>> ticks(-4.0, 110.0)
    [0.0, 20.0, 40.0, 60.0, 80.0, 100.0]
    """
    rough = (high - low) / 6
    power: float = 10.0 ** math.floor(math.log10(rough))
    step = next(n * power for n in (1, 2, 5, 10) if n * power >= rough)
    first = math.ceil(low / step)
    return [float(f"{n * step:.12g}") + 0.0 for n in range(first, math.floor(high / step) + 1)]


def _bars(x: float, top: float, middle: float, bottom: float, state: str) -> Iterator[str]:
    height = max(bottom - top, 3.0)
    fill = "none" if state == "no_sheet" else INK
    half = _HALF_BAR
    boxes = [(x - half, half - 2), (x + 2, half - 2)] if state == "double" else [(x - half, 2 * half)]
    for left, width in boxes:
        yield _rect(left, top, width, height, fill=fill, stroke=INK)
    yield _line(x - half - 3, middle, x + half + 3, middle, width=2)


def _reserve(
    x: float,
    state: str,
    *,
    signal: Mapping[str, Any],
    margin: float,
    band: Sequence[int],
    y: Callable[[float], float],
    words: Words,
) -> Iterator[str]:
    """Dimension line from a state to the nearest edge of the band; nothing where it crosses."""
    p1, p99 = signal[state]["p1"], signal[state]["p99"]
    pairs = [(band[0], p1), (p99, band[1])] if state == "single" else [(p99, band[0]), (band[1], p1)]
    inside = [(a, b) for a, b in pairs if b >= a]
    if margin <= 0 or not inside:
        return
    low, high = min(inside, key=lambda pair: pair[1] - pair[0])
    top, bottom = y(low), y(high)
    yield _line(x, top, x, bottom, stroke=ACCENT)
    tall = bottom - top > 16
    # Beside a short line the number would lie on the bar; it goes beside the bar as well.
    aside = 5 if tall else _HALF_BAR + 6
    if tall:
        yield f'<path d="M{x} {top:.1f} l-3 6 h6 z M{x} {bottom:.1f} l-3 -6 h6 z" fill="{ACCENT}"/>'
    yield _text(x - aside, (top + bottom) / 2 + 4, words.number(margin), fill=ACCENT, bold=True, anchor="end")


def _told(*, signal: Mapping[str, Any], band: Sequence[int], unit: str, words: Words) -> Iterator[str]:
    for state in _COLUMNS:
        yield words("ladder-state", state=words(state), unit=unit, **signal[state])
    yield words("ladder-band", low=band[0], high=band[1], unit=unit)


def _rect(x: float, y: float, width: float, height: float, *, fill: str, stroke: str = "none") -> str:
    size = f'x="{x:g}" y="{y:.1f}" width="{width:g}" height="{height:.1f}"'
    return f'<rect {size} fill="{fill}" stroke="{stroke}" stroke-width="1.5"/>'


def _line(x1: float, y1: float, x2: float, y2: float, *, stroke: str = INK, width: float = 1) -> str:
    return f'<line x1="{x1:g}" y1="{y1:.1f}" x2="{x2:g}" y2="{y2:.1f}" stroke="{stroke}" stroke-width="{width:g}"/>'


def _text(
    x: float, y: float, text: str, *, size: int = 12, fill: str = INK, bold: bool = False, anchor: str = "start"
) -> str:
    weight = 700 if bold else 400
    look = f'font-size="{size}" font-weight="{weight}" fill="{fill}" text-anchor="{anchor}"'
    return f'<text x="{x:g}" y="{y:.1f}" {look}>{escape(text)}</text>'
