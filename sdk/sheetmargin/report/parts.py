"""What several reports show alike: a sheet, a mounted detector, what it reads and misreads, what is unknown."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from sheetmargin.contract.answer import (
    Answer,
    Finding,
    FindOut,
    Misread,
    Recommendation,
    Setup,
    SheetResult,
    SheetSummary,
)
from sheetmargin.contract.mounting import Window
from sheetmargin.contract.notes import Assumption, Note
from sheetmargin.report.view import View

LEVEL_UNITS = ("dB", "fF")
STATES = ("no_sheet", "single", "double")
MISREADS = (
    "double_as_single",
    "single_as_double",
    "single_as_no_sheet",
    "double_as_no_sheet",
    "no_sheet_as_single",
    "no_sheet_as_double",
)
ALWAYS_TOLD = MISREADS[:2]
"""Missed doubles and false stops: the others are told where they are not at the floor."""
SIZE_FROM_DENSITY = ("thickness-from-density", "grammage-from-density")
"""Codes of the assumptions that a size follows from the material's density."""
LABEL = 15
"""Columns of the labels at the left."""


def described(sheet: SheetSummary, assumptions: Sequence[Assumption], view: View) -> str:
    """`cover: copy paper, 80 g/m² (103 µm, from typical density)`."""
    figures = view.figures
    sizes = {"g/m²": figures.grammage(sheet.grammage_gsm), "µm": figures.thickness(sheet.thickness_um)}
    other = sizes["µm"] if "g/m²" in sheet.made_of else sizes["g/m²"]
    pointers = (f"/sheets/{sheet.index}/", "/sheet/")
    typical = any(one.code in SIZE_FROM_DENSITY and (one.pointer or "").startswith(pointers) for one in assumptions)
    size = f"{other}, {view.words('typical-density')}" if typical else other
    return f"{label_of(sheet)} ({size})"


def label_of(sheet: SheetSummary) -> str:
    """By its label and what it is made of; by the id of its material where an older service says no more."""
    made_of = sheet.made_of or sheet.material
    return f"{sheet.label}: {made_of}" if sheet.label else made_of


def names_of(sheets: Sequence[SheetSummary]) -> dict[int, str]:
    """What each sheet is called within a sentence."""
    return {sheet.index: sheet.name or sheet.material for sheet in sheets}


def verdict_line(verdict: str, text: str, view: View) -> list[str]:
    """The verdict in capitals, and what it is about."""
    word = view.page.plain(view.words.of("verdict", verdict).upper())
    first, *rest = view.page.wrap(text, first=" " * max(LABEL, len(word) + 2)) or [""]
    return [(view.page.verdict(word, verdict) + first[len(word) :]).rstrip(), *rest]


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


def state_names(result: SheetResult, setup: Setup | None, view: View) -> dict[str, str]:
    """What the rows of a table of levels are called: in a stream and of plies that are counted not as elsewhere."""
    words, timing = view.words, setup.timing if setup else None
    names = {state: words(f"state.{state}") for state in STATES}
    if timing and timing.plies_most:
        fewest, most = timing.plies_fewest or timing.plies_most, timing.plies_most
        lying = view.figures.range(str(fewest), str(most))
        names |= {"single": words("state.stream", count=lying), "double": words("state.stream-double")}
    elif result.signal.one_ply_missing is not None:
        names["double"] = words("state.one-ply-more")
    return names


def level_rows(result: SheetResult, setup: Setup | None, view: View) -> list[list[str]]:
    """The head, then each state: expected, 98 % of readings, margin; the smallest margin is marked."""
    words, figures, signal = view.words, view.figures, result.signal
    unit = figures.unit(signal.unit)
    margins = {state: getattr(result.margin, state) for state in STATES}
    least = min(margins, key=lambda state: margins[state])
    rows = [["", words("expected"), words("98-percent"), words("margin"), ""]]
    for state, name in state_names(result, setup, view).items():
        spread = getattr(signal, state)
        rows.append(
            [
                name,
                figures.range(figures.level(spread.p50), figures.level(spread.p50), unit),
                figures.levels(spread.p1, spread.p99, signal.unit),
                figures.range(figures.level(margins[state]), figures.level(margins[state]), unit),
                words("smallest") if state == least else "",
            ]
        )
    fewer = signal.one_ply_missing
    if fewer is not None:
        told = figures.range(figures.level(fewer.p50), figures.level(fewer.p50), unit)
        rows.append([words("state.one-ply-missing"), told, figures.levels(fewer.p1, fewer.p99, signal.unit), "", ""])
    return rows


def targets_of(answer: Answer) -> dict[str, float]:
    """The targets of the job, given or assumed, per million."""
    given = {name: getattr(answer.job.targets, name) for name in MISREADS}
    return assumed_targets(answer.assumptions) | {name: float(ppm) for name, ppm in given.items() if ppm is not None}


def assumed_targets(assumptions: Sequence[Assumption]) -> dict[str, float]:
    """The targets that were not given."""
    start = "/targets/"
    assumed = {
        (one.pointer or "").removeprefix(start): one.value
        for one in assumptions
        if (one.pointer or "").startswith(start)
    }
    return {name: float(ppm) for name in MISREADS if isinstance(ppm := assumed.get(name), int | float)}


def at_floor(misread: Misread) -> bool:
    """Whether nearly every such job is at the floor, and not the median alone."""
    return misread.floored and (misread.high is None or misread.high == misread.estimate)


