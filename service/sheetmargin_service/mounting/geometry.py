"""Where the two heads stand, what space they take, and what must keep away from the beam.

Plane of travel: x along travel, y up, origin where the beam meets the sheet. The emitter is below; the axis leans by
the tilt, the receiver downstream. A head reaches from its face backwards along the axis.
"""

from __future__ import annotations

from dataclasses import replace
from math import atan2, cos, hypot, radians, sin, sqrt, tan

from sheetmargin.contract.job import Line
from sheetmargin.contract.mounting import (
    Box,
    Bracket,
    Distances,
    Footprint,
    Geometry,
    Mounting,
    Neighbours,
    Point,
    Window,
)
from sheetmargin.contract.notes import Note

from sheetmargin_service.detectors.model import Housing
from sheetmargin_service.mounting.crosstalk import least_pitch_mm, turns
from sheetmargin_service.mounting.space import SAFE_FLUTTER, MountingSpace
from sheetmargin_service.mounting.threads import metric_thread
from sheetmargin_service.principles.sound_beam import SoundBeam


def mount(*, geometry: Geometry, housing: Housing, space: MountingSpace, beam: SoundBeam | None) -> Mounting:
    """Mount one pair; a pair that does not fit stands with the sheet halfway, and notes say what is short."""
    gap = geometry.gap_mm
    tilt_deg = geometry.tilt_deg.nominal if geometry.tilt_deg else 0.0
    line = space.line
    below, above = _parts_mm(space, gap_mm=gap.nominal, tilt_deg=tilt_deg)
    nearest, furthest = min(below, above), max(below, above)
    usable_gap = space.usable_gap(gap, tilt_deg=tilt_deg)
    usable_tilt = space.usable_tilt(geometry.tilt_deg, gap_mm=gap.nominal) if geometry.tilt_deg else None
    envelope = _envelope(below_mm=below, above_mm=above, gap=usable_gap, tilt=usable_tilt, housing=housing)
    footprint = distances = neighbours = None
    if beam is not None:
        footprint = footprint_on_sheet(distance_mm=furthest, tilt_deg=tilt_deg, beam=beam, flutter_mm=space.flutter_mm)
        distances = _distances(footprint, furthest_mm=furthest, tilt_deg=tilt_deg, space=space)
        neighbours = _neighbours(gap_mm=gap.nominal, beam=beam, housing=housing, line=line)
    room_above = space.room(line.clearance_above_mm, distance_mm=above, tilt_deg=tilt_deg)
    room_below = space.room(line.clearance_below_mm, distance_mm=below, tilt_deg=tilt_deg)
    rim_to_sheet = space.rim_to_sheet_mm(distance_mm=nearest, tilt_deg=tilt_deg)
    bracket = _bracket(housing, gap=usable_gap, tilt=usable_tilt, furthest_mm=furthest)
    mounting = Mounting(
        emitter=_along(-below, tilt_deg),
        receiver=_along(above, tilt_deg),
        emitter_rear=_along(-below - housing.length_mm, tilt_deg),
        receiver_rear=_along(above + housing.length_mm, tilt_deg),
        emitter_to_sheet_mm=below,
        receiver_to_sheet_mm=above,
        body_diameter_mm=housing.width_mm,
        body_length_mm=housing.length_mm,
        gap_mm=usable_gap,
        tilt_deg=usable_tilt,
        envelope=envelope,
        height_mm=envelope.y_max_mm - envelope.y_min_mm,
        above=room_above,
        below=room_below,
        rim_to_sheet_mm=rim_to_sheet,
        bracket=bracket,
        footprint=footprint,
        distances=distances,
        neighbours=neighbours,
        fits=space.emitter_distance_mm(gap_mm=gap.nominal, tilt_deg=tilt_deg) is not None,
        notes=(),
    )
    notes = (
        *_misfits(mounting, space),
        *_remarks(mounting, geometry, housing, line),
        *_neighbour_notes(mounting, line),
    )
    return replace(mounting, notes=notes)


def footprint_on_sheet(*, distance_mm: float, tilt_deg: float, beam: SoundBeam, flutter_mm: float) -> Footprint:
    """The ellipse in which a sheet cuts the beam `distance_mm` from a face.

    The beam is taken as a cone from the face's edge at the -3 dB half angle: in the near field wider than the sound. A
    plane cuts a cone in an ellipse of eccentricity sin(tilt)/cos(half angle).
    """
    tilt, half = radians(tilt_deg), beam.half_angle_rad
    radius = beam.face_radius_mm + distance_mm * tan(half)
    near, far = radius * cos(half) / cos(tilt - half), radius * cos(half) / cos(tilt + half)
    along = near + far
    return Footprint(
        along_mm=along,
        across_mm=along * sqrt(1.0 - (sin(tilt) / cos(half)) ** 2),
        centre_x_mm=0.5 * (far - near),
        shift_mm=flutter_mm * tan(tilt),
    )


