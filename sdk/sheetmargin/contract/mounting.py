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
    """A setting and its usable range, in the unit that the field's name has."""

    nominal: float = field(metadata=about(decimals=1))
    """Value to set, in the unit that the field's name has."""
    min: float = field(metadata=about(decimals=1))
    """Lower end of the usable range, in the same unit."""
    max: float = field(metadata=about(decimals=1))
    """Upper end of the usable range, in the same unit."""

    def __str__(self) -> str:
        if self.min == self.max:
            return f"{self.nominal:g}"
        return f"{self.nominal:g} ({self.min:g} to {self.max:g})"


@dataclass(frozen=True, kw_only=True)
class Geometry:
    """Gap and tilt of a detector, each with its usable range."""

    gap_mm: Window
    """Gap in mm from sensing face to sensing face, 0 where the detector is in contact with the sheet."""
    tilt_deg: Window | None
    """Tilt in ° of the detector's axis against the sheet's normal, 0 where perpendicular; null of a principle without
    tilt."""


@dataclass(frozen=True, kw_only=True)
class Alignment:
    """Offset and angle of one sensing face that reduce the open-path level by 1 dB and by 3 dB, and how to align."""

    lateral_mm_1db: float = field(metadata=about(unit="mm", decimals=2))
    """Sideways offset of one face in mm that reduces the open-path level by 1 dB."""
    lateral_mm_3db: float = field(metadata=about(unit="mm", decimals=2))
    """Sideways offset of one face in mm that reduces the open-path level by 3 dB."""
    angle_deg_1db: float = field(metadata=about(unit="deg", decimals=2))
    """Angle of one face in ° that reduces the open-path level by 1 dB."""
    angle_deg_3db: float = field(metadata=about(unit="deg", decimals=2))
    """Angle of one face in ° that reduces the open-path level by 3 dB."""
    steps: Sequence[Note]
    """Steps of the alignment, in the order of work."""


@dataclass(frozen=True, kw_only=True)
class Point:
    """A place relative to the point where the detector's axis meets the sheet: x along travel, y up."""

    x_mm: float = field(metadata=MM)
    """Distance along travel in mm from where the axis meets the sheet."""
    y_mm: float = field(metadata=MM)
    """Height in mm above the sheet, negative below it."""


@dataclass(frozen=True, kw_only=True)
class Box:
    """A rectangle along travel and upright, relative to the point where the detector's axis meets the sheet."""

    x_min_mm: float = field(metadata=MM)
    """Furthest extent against travel in mm, as a negative number."""
    x_max_mm: float = field(metadata=MM)
    """Furthest extent along travel in mm."""
    y_min_mm: float = field(metadata=MM)
    """Lowest extent below the sheet in mm, as a negative number."""
    y_max_mm: float = field(metadata=MM)
    """Highest extent above the sheet in mm."""


@dataclass(frozen=True, kw_only=True)
class Room:
    """Clearance on one side of the sheet, and what the sensing face with its rim needs of it."""

    available_mm: float | None = field(metadata=MM)
    """Clearance in mm that the job gives on this side; null where it gives none."""
    needed_mm: float = field(metadata=MM)
    """Height in mm that face and rim of the head need on this side, flutter included."""
    spare_mm: float | None = field(metadata=MM)
    """Clearance in mm beyond what is needed, negative where the head does not fit; null where the job gives no
    clearance."""


@dataclass(frozen=True, kw_only=True)
class Bracket:
    """Bracket of a head and the travel it needs; both heads swing together about the point where the axis meets the
    sheet."""

    thread: str
    """Thread of the head (ISO 261), or `rectangular`."""
    hole_mm: float | None = field(metadata=about(unit="mm", decimals=2))
    """Diameter in mm of a clearance hole for the thread; null where the thread tables have none."""
    tapped_minor_mm: float | None = field(metadata=about(unit="mm", decimals=2))
    """Minor diameter in mm of a tapped hole for the thread; null where the thread tables have none."""
    swing_radius_mm: float = field(metadata=MM)
    """Distance in mm from the point where the axis meets the sheet to the clamp, in the middle of the head that is
    further away."""
    swing_deg: float = field(metadata=DEGREES)
    """Angle in ° through which the clamp must swing to reach the whole range of tilt."""
    swing_arc_mm: float = field(metadata=MM)
    """Length of that swing in mm along the arc."""
    swing_chord_mm: float = field(metadata=MM)
    """Length of that swing in mm in a straight line."""
    axial_travel_mm: float = field(metadata=MM)
    """Travel in mm of one head along its axis: its share of the range of the gap."""


@dataclass(frozen=True, kw_only=True)
class Footprint:
    """The beam's ellipse on the sheet."""

    along_mm: float = field(metadata=MM)
    """Length of the ellipse along travel in mm."""
    across_mm: float = field(metadata=MM)
    """Width of the ellipse across travel in mm."""
    centre_x_mm: float = field(metadata=MM)
    """Position of its centre along travel in mm from where the axis meets the sheet."""
    shift_mm: float = field(metadata=MM)
    """Distance in mm by which flutter shifts it along travel."""