def rate(misread: Misread, view: View, *, short: bool = False) -> str:
    """The median with what 90 % of such jobs have; `short` for a column."""
    if misread.estimate is None:
        return "-"
    low, high = (misread.estimate if value is None else value for value in (misread.low, misread.high))
    return view.figures.rates(misread.estimate, low, high, short=short)


def chance_row(chance: float, view: View) -> list[str]:
    return [view.words("chance"), view.figures.chance(chance), view.words("chance-text")]


def misread_rows(result: SheetResult, targets: dict[str, float], view: View) -> list[list[str]]:
    """Missed doubles and false stops, and of the other misreads those that are not at the floor."""
    rows = []
    for name in MISREADS:
        misread: Misread = getattr(result.misread_ppm, name)
        if misread.estimate is None or (name not in ALWAYS_TOLD and at_floor(misread)):
            continue
        target = view.words("target", target=view.figures.target(targets[name])) if name in targets else ""
        rows.append([view.words(f"misread.{name}"), rate(misread, view), target])
    return rows


def unchecked(setups: Iterable[Setup], view: View) -> list[str]:
    """What was not checked for want of an input, and the inputs that would let it be."""
    notes = [note for one in setups for part in (one.mounting, one.timing) if part is not None for note in part.notes]
    unknown = {str(note.values["pointer"]) for note in notes if "pointer" in note.values}
    topics = {topic: [pointer for pointer in needed if pointer in unknown] for topic, needed in TOPICS.items()}
    topics["speed"] = topics["speed"][:1]
    names = [view.name_input(pointer) for needed in topics.values() for pointer in needed]
    if not names:
        return []
    what = ", ".join(view.words(f"topic.{topic}") for topic, needed in topics.items() if needed)
    return view.page.labelled(
        view.words("not-checked"), view.words("not-checked-text", what=what, inputs=", ".join(names)), indent=LABEL
    )


TOPICS = {
    "clearance": ("/line/clearance_above_mm", "/line/clearance_below_mm"),
    "edge": ("/line/edge_distance_mm",),
    "speed": ("/line/speed_m_per_min", "/line/sheet_length_mm", "/line/sheet_spacing_mm", "/line/shingle_pitch_mm"),
}
"""What stays unchecked without an input, by the inputs that it needs; of the line's speed the first one missing is
asked for."""


def found_out(one: FindOut, view: View, *, verdict: str | None = None) -> str:
    """What to find out, what each finding would make of the set-up ranked first, and where it is entered. With
    `verdict`, only the findings that would change it."""
    told = [finding for finding in one.findings if finding.verdict != verdict]
    findings = "; ".join(_finding(finding, one.unit, view) for finding in told)
    text = f"{one} {findings[:1].upper()}{findings[1:]}." if findings else str(one)
    inputs = " ".join(dict.fromkeys(map(view.name_input, one.pointers)))
    return f"{text} {view.words('enter', inputs=inputs)}" if inputs else text


def _finding(finding: Finding, unit: str | None, view: View) -> str:
    words, figures = view.words, view.figures
    low, high = (None if end is None else _end(end, unit, view) for end in (finding.low, finding.high))
    named = figures.unit(unit or "")
    if finding.answer is not None:
        where = words(f"finding.{finding.answer}")
    elif low is None:
        where = words("finding.up-to", value=figures.range(high or "", high or "", named))
    elif high is None:
        where = words("finding.above", value=figures.range(low, low, named))
    else:
        where = figures.range(low, high, named)
    return words("finding", where=where, verdict=words.of("verdict", finding.verdict))


def _end(value: float, unit: str | None, view: View) -> str:
    return view.figures.level(value) if unit in LEVEL_UNITS else view.figures.significant(value, 3)


def found_out_lines(answer: Answer, view: View, *, room: int) -> list[str]:
    """What to find out next, as many as there is room for."""
    lines: list[str] = []
    verdict = answer.best.verdict if answer.best else answer.verdict
    for one in answer.find_out:
        label = "" if lines else view.words("find-out")
        told = view.page.labelled(label, found_out(one, view, verdict=verdict), indent=LABEL)
        if len(lines) + len(told) > room:
            break
        lines += told
    return lines


def next_line(section: str, view: View) -> list[str]:
    """Which section to ask for next."""
    step = view.next_step(section)
    return view.page.labelled(view.words("next"), step, indent=LABEL) if step else []


LINE = ("too-fast", "maybe-too-fast", "pitch-must-hold", "beam-over-edge")
"""Codes of the reasons by which the line lowers a verdict."""


def lowered_by(one: Recommendation, view: View) -> list[str]:
    """The reason that makes a verdict worse than the chance alone would; of several set-ups the first one's."""
    told = [why.text for why in one.reasons if why.code in LINE or why.code == one.limited_by]
    more = f" ({view.words.counted('and-more', len(told) - 1)})" if len(told) > 1 else ""
    return [line for text in told[:1] for line in view.page.wrap(f"{text}{more}")]


SAFETY = ("not-a-safety-device", "isolate-before-work")
"""Codes of the cautions that stand below every answer, in the words that every channel has them."""


def safety(cautions: Sequence[Note], view: View) -> list[str]:
    told = [str(one) for one in cautions if one.code in SAFETY]
    return view.page.wrap(" ".join([view.words("estimated"), *told]))


def texts(notes: Sequence[Note]) -> list[str]:
    return [str(note) for note in notes]
