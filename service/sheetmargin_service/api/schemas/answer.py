"""An answer as it goes over the wire: the contract's names and units, rounded, with its texts."""

from __future__ import annotations

import json
from typing import Any, get_args

from marshmallow import fields
from marshmallow.experimental.context import Context

from sheetmargin_service.api.canonical import canonical_job
from sheetmargin_service.api.languages import Language
from sheetmargin_service.api.saying import say
from sheetmargin_service.api.schemas.output import (
    Number,
    OutputSchema,
    Values,
    flag,
    listing,
    part,
    scalar,
    string,
    whole,
)
from sheetmargin_service.api.schemas.strict import JsonSchema
from sheetmargin_service.selection.answer import Answer, Verdict
from sheetmargin_service.selection.job import Job

Spoken = Context[Language]
"""The language in which an answer is dumped."""

DB_DECIMALS = MM_DECIMALS = MS_DECIMALS = DEGREE_DECIMALS = 1
PPM_DECIMALS = 3

CODE = "Stable code, described in the docs."
INDEX = "Position of the sheet in the job, from 0."
VERDICT = (
    "suitable: the targets are met over the whole interval; trial: only a bench trial can tell; "
    "unsuitable: it will not do."
)


class Said(fields.Field[str]):
    """The text of the object's code."""

    _CHECK_ATTRIBUTE = False

    def __init__(self) -> None:
        super().__init__(
            required=True, metadata={"description": "The code in words; states no number beyond `values`."}
        )

    def _serialize(self, value: Any, attr: str | None, obj: Any, **_: Any) -> str:
        return say(obj.code, obj.values, language=Spoken.get(), pointer=getattr(obj, "pointer", None))

    def json_schema(self) -> JsonSchema:
        return {"type": "string"}


class Scalar(fields.Field[Any]):
    """A single value of any kind."""

    def __init__(self, description: str) -> None:
        super().__init__(required=True, metadata={"description": description})

    def _serialize(self, value: Any, attr: str | None, obj: Any, **_: Any) -> Any:
        return scalar(value)

    def json_schema(self) -> JsonSchema:
        return {"type": ["string", "number", "boolean", "null"]}


def _verdict(of: str) -> fields.String:
    return string(f"{of} {VERDICT}", among=get_args(Verdict))


def _mm(description: str, *, nullable: bool = False) -> Number:
    return Number(description, decimals=MM_DECIMALS, nullable=nullable)


def _ms(description: str, *, nullable: bool = False) -> Number:
    return Number(description, decimals=MS_DECIMALS, nullable=nullable)


def _degrees(description: str) -> Number:
    return Number(description, decimals=DEGREE_DECIMALS)


def _signal(description: str) -> Number:
    return Number(description, decimals=DB_DECIMALS)


class NoteSchema(OutputSchema):
    """A reason, caution or trial step."""

    code = string(CODE)
    text = Said()
    values = Values()


class ReasonSchema(NoteSchema):
    """Why a set-up ranks where it does."""

    source = string("Where the numbers come from.", nullable=True)


class AssumptionSchema(ReasonSchema):
    """What was taken because the job did not say."""

    pointer = string("JSON pointer of the field that was not given.", nullable=True)
    value = Scalar("What was taken for it.")


class RejectionSchema(NoteSchema):
    """A class that the filters admit and that is not recommended."""

    detector_class = string("Id of the class.")


class NotServedSchema(NoteSchema):
    """A sheet that a recommendation cannot serve."""

    index = whole(INDEX)


class SheetSummarySchema(OutputSchema):
    """A sheet as it was understood."""

    index = whole(INDEX)
    label = string("The caller's own name of it.", nullable=True)
    material = string("Material id.")
    grammage_gsm = Number("Mass per area.", decimals=2)
    thickness_um = Number("Thickness.", decimals=1)
    density_kg_m3 = Number("Density.", decimals=1)


class ClassSummarySchema(OutputSchema):
    """The detector class of a set-up."""

    id = string("Class id.")
    principle = string("Sensing principle.")
    frequency_khz = Number("Working frequency.", decimals=1, per=1e3, nullable=True, attribute="frequency_hz")
    illustrative = flag("Whether the class is invented by physical parameters, and no product.")


class GapWindowSchema(OutputSchema):
    """A distance and how far it may move."""

    nominal = _mm("Set this.")
    min = _mm("Least.")
    max = _mm("Greatest.")


class TiltWindowSchema(OutputSchema):
    """An angle and how far it may move."""

    nominal = _degrees("Set this.")
    min = _degrees("Least.")
    max = _degrees("Greatest.")


class GeometrySchema(OutputSchema):
    """How the pair stands."""

    gap_mm = part(GapWindowSchema, "From face to face.")
    tilt_deg = part(TiltWindowSchema, "Of the pair's axis against the sheet's normal.", nullable=True)