@dataclass(frozen=True, kw_only=True)
class Distances:
    """How far the beam must stay from edges, rollers and guides."""

    edge_least_mm: float = field(metadata=MM)
    """Smallest distance in mm from the detector's axis to a side edge of the sheet."""
    edge_mm: float | None = field(metadata=MM)
    """Distance in mm from the axis to the nearest side edge as the job gives it; null where it does not."""
    roller_least_mm: float = field(metadata=MM)
    """Smallest distance along travel in mm from the detector's axis to rollers and guides."""


@dataclass(frozen=True, kw_only=True)
class Neighbours:
    """Detectors of neighbouring lanes and their crosstalk."""

    least_pitch_mm: float = field(metadata=MM)
    """Smallest distance in mm between lanes at which all pairs may transmit at once."""
    pitch_mm: float | None = field(metadata=MM)
    """Distance in mm between lanes as the job gives it; null where it does not."""
    time_slots: int
    """Number of time slots in which the pairs transmit by turns; 1 where all transmit at once."""


@dataclass(frozen=True, kw_only=True)
class Mounting:
    """Where the heads are mounted: x along travel, y up, relative to the point where the axis meets the sheet, emitter
    below."""

    emitter: Point
    """Centre of the lower sensing face."""
    receiver: Point
    """Centre of the upper sensing face."""
    emitter_rear: Point
    """Centre of the rear end of the lower head."""
    receiver_rear: Point
    """Centre of the rear end of the upper head."""
    emitter_to_sheet_mm: float = field(metadata=MM)
    """Distance in mm from the lower sensing face to the sheet, along the axis."""
    receiver_to_sheet_mm: float = field(metadata=MM)
    """Distance in mm from the upper sensing face to the sheet, along the axis."""
    body_diameter_mm: float = field(metadata=MM)
    """Diameter or width of a head in mm."""
    body_length_mm: float = field(metadata=MM)
    """Length of a head in mm, without cable."""
    gap_mm: Window
    """Gap in mm with the part of its usable range that the clearances leave."""
    tilt_deg: Window | None
    """Tilt in ° with the part of its usable range that the clearances leave; null of a principle without tilt."""
    envelope: Box
    """Rectangle that both heads sweep while gap and tilt each move through their range."""
    height_mm: float = field(metadata=MM)
    """Height of that rectangle in mm."""
    above: Room
    """Clearance above the sheet, and what the upper head needs of it."""
    below: Room
    """Clearance below the sheet, and what the lower head needs of it."""
    rim_to_sheet_mm: float = field(metadata=MM)
    """Distance in mm from the nearest rim of a head to the sheet."""
    bracket: Bracket
    """Bracket of the heads and the travel it needs."""
    footprint: Footprint | None
    """The beam's ellipse on the sheet; null of a principle without a beam of sound."""
    distances: Distances | None
    """How far the beam must stay from edges, rollers and guides; null of a principle without a beam of sound."""
    neighbours: Neighbours | None
    """Crosstalk with neighbouring lanes; null of a principle without a beam of sound."""
    fits: bool
    """Whether the heads fit the machine, as far as the job gives clearances."""
    notes: Sequence[Note]
    """What limits the mounting, and what was not checked."""


@dataclass(frozen=True, kw_only=True)
class Timing:
    """Times at line speed; null where the job does not give what they need, and a note names the field."""

    reading_interval_ms: float = field(metadata=MS)
    """Time from one reading to the next in ms."""
    sheet_ms: float | None = field(metadata=MS)
    """Time in ms for which a sheet covers the sensing area wholly, in a stream one pitch; null where speed or length is
    not known."""
    space_ms: float | None = field(metadata=MS)
    """Time in ms for which the sensing area is wholly free between two sheets; null where speed or spacing is not
    known."""
    sheets_per_hour: float | None = field(metadata=about(decimals=0))
    """Number of sheets that pass in an hour; null where speed or pitch is not known."""
    readings_per_sheet: int | None
    """Number of readings while a sheet covers the sensing area; null where that time is not known."""
    readings_per_double: int | None
    """Number of readings while a double covers the sensing area; null where that time is not known."""
    readings_per_space: int | None
    """Number of readings while the sensing area is free; null where that time is not known."""
    hold_min_ms: float | None = field(metadata=MS)
    """Shortest hold time in ms that the controller sees for sure; null where the controller is not known."""
    hold_max_ms: float | None = field(metadata=MS)
    """Longest hold time in ms before it covers the next sheet; null where speed, lengths or controller are not
    known."""
    hold_ms: float | None = field(metadata=MS)
    """Hold time to set in ms; null where it cannot be calculated or no hold time serves."""
    speed_max_m_per_min: float | None = field(metadata=about(unit="m/min", decimals=1))
    """Highest line speed in m/min for this set-up; null where the lengths are not known."""
    plies_fewest: int | None
    """Fewest sheets that lie on one another in a correct stream; null where sheets come one by one."""
    plies_most: int | None
    """Most sheets that lie on one another in a correct stream; null where sheets come one by one."""
    fits: bool | None
    """Whether the detector keeps up with the line; null where it cannot be told."""
    limit: Note | None
    """What fails, or would fail first as the line gets faster; null where the lengths are not known."""
    notes: Sequence[Note]
    """What was not given, or is worth knowing about the times."""