def edge_least_mm(footprint: Footprint, space: MountingSpace) -> float:
    """How far the footprint's middle must keep from a side edge, with the flutter."""
    return 0.5 * footprint.across_mm + SAFE_FLUTTER * space.flutter_mm


def edge_at_most_mm(line: Line) -> float | None:
    """How far the axis is from the nearest side edge, or can be at most, in the middle of a sheet of given width; None
    where the job tells neither."""
    if line.edge_distance_mm is not None or line.sheet_width_mm is None:
        return line.edge_distance_mm
    return 0.5 * line.sheet_width_mm


def beam_edge_least_mm(*, gap_mm: float, tilt_deg: float, space: MountingSpace, beam: SoundBeam) -> float:
    """How far a pair's axis must keep from a side edge."""
    footprint = footprint_on_sheet(
        distance_mm=max(_parts_mm(space, gap_mm=gap_mm, tilt_deg=tilt_deg)),
        tilt_deg=tilt_deg,
        beam=beam,
        flutter_mm=space.flutter_mm,
    )
    return edge_least_mm(footprint, space)


def beam_edge_most_mm(*, gap_mm: float, tilt_deg: float, space: MountingSpace, beam: SoundBeam) -> float:
    """What no setting up to a gap and a tilt needs more than: a footprint is longer than wide, and longest at both."""
    longest = footprint_on_sheet(distance_mm=gap_mm, tilt_deg=tilt_deg, beam=beam, flutter_mm=space.flutter_mm)
    return 0.5 * longest.along_mm + SAFE_FLUTTER * space.flutter_mm


def _parts_mm(space: MountingSpace, *, gap_mm: float, tilt_deg: float) -> tuple[float, float]:
    """Of a gap, what is below the sheet and above it; halves where the pair does not fit."""
    placed = space.emitter_distance_mm(gap_mm=gap_mm, tilt_deg=tilt_deg)
    below = 0.5 * gap_mm if placed is None else placed
    return below, gap_mm - below


def _along(distance_mm: float, tilt_deg: float) -> Point:
    """A point of the axis, positive above the sheet."""
    return Point(x_mm=distance_mm * sin(radians(tilt_deg)), y_mm=distance_mm * cos(radians(tilt_deg)))


def _furthest(along_mm: float, across_mm: float, *, low_rad: float, high_rad: float) -> float:
    """Greatest value of along cos(t) + across sin(t) for t between two angles."""
    angle = atan2(across_mm, along_mm)
    return hypot(along_mm, across_mm) * cos(min(max(angle, low_rad), high_rad) - angle)


def _envelope(*, below_mm: float, above_mm: float, gap: Window, tilt: Window | None, housing: Housing) -> Box:
    """What the two bodies sweep: over the tilt's window at the nominal gap, and over the gap's at the nominal tilt."""
    low, nominal, high = (radians(t) for t in ((tilt.min, tilt.nominal, tilt.max) if tilt else (0.0, 0.0, 0.0)))
    rim, widening = 0.5 * housing.width_mm, 0.5 * (gap.max - gap.nominal)

    def reach(distance_mm: float) -> tuple[float, float]:
        rear = distance_mm + housing.length_mm
        swings = ((rear, low, high), (rear + widening, nominal, nominal))
        return (
            max(_furthest(rim, r, low_rad=a, high_rad=b) for r, a, b in swings),
            max(_furthest(r, rim, low_rad=a, high_rad=b) for r, a, b in swings),
        )

    (left, bottom), (right, top) = reach(below_mm), reach(above_mm)
    return Box(x_min_mm=-left, x_max_mm=right, y_min_mm=-bottom, y_max_mm=top)


def _bracket(housing: Housing, *, gap: Window, tilt: Window | None, furthest_mm: float) -> Bracket:
    thread = metric_thread(designation=housing.thread, pitch_mm=housing.pitch_mm)
    radius = furthest_mm + 0.5 * housing.length_mm
    swing = tilt.max - tilt.min if tilt else 0.0
    return Bracket(
        thread=housing.thread if housing.pitch_mm is None else f"{housing.thread}x{housing.pitch_mm:g}",
        hole_mm=thread.hole_mm if thread else None,
        tapped_minor_mm=thread.minor_mm if thread else None,
        swing_radius_mm=radius,
        swing_deg=swing,
        swing_arc_mm=radius * radians(swing),
        swing_chord_mm=2.0 * radius * sin(0.5 * radians(swing)),
        axial_travel_mm=0.5 * (gap.max - gap.min),
    )