class ProfileSchema(OutputSchema):
    """What the receiver is set to."""

    id = string("States the band.")
    single_band_attenuation_db = listing(
        fields.Integer(),
        "Attenuation that counts as one sheet, from and to; in the signal's own unit where that is not dB.",
        minItems=2,
        maxItems=2,
    )
    single_band_attenuation_db.attribute = "single_band"
    hold_ms = _ms("How long the output is held.", nullable=True)


class AlignmentSchema(OutputSchema):
    """Offset and angle of one face that cost 1 dB and 3 dB of the open path."""

    lateral_mm_1db = Number("Offset for 1 dB.", decimals=2)
    lateral_mm_3db = Number("Offset for 3 dB.", decimals=2)
    angle_deg_1db = Number("Angle for 1 dB.", decimals=2)
    angle_deg_3db = Number("Angle for 3 dB.", decimals=2)
    steps = listing(NoteSchema, "How to align, in order.")


class PointSchema(OutputSchema):
    """A place: x along travel, y up, from where the beam meets the sheet."""

    x_mm = _mm("Along travel.")
    y_mm = _mm("Up.")


class BoxSchema(OutputSchema):
    """A rectangle in the plane of travel."""

    x_min_mm = _mm("Against travel.")
    x_max_mm = _mm("Along travel.")
    y_min_mm = _mm("Down.")
    y_max_mm = _mm("Up.")


class RoomSchema(OutputSchema):
    """Free space on one side of the sheet, and what face and rim take of it."""

    available_mm = _mm("What the machine leaves.", nullable=True)
    needed_mm = _mm("What the head takes.")
    spare_mm = _mm("What is left; negative where it does not fit.", nullable=True)


class BracketSchema(OutputSchema):
    """What holds a head, and how far it must move."""

    thread = string("Thread of the head.")
    hole_mm = Number("Clearance hole.", decimals=2, nullable=True)
    tapped_minor_mm = Number("Minor diameter of a tapped hole.", decimals=2, nullable=True)
    swing_radius_mm = _mm("From the point where the beam meets the sheet to the clamp.")
    swing_deg = _degrees("Angle the clamp must travel.")
    swing_arc_mm = _mm("That travel along the arc.")
    swing_chord_mm = _mm("That travel straight.")
    axial_travel_mm = _mm("Travel of one head along its axis.")


class FootprintSchema(OutputSchema):
    """The beam on the sheet."""

    along_mm = _mm("Axis of the ellipse along travel.")
    across_mm = _mm("Axis across travel.")
    centre_x_mm = _mm("Its centre along travel.")
    shift_mm = _mm("How far flutter moves it along travel.")


class DistancesSchema(OutputSchema):
    """How far the beam must keep from edges, rollers and guides."""

    edge_least_mm = _mm("Least distance from a side edge.")
    edge_mm = _mm("Distance that the job gives.", nullable=True)
    roller_least_mm = _mm("Least distance from rollers and guides along travel.")


class NeighboursSchema(OutputSchema):
    """Pairs side by side."""

    least_pitch_mm = _mm("Least pitch at which all may sound at once.")
    pitch_mm = _mm("Pitch that the job gives.", nullable=True)
    turns = whole("Turns that they take; 1 where all sound at once.")


class MountingSchema(OutputSchema):
    """Where the pair stands: x along travel, y up, from where the beam meets the sheet; emitter below."""

    emitter = part(PointSchema, "Middle of the emitter's face.")
    receiver = part(PointSchema, "Middle of the receiver's face.")
    emitter_rear = part(PointSchema, "Middle of the emitter's rear end.")
    receiver_rear = part(PointSchema, "Middle of the receiver's rear end.")
    emitter_to_sheet_mm = _mm("From the emitter's face to the sheet, along the axis.")
    receiver_to_sheet_mm = _mm("From the receiver's face to the sheet, along the axis.")
    body_diameter_mm = _mm("Diameter or width of a head.")
    body_length_mm = _mm("Length of a head.")
    gap_mm = part(GapWindowSchema, "The gap as far as the clearances leave it.")
    tilt_deg = part(TiltWindowSchema, "The tilt as far as the clearances leave it.", nullable=True)
    envelope = part(BoxSchema, "What both heads sweep over these windows.")
    height_mm = _mm("Height of that.")
    above = part(RoomSchema, "Above the sheet.")
    below = part(RoomSchema, "Below the sheet.")
    rim_to_sheet_mm = _mm("From the nearest rim to the sheet.")
    bracket = part(BracketSchema, "What holds the heads.")
    footprint = part(FootprintSchema, "The beam on the sheet.", nullable=True)
    distances = part(DistancesSchema, "What it must keep from.", nullable=True)
    neighbours = part(NeighboursSchema, "Other lanes.", nullable=True)
    fits = flag("Whether it fits the machine as far as the job tells.")
    notes = listing(NoteSchema, "What limits it.")


