"""A detector as it is mounted and set, in words."""

from __future__ import annotations

from sheetmargin.contract.answer import (
    Setup,
)
from sheetmargin.contract.mounting import Window
from sheetmargin.report.view import View


def detector(setup: Setup) -> str:
    """`Ultrasonic pair, 300 kHz, M18`."""
    name = setup.detector_class.name or setup.detector_class.id
    thread = setup.mounting.bracket.thread if setup.mounting else ""
    return f"{name}, {thread.partition('x')[0]}" if thread.startswith("M") else name


def class_of(setup: Setup, view: View) -> str:
    told = view.words("class", id=setup.detector_class.id)
    return f"{told} {view.words('invented')}" if setup.detector_class.illustrative else told


def gap(setup: Setup, view: View) -> str:
    nominal = setup.geometry.gap_mm.nominal
    return f"{view.figures.gap(nominal)} mm" if nominal else view.words("in-contact")


def gap_in_words(setup: Setup, view: View) -> str:
    """`gap 23.5 mm`, `in contact`."""
    return view.words("also-gap", gap=gap(setup, view)) if setup.geometry.gap_mm.nominal else gap(setup, view)


def tilt(setup: Setup, view: View) -> str:
    """Empty of a principle without one."""
    found = setup.geometry.tilt_deg
    return "" if found is None else f"{view.figures.number(found.nominal)}°"


def geometry(setup: Setup, view: View) -> str:
    """`gap 23.5 mm, tilt 10°`."""
    leaned = setup.geometry.tilt_deg
    told = view.words("also-tilt", tilt=tilt(setup, view)) if leaned is not None and leaned.nominal else ""
    return ", ".join(filter(None, (gap_in_words(setup, view), told)))


def set_rows(setup: Setup, view: View, *, mount: str) -> list[list[str]]:
    """What to mount and what to set, each with what is worth knowing of it."""
    words, figures = view.words, view.figures
    rows = [[words(mount), detector(setup), class_of(setup, view)]]
    window = setup.geometry.gap_mm
    if window.nominal:
        usable = _usable(window, figures.gap(window.min), figures.gap(window.max), "mm", view)
        rows.append([words("gap"), gap(setup, view), usable])
    else:
        rows.append([words("gap"), gap(setup, view), ""])
    leaned = setup.geometry.tilt_deg
    if leaned is not None:
        usable = _usable(leaned, figures.number(leaned.min), figures.number(leaned.max), "°", view)
        square = words("square-on") if leaned.nominal == 0 else ""
        rows.append([words("tilt"), ", ".join(filter(None, (tilt(setup, view), square))), usable])
    means = "band-means-stream" if setup.timing and setup.timing.plies_most else "band-means"
    rows.append([words("band"), words(means, band=band(setup, view)), ""])
    if setup.profile.hold_ms is not None:
        rows.append([words("hold"), f"{figures.number(setup.profile.hold_ms, 1)} ms", ""])
    if setup.timing and setup.timing.speed_max_m_per_min is not None:
        rows.append([words("line-speed"), speed(setup, view), ""])
    return rows


def speed(setup: Setup, view: View) -> str:
    assert setup.timing is not None
    assert setup.timing.speed_max_m_per_min is not None
    return view.figures.speed(setup.timing.speed_max_m_per_min)


def _usable(window: Window, low: str, high: str, unit: str, view: View) -> str:
    return "" if window.min == window.max else view.words("usable", range=view.figures.range(low, high, unit))


def band(setup: Setup, view: View) -> str:
    told = setup.profile.band
    return view.figures.levels(told.low, told.high, told.unit)
