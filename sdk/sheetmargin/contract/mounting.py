"""Where a pair stands, how it is aligned, and what it does at line speed.

Places are about the point where the beam meets the sheet: x along travel, y up, the emitter below.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from sheetmargin.contract.fields import DEGREES, MM, MS, about
from sheetmargin.contract.notes import Note


@dataclass(frozen=True, kw_only=True)
class Window:
    """A setting and how far it may move."""

    nominal: float = field(metadata=about(decimals=1))
    """Set this."""
    min: float = field(metadata=about(decimals=1))
    """Least."""
    max: float = field(metadata=about(decimals=1))
    """Greatest."""

    def __str__(self) -> str:
        if self.min == self.max:
            return f"{self.nominal:g}"
        return f"{self.nominal:g} ({self.min:g} to {self.max:g})"


@dataclass(frozen=True, kw_only=True)
class Geometry:
    """How the pair stands."""

    gap_mm: Window
    """From face to face."""
    tilt_deg: Window | None
    """Of the pair's axis against the sheet's normal; null where tilt means nothing to the principle."""


@dataclass(frozen=True, kw_only=True)
class Alignment:
    """Offset and angle of one face that cost 1 dB and 3 dB of the open path."""

    lateral_mm_1db: float = field(metadata=about(unit="mm", decimals=2))
    """Offset for 1 dB."""
    lateral_mm_3db: float = field(metadata=about(unit="mm", decimals=2))
    """Offset for 3 dB."""
    angle_deg_1db: float = field(metadata=about(unit="deg", decimals=2))
    """Angle for 1 dB."""
    angle_deg_3db: float = field(metadata=about(unit="deg", decimals=2))
    """Angle for 3 dB."""
    steps: Sequence[Note]
    """How to align, in order."""


@dataclass(frozen=True, kw_only=True)
class Point:
    """A place: x along travel, y up, from where the beam meets the sheet."""

    x_mm: float = field(metadata=MM)
    """Along travel."""
    y_mm: float = field(metadata=MM)
    """Up."""


@dataclass(frozen=True, kw_only=True)
class Box:
    """A rectangle in the plane of travel."""

    x_min_mm: float = field(metadata=MM)
    """Against travel."""
    x_max_mm: float = field(metadata=MM)
    """Along travel."""
    y_min_mm: float = field(metadata=MM)
    """Down."""
    y_max_mm: float = field(metadata=MM)
    """Up."""


@dataclass(frozen=True, kw_only=True)
class Room:
    """Free space on one side of the sheet, and what face and rim take of it."""

    available_mm: float | None = field(metadata=MM)
    """What the machine leaves."""
    needed_mm: float = field(metadata=MM)
    """What the head takes."""
    spare_mm: float | None = field(metadata=MM)
    """What is left; negative where it does not fit."""


@dataclass(frozen=True, kw_only=True)
class Bracket:
    """What holds a head, and how far it must move. Both heads swing together about the point on the sheet."""

    thread: str
    """Thread of the head."""
    hole_mm: float | None = field(metadata=about(unit="mm", decimals=2))
    """Clearance hole."""
    tapped_minor_mm: float | None = field(metadata=about(unit="mm", decimals=2))
    """Minor diameter of a tapped hole."""
    swing_radius_mm: float = field(metadata=MM)
    """From the point where the beam meets the sheet to the clamp, in the middle of the longer lever."""
    swing_deg: float = field(metadata=DEGREES)
    """Angle the clamp must travel."""
    swing_arc_mm: float = field(metadata=MM)
    """That travel along the arc."""
    swing_chord_mm: float = field(metadata=MM)
    """That travel straight."""
    axial_travel_mm: float = field(metadata=MM)
    """Travel of one head along its axis: its share of the gap's window."""


@dataclass(frozen=True, kw_only=True)
class Footprint:
    """The beam on the sheet."""

    along_mm: float = field(metadata=MM)
    """Axis of the ellipse along travel."""
    across_mm: float = field(metadata=MM)
    """Axis across travel."""
    centre_x_mm: float = field(metadata=MM)
    """Its centre along travel."""
    shift_mm: float = field(metadata=MM)
    """How far flutter moves it along travel."""