class TimingSchema(OutputSchema):
    """Times at line speed; null where the job does not tell, and a note says which field would."""

    reading_interval_ms = _ms("Between two readings.")
    sheet_ms = _ms("The spot wholly covered; in a stream, one pitch of it.", nullable=True)
    space_ms = _ms("The spot wholly open.", nullable=True)
    sheets_per_hour = Number("Sheets in an hour.", decimals=0, nullable=True)
    readings_per_sheet = whole("Readings in that time.", nullable=True)
    readings_per_double = whole("Readings while a double is in the beam.", nullable=True)
    readings_per_space = whole("Readings while it is open.", nullable=True)
    hold_min_ms = _ms("Least hold for the controller.", nullable=True)
    hold_max_ms = _ms("Greatest hold before it masks the next sheet.", nullable=True)
    hold_ms = _ms("Hold to set.", nullable=True)
    speed_max_m_per_min = Number("Fastest line for this set-up.", decimals=1, nullable=True)
    plies_fewest = whole("Fewest sheets that lie on one another in a correct stream.", nullable=True)
    plies_most = whole("Most sheets that lie on one another in a correct stream.", nullable=True)
    fits = flag("Whether it keeps up; null where it cannot be told.", nullable=True)
    limit = part(NoteSchema, "What fails, or would fail first as the line gets faster.", nullable=True)
    notes = listing(NoteSchema, "What is missing or worth knowing.")


class OrderSchema(OutputSchema):
    """One thing to order."""

    role = string("What it is for.")
    part_number = string("Part number of the catalogue's owner.", nullable=True)
    quantity = whole("How many.")


class SoundSchema(OutputSchema):
    """An ultrasonic pair."""

    face_radius_mm = _mm("Radius of either face.")
    drive = string("gated: reads the first arrival of a burst; continuous: a steady tone.")


class CoilSchema(OutputSchema):
    """Cross section of either coil of an eddy-current pair."""

    inner_radius_mm = _mm("Inner radius.")
    outer_radius_mm = _mm("Outer radius.")
    length_mm = _mm("Length along the axis.")
    recess_mm = _mm("How far behind the face it lies.")


class ElectrodeSchema(OutputSchema):
    """Either electrode of a capacitive pair."""

    width_mm = _mm("Across travel.")
    length_mm = _mm("Along travel.")


class LightSchema(OutputSchema):
    """An optical pair."""

    wavelength_nm = Number("Wavelength.", decimals=0)
    spot_diameter_mm = _mm("Diameter of the spot on the sheet.")


class RollerSchema(OutputSchema):
    """Contact of a roller caliper."""

    force_n = Number("Force.", decimals=2, nullable=True)
    width_mm = _mm("Across travel.", nullable=True)
    length_mm = _mm("Along travel.", nullable=True)


class LaserSchema(OutputSchema):
    """Either laser of a caliper pair."""

    spot_diameter_mm = Number("Diameter of the spot.", decimals=2, nullable=True)
    stand_off_mm = _mm("From face to sheet.")


class SensorSchema(OutputSchema):
    """What the pair senses with: the part of its principle, the others null."""

    sound = part(SoundSchema, "Ultrasonic.", nullable=True)
    coil = part(CoilSchema, "Eddy current.", nullable=True)
    electrode = part(ElectrodeSchema, "Capacitive.", nullable=True)
    light = part(LightSchema, "Optical.", nullable=True)
    roller = part(RollerSchema, "Caliper by contact.", nullable=True)
    laser = part(LaserSchema, "Caliper by light.", nullable=True)


class SetupSchema(OutputSchema):
    """One detector pair as it is mounted and set."""

    index = whole("Position of the set-up, from 0.")
    sheets = listing(fields.Integer(), "Indices of the job's sheets that it serves.")
    detector_class = part(ClassSummarySchema, "What it is.")
    sensor = part(SensorSchema, "What it senses with.")
    geometry = part(GeometrySchema, "How it stands.")
    profile = part(ProfileSchema, "What it is set to.")
    alignment = part(AlignmentSchema, "How well it has to be aligned.", nullable=True)
    mounting = part(MountingSchema, "Where it is mounted; null until the line is known.", nullable=True)
    timing = part(TimingSchema, "Time at line speed; null until the line is known.", nullable=True)
    order = listing(OrderSchema, "What to order.")


class PercentilesSchema(OutputSchema):
    """Spread of a state."""

    p1 = _signal("1st percentile.")
    p50 = _signal("Median.")
    p99 = _signal("99th percentile.")