def _distances(footprint: Footprint, *, furthest_mm: float, tilt_deg: float, space: MountingSpace) -> Distances:
    """The footprint and the flutter keep clear of a side edge; along travel the heads' front edges do too."""
    tilt = radians(tilt_deg)
    spot = abs(footprint.centre_x_mm) + 0.5 * footprint.along_mm
    head = furthest_mm * sin(tilt) + space.rim_mm * cos(tilt)
    return Distances(
        edge_least_mm=edge_least_mm(footprint, space),
        edge_mm=space.line.edge_distance_mm,
        roller_least_mm=max(spot, head) + SAFE_FLUTTER * footprint.shift_mm,
    )


def _neighbours(*, gap_mm: float, beam: SoundBeam, housing: Housing, line: Line) -> Neighbours:
    least = least_pitch_mm(
        gap_mm=gap_mm, beam=beam, body_diameter_mm=housing.width_mm, neighbours=2 if line.lanes > 2 else 1
    )
    return Neighbours(
        least_pitch_mm=least,
        pitch_mm=line.lane_pitch_mm,
        time_slots=turns(lanes=line.lanes, pitch_mm=line.lane_pitch_mm, least_mm=least),
    )


def _misfits(mounting: Mounting, space: MountingSpace) -> list[Note]:
    """What is short: at least one where the pair does not fit."""
    if mounting.fits:
        return []
    notes = []
    for side, room in (("above", mounting.above), ("below", mounting.below)):
        if room.available_mm is not None and room.needed_mm > room.available_mm:
            values = {"needed_mm": room.needed_mm, "available_mm": room.available_mm}
            notes.append(Note(code=f"no-room-{side}", values=values))
    if mounting.rim_to_sheet_mm < 0.0:
        values = {"short_mm": -mounting.rim_to_sheet_mm, "flutter_mm": SAFE_FLUTTER * space.flutter_mm}
        notes.append(Note(code="rim-meets-sheet", values=values))
    nearest = min(mounting.emitter_to_sheet_mm, mounting.receiver_to_sheet_mm)
    if nearest < space.face_to_sheet_min_mm:
        values = {"distance_mm": nearest, "least_mm": space.face_to_sheet_min_mm}
        notes.append(Note(code="face-within-echo", values=values))
    return notes


def _remarks(mounting: Mounting, geometry: Geometry, housing: Housing, line: Line) -> list[Note]:
    notes = [
        Note(code="clearance-unknown", values={"pointer": f"/line/clearance_{side}_mm"})
        for side, room in (("above", mounting.above), ("below", mounting.below))
        if room.available_mm is None
    ]
    if mounting.fits and mounting.emitter_to_sheet_mm != mounting.receiver_to_sheet_mm:
        distances = {"emitter_mm": mounting.emitter_to_sheet_mm, "receiver_mm": mounting.receiver_to_sheet_mm}
        notes.append(Note(code="sheet-off-middle", values=distances))
    if mounting.fits and (mounting.gap_mm, mounting.tilt_deg) != (geometry.gap_mm, geometry.tilt_deg):
        notes.append(Note(code="window-cut", values={}))
    if mounting.bracket.hole_mm is None:
        notes.append(Note(code="no-tabled-thread", values={"thread": mounting.bracket.thread}))
    if mounting.distances:
        least = mounting.distances.edge_least_mm
        if line.edge_distance_mm is None:
            notes.append(Note(code="edge-unknown", values={"pointer": "/line/edge_distance_mm", "least_mm": least}))
        elif line.edge_distance_mm < least:
            values = {"edge_mm": line.edge_distance_mm, "least_mm": least}
            notes.append(Note(code="edge-too-near", values=values))
    values, cable_mm = {"height_mm": mounting.height_mm}, housing.depth_mm - housing.length_mm
    if line.body_through_frame:
        notes.append(Note(code="body-through-frame", values=values))
    elif cable_mm == 0.0:
        notes.append(Note(code="heads-height", values=values))
    else:
        notes.append(Note(code="heads-with-cables", values={**values, "cable_exit_mm": cable_mm}))
    notes.append(Note(code="turn-over-by-hand", values={}))
    return notes


def _neighbour_notes(mounting: Mounting, line: Line) -> list[Note]:
    neighbours = mounting.neighbours
    if neighbours is None or neighbours.time_slots == 1:
        return []
    values: dict[str, float] = {"time_slots": neighbours.time_slots, "least_pitch_mm": neighbours.least_pitch_mm}
    if line.lane_pitch_mm is None:
        return [Note(code="lane-pitch-unknown", values={"pointer": "/line/lane_pitch_mm", **values})]
    return [Note(code="take-turns", values={**values, "pitch_mm": line.lane_pitch_mm})]
