"""The line's clock: readings in a sheet, the hold between controller and next sheet, the greatest speed.

A length of the stream, less the beam's spot, lasts length/speed; every demand is that some length lasts some time. A
field that the job leaves out leaves its results None, with a note that points to it.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor

from sheetmargin_service.selection.answer import Note, Timing
from sheetmargin_service.selection.job import Controller, Line

HOLD_MARGIN = 1.5
"""The hold is the least one and half as much again, for a controller whose scan is not always the same (a choice)."""


@dataclass(frozen=True, kw_only=True)
class Reading:
    """How a pair reads: time from one reading to the next and until its output follows, while it sounds all the time.

    `spot_mm`: length of the beam's footprint along travel. `turns`: pairs that sound one after another.
    """

    interval_ms: float
    response_ms: float
    spot_mm: float
    turns: int = 1


@dataclass(frozen=True, kw_only=True)
class Stream:
    """Shingled sheets: the sheets that lie on one another alternate between two numbers within each pitch.

    `plies` is the number in the longer part, `phase_mm` that part's length.
    """

    fewest: int
    most: int
    plies: int
    phase_mm: float


@dataclass(frozen=True, kw_only=True)
class _Lengths:
    """Along travel, the spot wholly within: sheet, double, overlap if one is given, space, and the room for a hold; the
    pitch as it is. None: not known, or there is none."""

    sheet_mm: float | None
    double_mm: float | None
    overlap_mm: float | None
    space_mm: float | None
    pitch_mm: float | None
    room_mm: float | None


@dataclass(frozen=True, kw_only=True)
class _Demand:
    """A length that must last a time, or the limit named `code` is passed."""

    code: str
    length_mm: float
    needed_ms: float

    @property
    def speed_max_m_per_min(self) -> float:
        """Rounded down to 0.1 m/min."""
        return floor(600.0 * self.length_mm / self.needed_ms) / 10.0


def shingled_stream(*, sheet_length_mm: float, pitch_mm: float) -> Stream | None:
    """Sheets on one another when leading edges follow each other by `pitch_mm`; None where they do not overlap."""
    fewest = floor(sheet_length_mm / pitch_mm)
    if fewest == 0:
        return None
    thick = sheet_length_mm - fewest * pitch_mm
    most = fewest + 1 if thick > 0.0 else fewest
    thin = pitch_mm - thick
    return Stream(fewest=fewest, most=most, plies=fewest if thin >= thick else most, phase_mm=max(thin, thick))


def time_line(*, line: Line, controller: Controller, reading: Reading, overlap_mm: float | None = None) -> Timing:
    """Times at line speed for one pair.

    `overlap_mm`: length over which a double lies; None for the whole sheet. Singulated: `sheet_spacing_mm` is the free
    space between sheets. Shingled: it is the distance from leading edge to leading edge, and the sheet's times are
    those of the longer part of each pitch.
    """
    notes = _unknown(line, controller)
    stream = None
    if line.feeding == "shingled" and line.sheet_length_mm is not None and line.sheet_spacing_mm is not None:
        stream = shingled_stream(sheet_length_mm=line.sheet_length_mm, pitch_mm=line.sheet_spacing_mm)
        notes.append(_stream_note(stream, sheet_length_mm=line.sheet_length_mm, pitch_mm=line.sheet_spacing_mm))
    lengths = _lengths(line, stream, spot_mm=reading.spot_mm, overlap_mm=overlap_mm)
    hold_min = None
    if controller.scan_ms is not None and controller.input_filter_ms is not None:
        hold_min = controller.scan_ms + controller.input_filter_ms
    demands = _demands(lengths, hold_min_ms=hold_min, response_ms=reading.response_ms * reading.turns)
    tightest = min(demands, key=lambda d: (d.speed_max_m_per_min, d.code), default=None)
    speed, interval = line.speed_m_per_min, reading.interval_ms * reading.turns
    sheet_ms, double_ms, space_ms, room_ms = (
        _lasts(length, speed) for length in (lengths.sheet_mm, lengths.double_mm, lengths.space_mm, lengths.room_mm)
    )
    hold_max = None if room_ms is None or hold_min is None else max(0.0, room_ms - hold_min)
    return Timing(
        reading_interval_ms=interval,
        sheet_ms=sheet_ms,
        space_ms=space_ms,
        sheets_per_hour=None if speed is None or lengths.pitch_mm is None else 60e3 * speed / lengths.pitch_mm,
        readings_per_sheet=_readings(sheet_ms, interval),
        readings_per_double=_readings(double_ms, interval),
        readings_per_space=_readings(space_ms, interval),
        hold_min_ms=hold_min,
        hold_max_ms=hold_max,
        hold_ms=_hold(hold_min, hold_max),
        speed_max_m_per_min=tightest.speed_max_m_per_min if tightest else None,
        plies_fewest=stream.fewest if stream else None,
        plies_most=stream.most if stream else None,
        fits=_fits(tightest, speed, complete=not any(note.pointer for note in notes)),
        limit=_limit(tightest),
        notes=tuple(notes),
    )


def _lengths(line: Line, stream: Stream | None, *, spot_mm: float, overlap_mm: float | None) -> _Lengths:
    overlap = _less(overlap_mm, spot_mm)
    if line.feeding == "shingled":
        # A stream has no space: the held output must have fallen when the next sheet comes, a pitch later.
        sheet = _less(stream.phase_mm if stream else None, spot_mm)
        space, pitch = None, line.sheet_spacing_mm
        room = pitch
    else:
        sheet, space = _less(line.sheet_length_mm, spot_mm), _less(line.sheet_spacing_mm, spot_mm)
        ends = (line.sheet_length_mm, line.sheet_spacing_mm)
        pitch = None if ends[0] is None or ends[1] is None else ends[0] + ends[1]
        room = space
    double = sheet if overlap is None else overlap
    return _Lengths(sheet_mm=sheet, double_mm=double, overlap_mm=overlap, space_mm=space, pitch_mm=pitch, room_mm=room)


def _less(length_mm: float | None, spot_mm: float) -> float | None:
    """Length over which the spot lies wholly within; none where the spot is longer."""
    return None if length_mm is None else max(0.0, length_mm - spot_mm)


def _lasts(length_mm: float | None, speed_m_per_min: float | None) -> float | None:
    return None if length_mm is None or speed_m_per_min is None else 60.0 * length_mm / speed_m_per_min


def _readings(time_ms: float | None, interval_ms: float) -> int | None:
    """Readings that fall within a time whatever their phase."""
    return None if time_ms is None else floor(time_ms / interval_ms)


def _demands(lengths: _Lengths, *, hold_min_ms: float | None, response_ms: float) -> list[_Demand]:
    """The demands that can be told. The controller must see the held output, and see it fall before the next sheet."""
    each = (
        ("sheet-too-short", lengths.sheet_mm, response_ms),
        ("overlap-too-short", lengths.overlap_mm, response_ms),
        ("hold-masks-next-sheet", lengths.room_mm, 2.0 * (hold_min_ms or 0.0)),
    )
    return [
        _Demand(code=code, length_mm=length, needed_ms=needed)
        for code, length, needed in each
        if length is not None and needed > 0.0
    ]


def _hold(hold_min_ms: float | None, hold_max_ms: float | None) -> float | None:
    """The hold to set: whole milliseconds where there is room for them; None where no hold serves."""
    if hold_min_ms is None:
        return None
    wanted = float(ceil(HOLD_MARGIN * hold_min_ms))
    if hold_max_ms is None or wanted <= hold_max_ms:
        return wanted
    return hold_max_ms if hold_max_ms >= hold_min_ms else None


def _fits(tightest: _Demand | None, speed_m_per_min: float | None, *, complete: bool) -> bool | None:
    if tightest is None or speed_m_per_min is None:
        return None
    if speed_m_per_min > tightest.speed_max_m_per_min:
        return False
    return True if complete else None


def _limit(tightest: _Demand | None) -> Note | None:
    if tightest is None:
        return None
    values = {
        "length_mm": tightest.length_mm,
        "needed_ms": tightest.needed_ms,
        "speed_max_m_per_min": tightest.speed_max_m_per_min,
    }
    return Note(code=tightest.code, values=values)


def _stream_note(stream: Stream | None, *, sheet_length_mm: float, pitch_mm: float) -> Note:
    if stream is None:
        values = {"sheet_length_mm": sheet_length_mm, "pitch_mm": pitch_mm}
        return Note(code="shingles-do-not-overlap", pointer="/line/feeding", values=values)
    return Note(
        code="read-in-step",
        values={
            "fewest": stream.fewest,
            "most": stream.most,
            "plies": stream.plies,
            "one_more": stream.plies + 1,
            "phase_mm": stream.phase_mm,
        },
    )


def _unknown(line: Line, controller: Controller) -> list[Note]:
    given = {
        "/line/speed_m_per_min": line.speed_m_per_min,
        "/line/sheet_length_mm": line.sheet_length_mm,
        "/line/sheet_spacing_mm": line.sheet_spacing_mm,
        "/controller/scan_ms": controller.scan_ms,
        "/controller/input_filter_ms": controller.input_filter_ms,
    }
    return [Note(code="not-given", pointer=pointer, values={}) for pointer, value in given.items() if value is None]
