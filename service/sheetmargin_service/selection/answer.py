"""The answer: what to buy, how to set it, whether it will work, and why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from sheetmargin_service.selection.job import Job

Scalar = str | int | float | bool | None
Verdict = Literal["suitable", "trial", "unsuitable"]


@dataclass(frozen=True, kw_only=True)
class Note:
    """A reason, rejection, assumption, caution or trial step: a stable code and the numbers its text may state."""

    code: str
    values: Mapping[str, Scalar]
    source: str | None = None
    pointer: str | None = None
    value: Scalar = None


@dataclass(frozen=True, kw_only=True)
class Window:
    nominal: float
    min: float
    max: float


@dataclass(frozen=True, kw_only=True)
class Geometry:
    gap_mm: Window
    tilt_deg: Window | None


@dataclass(frozen=True, kw_only=True)
class Profile:
    id: str
    single_band: tuple[int, int]
    hold_ms: float | None


@dataclass(frozen=True, kw_only=True)
class Alignment:
    """Offset and angle of one face that cost 1 dB and 3 dB of the open path."""

    lateral_mm_1db: float
    lateral_mm_3db: float
    angle_deg_1db: float
    angle_deg_3db: float
    steps: tuple[Note, ...] = ()


@dataclass(frozen=True, kw_only=True)
class ClassSummary:
    id: str
    principle: str
    frequency_hz: float | None
    illustrative: bool


@dataclass(frozen=True, kw_only=True)
class Order:
    role: str
    part_number: str | None
    quantity: int


@dataclass(frozen=True, kw_only=True)
class Sound:
    face_radius_mm: float
    drive: str


@dataclass(frozen=True, kw_only=True)
class Coil:
    """Cross section of either coil; it lies `recess_mm` behind the face."""

    inner_radius_mm: float
    outer_radius_mm: float
    length_mm: float
    recess_mm: float


@dataclass(frozen=True, kw_only=True)
class Electrode:
    width_mm: float
    length_mm: float


@dataclass(frozen=True, kw_only=True)
class Light:
    wavelength_nm: float
    spot_diameter_mm: float


@dataclass(frozen=True, kw_only=True)
class Roller:
    """Force and area of the contact."""

    force_n: float | None
    width_mm: float | None
    length_mm: float | None


@dataclass(frozen=True, kw_only=True)
class Laser:
    spot_diameter_mm: float | None
    stand_off_mm: float


@dataclass(frozen=True, kw_only=True)
class Sensor:
    """What the pair senses with: the part of its principle."""

    sound: Sound | None = None
    coil: Coil | None = None
    electrode: Electrode | None = None
    light: Light | None = None
    roller: Roller | None = None
    laser: Laser | None = None


@dataclass(frozen=True, kw_only=True)
class Setup:
    """One detector pair as it is mounted and set, and the job's sheets that it serves, by their index. Mounting and
    timing are absent until the line is known."""

    index: int
    sheets: tuple[int, ...]
    detector_class: ClassSummary
    sensor: Sensor
    geometry: Geometry
    profile: Profile
    alignment: Alignment | None
    mounting: Mounting | None
    timing: Timing | None
    order: tuple[Order, ...]


@dataclass(frozen=True, kw_only=True)
class Point:
    x_mm: float
    y_mm: float


@dataclass(frozen=True, kw_only=True)
class Box:
    """A rectangle in the plane of travel."""

    x_min_mm: float
    x_max_mm: float
    y_min_mm: float
    y_max_mm: float


@dataclass(frozen=True, kw_only=True)
class Room:
    """Free space on one side of the sheet, and what the face and its rim take of it. None: the job does not say."""

    available_mm: float | None
    needed_mm: float
    spare_mm: float | None


@dataclass(frozen=True, kw_only=True)
class Bracket:
    """What holds a head: holes by its thread, and the travel that the usable windows ask for.

    Both heads swing together about the point where the beam meets the sheet; `swing_radius_mm` is where the clamp
    grips, in the middle of the longer lever. `axial_travel_mm` is one head's share of the gap's window.
    """

    thread: str
    hole_mm: float | None
    tapped_minor_mm: float | None
    swing_radius_mm: float
    swing_deg: float
    swing_arc_mm: float
    swing_chord_mm: float
    axial_travel_mm: float


@dataclass(frozen=True, kw_only=True)
class Footprint:
    """The beam on the sheet: full axes of its ellipse, its centre, and how far flutter moves it along travel."""

    along_mm: float
    across_mm: float
    centre_x_mm: float
    shift_mm: float


@dataclass(frozen=True, kw_only=True)
class Distances:
    """How far the beam's point on the sheet must keep from a side edge, and along travel from rollers and guides."""

    edge_least_mm: float
    edge_mm: float | None
    roller_least_mm: float


@dataclass(frozen=True, kw_only=True)
class Neighbours:
    """Pairs side by side: the least pitch at which all may sound at once, and the turns they take where it is less."""

    least_pitch_mm: float
    pitch_mm: float | None
    turns: int


