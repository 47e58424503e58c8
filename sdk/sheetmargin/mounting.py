"""Where a pair stands, how it is aligned, and what it does at line speed.

Places are about the point where the beam meets the sheet: x along travel, y up, the emitter below.
"""

from __future__ import annotations

from dataclasses import dataclass

from sheetmargin.notes import Note


@dataclass(frozen=True, kw_only=True)
class Window:
    """A setting and the window within which the margins hold."""

    nominal: float | None = None
    min: float | None = None
    max: float | None = None

    def __str__(self) -> str:
        if self.nominal is None:
            return "-"
        if self.min is None or self.max is None or self.min == self.max:
            return f"{self.nominal:g}"
        return f"{self.nominal:g} ({self.min:g} to {self.max:g})"


@dataclass(frozen=True, kw_only=True)
class Geometry:
    """`tilt_deg` is None where tilt means nothing to the principle."""

    gap_mm: Window = Window()
    tilt_deg: Window | None = None


@dataclass(frozen=True, kw_only=True)
class Alignment:
    """Offset and angle of one face that cost 1 dB and 3 dB of the open path, and how to align."""

    lateral_mm_1db: float | None = None
    lateral_mm_3db: float | None = None
    angle_deg_1db: float | None = None
    angle_deg_3db: float | None = None
    steps: tuple[Note, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Point:
    x_mm: float | None = None
    y_mm: float | None = None


@dataclass(frozen=True, kw_only=True)
class Box:
    """A rectangle in the plane of travel."""

    x_min_mm: float | None = None
    x_max_mm: float | None = None
    y_min_mm: float | None = None
    y_max_mm: float | None = None


@dataclass(frozen=True, kw_only=True)
class Room:
    """Free space on one side of the sheet, and what the head takes of it."""

    available_mm: float | None = None
    needed_mm: float | None = None
    spare_mm: float | None = None


@dataclass(frozen=True, kw_only=True)
class Bracket:
    """What holds a head: holes for its thread, and the travel that the windows ask for."""

    thread: str | None = None
    hole_mm: float | None = None
    tapped_minor_mm: float | None = None
    swing_radius_mm: float | None = None
    swing_deg: float | None = None
    swing_arc_mm: float | None = None
    swing_chord_mm: float | None = None
    axial_travel_mm: float | None = None


@dataclass(frozen=True, kw_only=True)
class Footprint:
    """The beam on the sheet: full axes of its ellipse, its centre, and how far flutter moves it along travel."""

    along_mm: float | None = None
    across_mm: float | None = None
    centre_x_mm: float | None = None
    shift_mm: float | None = None


@dataclass(frozen=True, kw_only=True)
class Distances:
    """How far the beam must keep from a side edge, and along travel from rollers and guides."""

    edge_least_mm: float | None = None
    edge_mm: float | None = None
    roller_least_mm: float | None = None


@dataclass(frozen=True, kw_only=True)
class Neighbours:
    """Pairs side by side: the least pitch at which all may sound at once, and the turns they take where it is less."""

    least_pitch_mm: float | None = None
    pitch_mm: float | None = None
    turns: int | None = None


@dataclass(frozen=True, kw_only=True)
class Mounting:
    """Where the pair stands. `gap_mm` and `tilt_deg` are the windows as far as the clearances leave them."""

    emitter: Point = Point()
    receiver: Point = Point()
    emitter_rear: Point = Point()
    receiver_rear: Point = Point()
    emitter_to_sheet_mm: float | None = None
    receiver_to_sheet_mm: float | None = None
    body_diameter_mm: float | None = None
    body_length_mm: float | None = None
    gap_mm: Window = Window()
    tilt_deg: Window | None = None
    envelope: Box = Box()
    height_mm: float | None = None
    above: Room = Room()
    below: Room = Room()
    rim_to_sheet_mm: float | None = None
    bracket: Bracket = Bracket()
    footprint: Footprint | None = None
    distances: Distances | None = None
    neighbours: Neighbours | None = None
    fits: bool | None = None
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Timing:
    """Times at line speed. What the job leaves out is None, and a note says which field would fill it.

    `limit` is what fails, or else what would fail first as the line gets faster.
    """

    reading_interval_ms: float | None = None
    sheet_ms: float | None = None
    space_ms: float | None = None
    sheets_per_hour: float | None = None
    readings_per_sheet: int | None = None
    readings_per_double: int | None = None
    readings_per_space: int | None = None
    hold_min_ms: float | None = None
    hold_max_ms: float | None = None
    hold_ms: float | None = None
    speed_max_m_per_min: float | None = None
    plies_fewest: int | None = None
    plies_most: int | None = None
    fits: bool | None = None
    limit: Note | None = None
    notes: tuple[Note, ...] = ()