@dataclass(frozen=True, kw_only=True)
class Distances:
    """How far the beam must keep from edges, rollers and guides."""

    edge_least_mm: float = field(metadata=MM)
    """Least distance from a side edge."""
    edge_mm: float | None = field(metadata=MM)
    """Distance that the job gives."""
    roller_least_mm: float = field(metadata=MM)
    """Least distance from rollers and guides along travel."""


@dataclass(frozen=True, kw_only=True)
class Neighbours:
    """Pairs side by side."""

    least_pitch_mm: float = field(metadata=MM)
    """Least pitch at which all may sound at once."""
    pitch_mm: float | None = field(metadata=MM)
    """Pitch that the job gives."""
    time_slots: int
    """Time slots in which they sound by turns; 1 where all sound at once."""


@dataclass(frozen=True, kw_only=True)
class Mounting:
    """Where the pair stands: x along travel, y up, from where the beam meets the sheet; emitter below."""

    emitter: Point
    """Middle of the emitter's face."""
    receiver: Point
    """Middle of the receiver's face."""
    emitter_rear: Point
    """Middle of the emitter's rear end."""
    receiver_rear: Point
    """Middle of the receiver's rear end."""
    emitter_to_sheet_mm: float = field(metadata=MM)
    """From the emitter's face to the sheet, along the axis."""
    receiver_to_sheet_mm: float = field(metadata=MM)
    """From the receiver's face to the sheet, along the axis."""
    body_diameter_mm: float = field(metadata=MM)
    """Diameter or width of a head."""
    body_length_mm: float = field(metadata=MM)
    """Length of a head."""
    gap_mm: Window
    """The gap as far as the clearances leave it."""
    tilt_deg: Window | None
    """The tilt as far as the clearances leave it."""
    envelope: Box
    """What both heads sweep over these windows, one window at a time."""
    height_mm: float = field(metadata=MM)
    """Height of that."""
    above: Room
    """Above the sheet."""
    below: Room
    """Below the sheet."""
    rim_to_sheet_mm: float = field(metadata=MM)
    """From the nearest rim to the sheet."""
    bracket: Bracket
    """What holds the heads."""
    footprint: Footprint | None
    """The beam on the sheet."""
    distances: Distances | None
    """What it must keep from."""
    neighbours: Neighbours | None
    """Other lanes."""
    fits: bool
    """Whether it fits the machine as far as the job tells."""
    notes: Sequence[Note]
    """What limits it."""


@dataclass(frozen=True, kw_only=True)
class Timing:
    """Times at line speed; null where the job does not tell, and a note says which field would."""

    reading_interval_ms: float = field(metadata=MS)
    """Between two readings."""
    sheet_ms: float | None = field(metadata=MS)
    """The spot wholly covered; in a stream, one pitch of it."""
    space_ms: float | None = field(metadata=MS)
    """The spot wholly open."""
    sheets_per_hour: float | None = field(metadata=about(decimals=0))
    """Sheets in an hour."""
    readings_per_sheet: int | None
    """Readings in that time."""
    readings_per_double: int | None
    """Readings while a double is in the beam."""
    readings_per_space: int | None
    """Readings while it is open."""
    hold_min_ms: float | None = field(metadata=MS)
    """Least hold for the controller."""
    hold_max_ms: float | None = field(metadata=MS)
    """Greatest hold before it masks the next sheet."""
    hold_ms: float | None = field(metadata=MS)
    """Hold to set."""
    speed_max_m_per_min: float | None = field(metadata=about(unit="m/min", decimals=1))
    """Fastest line for this set-up."""
    plies_fewest: int | None
    """Fewest sheets that lie on one another in a correct stream."""
    plies_most: int | None
    """Most sheets that lie on one another in a correct stream."""
    fits: bool | None
    """Whether it keeps up; null where it cannot be told."""
    limit: Note | None
    """What fails, or would fail first as the line gets faster."""
    notes: Sequence[Note]
    """What is missing or worth knowing."""