@dataclass(frozen=True, kw_only=True)
class Mounting:
    """Where the pair stands, about the point where the beam meets the sheet: x along travel, y up, emitter below.

    `gap_mm` and `tilt_deg` are the windows of the geometry as far as the clearances leave them. `envelope` is what both
    heads sweep over these, one window at a time. `footprint` and `neighbours` are None for a principle without a beam.
    """

    emitter: Point
    receiver: Point
    emitter_rear: Point
    receiver_rear: Point
    emitter_to_sheet_mm: float
    receiver_to_sheet_mm: float
    body_diameter_mm: float
    body_length_mm: float
    gap_mm: Window
    tilt_deg: Window | None
    envelope: Box
    height_mm: float
    above: Room
    below: Room
    rim_to_sheet_mm: float
    bracket: Bracket
    footprint: Footprint | None
    distances: Distances | None
    neighbours: Neighbours | None
    fits: bool
    notes: tuple[Note, ...]


@dataclass(frozen=True, kw_only=True)
class Timing:
    """Times at line speed. What the job leaves out is None, and a note says which field would fill it.

    `sheet_ms` and `space_ms`: the beam's spot wholly covered, wholly open; of a stream one pitch, and none. `fits` is
    None where it cannot be told; `limit` is what fails, or else what would fail first as the line gets faster.
    """

    reading_interval_ms: float
    sheet_ms: float | None
    space_ms: float | None
    sheets_per_hour: float | None
    readings_per_sheet: int | None
    readings_per_double: int | None
    readings_per_space: int | None
    hold_min_ms: float | None
    hold_max_ms: float | None
    hold_ms: float | None
    speed_max_m_per_min: float | None
    plies_fewest: int | None
    plies_most: int | None
    fits: bool | None
    limit: Note | None
    notes: tuple[Note, ...]


@dataclass(frozen=True, kw_only=True)
class Percentiles:
    p1: float
    p50: float
    p99: float


@dataclass(frozen=True, kw_only=True)
class Signal:
    """`fewer`: a ply too few, where plies are counted; `double` is a ply too many then."""

    quantity: str
    unit: str
    no_sheet: Percentiles
    single: Percentiles
    double: Percentiles
    fewer: Percentiles | None


@dataclass(frozen=True, kw_only=True)
class Margin:
    """Least distance of each state's p1-p99 from an edge of the band, in the signal's unit; negative: it crosses."""

    no_sheet: float
    single: float
    double: float


@dataclass(frozen=True, kw_only=True)
class Misread:
    estimate: float | None
    low: float | None
    high: float | None
    floored: bool


@dataclass(frozen=True, kw_only=True)
class Misreads:
    """Per million events of the true state."""

    single_as_double: Misread
    single_as_no_sheet: Misread
    double_as_single: Misread
    double_as_no_sheet: Misread
    no_sheet_as_single: Misread
    no_sheet_as_double: Misread


@dataclass(frozen=True, kw_only=True)
class SheetResult:
    index: int
    setup: int
    signal: Signal
    margin: Margin
    misread_ppm: Misreads


@dataclass(frozen=True, kw_only=True)
class NotServed:
    index: int
    code: str
    values: dict[str, Scalar]


@dataclass(frozen=True, kw_only=True)
class Serves:
    """How many sheets of the job's are served."""

    count: int
    of: int


@dataclass(frozen=True, kw_only=True)
class Changeovers:
    """Changes while the list is run: of detector class, of gap or tilt, of profile."""

    detector_class: int
    geometry: int
    profile: int


@dataclass(frozen=True, kw_only=True)
class Recommendation:
    """`verdict` is that of the worst of the sheets that it serves."""

    rank: int
    verdict: Verdict
    serves: Serves
    not_served: tuple[NotServed, ...]
    changeovers: Changeovers
    setups: tuple[Setup, ...]
    sheets: tuple[SheetResult, ...]
    reasons: tuple[Note, ...]


@dataclass(frozen=True, kw_only=True)
class Rejection:
    detector_class: str
    code: str
    values: dict[str, Scalar]


@dataclass(frozen=True, kw_only=True)
class SheetSummary:
    index: int
    label: str | None
    material: str
    grammage_gsm: float
    thickness_um: float
    density_kg_m3: float


@dataclass(frozen=True, kw_only=True)
class Answer:
    """`job` is the one that is answered. `verdict` is that of the worst sheet of the best recommendation: one that it
    does not serve is unsuitable."""

    reference: str | None
    job: Job
    model_version: str
    catalogue_version: str
    verdict: Verdict
    sheets: tuple[SheetSummary, ...]
    recommendations: tuple[Recommendation, ...]
    rejected: tuple[Rejection, ...]
    trial: tuple[Note, ...]
    assumptions: tuple[Note, ...]
    cautions: tuple[Note, ...]
