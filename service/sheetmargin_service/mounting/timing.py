"""The line's clock: readings in a sheet, the hold between controller and next sheet, the greatest speed.

A length of the stream, less the beam's spot, lasts length/speed; every demand is that some length lasts some time. A
field that the job leaves out leaves its results None, with a note that points to it.

What the job gives decides; what is taken for what it leaves out can make a set-up doubtful, but not rule it out.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor

from sheetmargin.contract.answer import Verdict
from sheetmargin.contract.job import Controller, Line
from sheetmargin.contract.mounting import Timing
from sheetmargin.contract.notes import Note, Scalar

from sheetmargin_service.mounting.stream import Stream, stream_of

HOLD_MARGIN = 1.5
"""The hold is the least one and half as much again, for a controller whose scan is not always the same (a choice)."""
NOT_GIVEN = "not-given"


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
class Assumed:
    """The line and the controller with what is taken for what the job leaves out."""

    line: Line
    controller: Controller


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


def time_line(
    *,
    line: Line,
    controller: Controller,
    reading: Reading,
    overlap_mm: float | None = None,
    assumed: Assumed | None = None,
) -> Timing:
    """Times at line speed for one pair.

    `overlap_mm`: length over which a double lies; None for the whole sheet. Shingled: a sheet's time is that of one
    pitch, and a double's that of the part of it where one more than is ever correct lie on one another. `assumed`: with
    what is taken where the job is silent; it makes the hold, and a greatest speed that is doubtful rather than sure.
    """
    assumed = assumed or Assumed(line=line, controller=controller)
    notes = [*_unknown(line, assumed.controller), *_feeding_notes(line, spot_mm=reading.spot_mm)]
    stream, speed = stream_of(line), line.speed_m_per_min
    lengths = _lengths(line, spot_mm=reading.spot_mm, overlap_mm=overlap_mm)
    taken = _lengths(assumed.line, spot_mm=reading.spot_mm, overlap_mm=overlap_mm)
    hold_min, response = _hold_min(assumed.controller), reading.response_ms * reading.turns
    scan, input_filter = controller.scan_ms or 0.0, controller.input_filter_ms or 0.0
    sure = _tightest(lengths, stream, hold_min_ms=scan + input_filter, response_ms=response)
    tightest = _tightest(taken, stream, hold_min_ms=hold_min or 0.0, response_ms=response)
    fails = sure is not None and _passes(speed, sure) is False
    if fails:
        tightest = sure
    interval = reading.interval_ms * reading.turns
    sheet_ms, double_ms, space_ms, room_ms = (
        _lasts(length, speed) for length in (lengths.sheet_mm, lengths.double_mm, lengths.space_mm, lengths.room_mm)
    )
    hold_max = None if room_ms is None or hold_min is None else max(0.0, room_ms - hold_min)
    complete = not any(note.code == NOT_GIVEN for note in notes)
    within = complete and tightest is not None and _passes(speed, tightest)
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
        fits=False if fails else within or None,
        limit=_limit(tightest),
        notes=tuple(notes),
    )


def doubt_by_timing(timing: Timing, *, speed_m_per_min: float | None) -> str | None:
    """The code of what its times say against a set-up: that it is too fast by what is given; that it may be, by what is
    taken; that it rests on a pitch which makes the length a whole number of them, as one a little less would make one
    sheet more correct as well, for no longer than a moment. None for nothing."""
    if timing.fits is False:
        return "too-fast"
    most = timing.speed_max_m_per_min
    if speed_m_per_min is not None and most is not None and speed_m_per_min > most:
        return "maybe-too-fast"
    steady = timing.plies_most is not None and timing.plies_most == timing.plies_fewest
    return "pitch-must-hold" if steady else None


def verdict_of_doubt(code: str | None) -> Verdict:
    """The best that can be said with such a doubt: what is given rules out, the rest is for a trial to confirm."""
    return "suitable" if code is None else "unsuitable" if code == "too-fast" else "trial-needed"


def _lengths(line: Line, *, spot_mm: float, overlap_mm: float | None) -> _Lengths:
    stream = stream_of(line)
    overlap = _less(overlap_mm, spot_mm)
    if stream is not None:
        # A stream has no space: the held output must have fallen when the next sheet comes, a pitch later.
        pitch, lap = stream.pitch_mm, max(0.0, stream.double_mm - spot_mm)
        return _Lengths(
            sheet_mm=pitch,
            double_mm=lap if overlap is None else min(lap, overlap),
            overlap_mm=overlap,
            space_mm=None,
            pitch_mm=pitch,
            room_mm=pitch,
        )
    length, space = line.sheet_length_mm, _space_mm(line)
    if line.shingled and space is None:
        length = None  # what is correct in the beam is not known
    sheet, free = _less(length, spot_mm), _less(space, spot_mm)
    return _Lengths(
        sheet_mm=sheet,
        double_mm=sheet if overlap is None else overlap,
        overlap_mm=overlap,
        space_mm=free,
        pitch_mm=None if length is None or space is None else length + space,
        room_mm=free,
    )


def _space_mm(line: Line) -> float | None:
    """The space between sheets that come one by one; also what a pitch leaves that is greater than a sheet."""
    if not line.shingled:
        return line.sheet_spacing_mm
    length, pitch = line.sheet_length_mm, line.shingle_pitch_mm
    return None if length is None or pitch is None else pitch - length


def _less(length_mm: float | None, spot_mm: float) -> float | None:
    """Length over which the spot lies wholly within; none where the spot is longer."""
    return None if length_mm is None else max(0.0, length_mm - spot_mm)


def _lasts(length_mm: float | None, speed_m_per_min: float | None) -> float | None:
    return None if length_mm is None or speed_m_per_min is None else 60.0 * length_mm / speed_m_per_min


def _readings(time_ms: float | None, interval_ms: float) -> int | None:
    """Readings that fall within a time whatever their phase."""
    return None if time_ms is None else floor(time_ms / interval_ms)


def _tightest(lengths: _Lengths, stream: Stream | None, *, hold_min_ms: float, response_ms: float) -> _Demand | None:
    """Of the demands that can be told, the one that the line meets last as it gets slower. The controller must see the
    held output, and see it fall before the next sheet."""
    whole = ("sheet-too-short", lengths.sheet_mm) if stream is None else ("lap-too-short", lengths.double_mm)
    each = (
        (*whole, response_ms),
        ("overlap-too-short", lengths.overlap_mm, response_ms),
        ("hold-masks-next-sheet", lengths.room_mm, 2.0 * hold_min_ms),
    )
    demands = [
        _Demand(code=code, length_mm=length, needed_ms=needed)
        for code, length, needed in each
        if length is not None and needed > 0.0
    ]
    return min(demands, key=lambda d: (d.speed_max_m_per_min, d.code), default=None)


def _passes(speed_m_per_min: float | None, demand: _Demand) -> bool | None:
    """Whether the line is slow enough; None where its speed is not known and some speed would be."""
    most = demand.speed_max_m_per_min
    if most <= 0.0:
        return False
    return None if speed_m_per_min is None else speed_m_per_min <= most


def _hold_min(controller: Controller) -> float | None:
    if controller.scan_ms is None or controller.input_filter_ms is None:
        return None
    return controller.scan_ms + controller.input_filter_ms


def _hold(hold_min_ms: float | None, hold_max_ms: float | None) -> float | None:
    """The hold to set: whole milliseconds where there is room for them; None where no hold serves."""
    if hold_min_ms is None:
        return None
    wanted = float(ceil(HOLD_MARGIN * hold_min_ms))
    if hold_max_ms is None or wanted <= hold_max_ms:
        return wanted
    return hold_max_ms if hold_max_ms >= hold_min_ms else None


def _limit(tightest: _Demand | None) -> Note | None:
    if tightest is None:
        return None
    values = {
        "length_mm": tightest.length_mm,
        "needed_ms": tightest.needed_ms,
        "speed_max_m_per_min": tightest.speed_max_m_per_min,
    }
    return Note(code=tightest.code, values=values)


def _feeding_notes(line: Line, *, spot_mm: float) -> list[Note]:
    """What is correct in a stream, and where it is not to be read."""
    length, pitch, stream = line.sheet_length_mm, line.shingle_pitch_mm, stream_of(line)
    if not line.shingled:
        unused = Note(code="pitch-not-used", values={"pointer": "/line/shingle_pitch_mm", "pitch_mm": pitch})
        return [] if pitch is None else [unused]
    if stream is None:
        if length is None or pitch is None:
            return []
        values: dict[str, Scalar] = {"pointer": "/line/feeding", "sheet_length_mm": length, "pitch_mm": pitch}
        return [Note(code="shingles-do-not-overlap", values=values)]
    double_mm = stream.double_mm
    lasts_ms = _lasts(double_mm, line.speed_m_per_min)
    one_more = {"one_more": stream.most + 1, "double_mm": double_mm, "double_ms": lasts_ms}
    alternates = Note(
        code="stream-alternates", values={"fewest": stream.fewest, "most": stream.most, **one_more, "pitch_mm": pitch}
    )
    steady = Note(code="stream-steady", values={"count": stream.most, **one_more})
    ends = Note(code="blank-stream-ends", values={"blank_mm": (stream.fewest - 1) * stream.pitch_mm + spot_mm})
    return [steady if stream.fewest == stream.most else alternates, ends]


def _unknown(line: Line, controller: Controller) -> list[Note]:
    between = "shingle_pitch_mm" if line.shingled else "sheet_spacing_mm"
    given = {
        "/line/speed_m_per_min": line.speed_m_per_min,
        "/line/sheet_length_mm": line.sheet_length_mm,
        f"/line/{between}": getattr(line, between),
        "/controller/scan_ms": controller.scan_ms,
        "/controller/input_filter_ms": controller.input_filter_ms,
    }
    return [Note(code=NOT_GIVEN, values={"pointer": pointer}) for pointer, value in given.items() if value is None]