class SignalSchema(OutputSchema):
    """What the detector reads in each state."""

    quantity = string("What is read.")
    unit = string("Its unit.")
    no_sheet = part(PercentilesSchema, "No sheet.")
    single = part(PercentilesSchema, "One sheet.")
    double = part(PercentilesSchema, "Two sheets; where plies are counted, a ply too many.")
    fewer = part(PercentilesSchema, "A ply too few, where plies are counted; else null.", nullable=True)


class MarginSchema(OutputSchema):
    """Least distance of a state's p1 to p99 from an edge of the band, in the signal's unit; negative if it crosses."""

    no_sheet = _signal("No sheet.")
    single = _signal("One sheet.")
    double = _signal("Two sheets.")


class MisreadSchema(OutputSchema):
    """Expected misreads per million events of the true state, with the model's own uncertainty; null until computed."""

    estimate = Number("Best estimate.", decimals=PPM_DECIMALS, nullable=True)
    low = Number("Lower limit.", decimals=PPM_DECIMALS, nullable=True)
    high = Number("Upper limit.", decimals=PPM_DECIMALS, nullable=True)
    floored = flag("Whether the estimate is the floor below which nothing is claimed.")


class MisreadsSchema(OutputSchema):
    """The six ways to misread."""

    single_as_double = part(MisreadSchema, "A false stop.")
    single_as_no_sheet = part(MisreadSchema, "A sheet overlooked.")
    double_as_single = part(MisreadSchema, "A double missed.")
    double_as_no_sheet = part(MisreadSchema, "A double taken for a gap.")
    no_sheet_as_single = part(MisreadSchema, "A gap taken for a sheet.")
    no_sheet_as_double = part(MisreadSchema, "A gap taken for a double.")


class SheetResultSchema(OutputSchema):
    """One sheet on one set-up."""

    index = whole(INDEX)
    setup = whole("Index of its set-up.")
    signal = part(SignalSchema, "What is read.")
    margin = part(MarginSchema, "What is left.")
    misread_ppm = part(MisreadsSchema, "What goes wrong.")


class ServesSchema(OutputSchema):
    """How many of the job's sheets are served."""

    count = whole("Sheets that are served.")
    of = whole("Sheets of the job.")


class ChangeoversSchema(OutputSchema):
    """Changes while the list is run."""

    class_ = whole("Of detector class.")
    class_.data_key, class_.attribute = "class", "detector_class"
    geometry = whole("Of gap or tilt.")
    profile = whole("Of profile.")


class RecommendationSchema(OutputSchema):
    """What to buy and how to set it."""

    rank = whole("From 1.")
    verdict = _verdict("Of the worst of the sheets that it serves.")
    serves = part(ServesSchema, "How many of the job's sheets it serves.")
    not_served = listing(NotServedSchema, "Sheets that it cannot serve, with the reason.")
    changeovers = part(ChangeoversSchema, "What has to be changed while the list is run.")
    setups = listing(SetupSchema, "Set-ups, one for the whole list where possible.")
    sheets = listing(SheetResultSchema, "How each sheet fares.")
    reasons = listing(ReasonSchema, "Why.")


class JobAsAnswered(fields.Field[Job]):
    """A job in its one spelling."""

    def _serialize(self, value: Job | None, attr: str | None, obj: Any, **_: Any) -> Any:
        return None if value is None else json.loads(canonical_job(value))

    def json_schema(self) -> JsonSchema:
        return {"type": "object"}


class AnswerSchema(OutputSchema):
    """Ranked recommendations, and everything that was assumed, rejected and to be careful about."""

    reference = string("The job's reference.", nullable=True)
    job = JobAsAnswered(
        required=True,
        metadata={
            "description": "The job that is answered, in its one spelling: defaults filled in, what was not given left "
            "out, numbers as they came; without its reference. It may be asked again as it is."
        },
    )
    model_version = string("Version of the physics, the library and the decision.")
    catalogue_version = string("Version of the catalogue.")
    verdict = _verdict(
        "Of the worst sheet of the recommendation ranked first: unsuitable where that leaves one unserved."
    )
    sheets = listing(SheetSummarySchema, "The sheets as they were understood.")
    recommendations = listing(RecommendationSchema, "Best first; empty when nothing serves.")
    rejected = listing(RejectionSchema, "Classes that the filters admit and that are not recommended, with the reason.")
    trial = listing(
        NoteSchema,
        "What to send and measure: of each sheet that is tested, with its `sheet` and `setup` among the values, then "
        "what is done with all of them.",
    )
    assumptions = listing(AssumptionSchema, "What was taken where the job does not say.")
    cautions = listing(NoteSchema, "What to be careful about.")


_ANSWER = AnswerSchema()


def dump_answer(answer: Answer, *, language: Language) -> dict[str, Any]:
    """The answer as JSON-ready values, its texts in the language."""
    with Spoken(language):
        dumped: dict[str, Any] = _ANSWER.dump(answer)
    return dumped
