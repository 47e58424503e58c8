"""A job as it comes over the wire, with every bound, to the dataclasses that the service works with.

The bounds keep out what no sheet or machine is (a sheet 10 m thick) and what the physics would not survive; they say
nothing on what works.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal, get_args, get_origin, get_type_hints

from marshmallow import ValidationError, post_load, validates_schema

from sheetmargin_service.acoustics.air import TEMPERATURE_LIMITS_C
from sheetmargin_service.api.faults import Fault
from sheetmargin_service.api.languages import LANGUAGES, Language
from sheetmargin_service.api.schemas.strict import Choice, Flag, Listing, Part, Real, Shaped, StrictSchema, Text, Whole
from sheetmargin_service.detectors.ingress import RATING
from sheetmargin_service.materials.body import LAYER_GRAMMAGE_LIMITS_GSM, LAYER_THICKNESS_LIMITS_UM, MAX_LAYERS
from sheetmargin_service.materials.corrugated import LIMITS_GSM, MAX_WALLS
from sheetmargin_service.materials.permeance import PERMEANCE_LIMITS
from sheetmargin_service.materials.resolve import MAX_OPEN_AREA_PCT, MAX_OVERLAP_MM, MAX_PLIES, MAX_TOLERANCE_PCT
from sheetmargin_service.materials.sizes import GRAMMAGE_LIMITS_GSM, THICKNESS_LIMITS_UM, UM_PER_INCH, UM_PER_POINT
from sheetmargin_service.materials.spec import (
    CorrugatedSpec,
    CustomSpec,
    DoubleSpec,
    GaugeSpec,
    LayerSpec,
    SheetSpec,
    TrappedAirSpec,
    WallSpec,
)
from sheetmargin_service.selection.job import Controller, Environment, Job, Line, Require, Targets
from sheetmargin_service.selection.stream import stream_of

MAX_SHEETS = 50
MAX_LAYERS_IN_ALL = 300
"""Of all sheets of a job, six for each of fifty: the work of a job grows with them (a choice)."""
LONGEST_REFERENCE = 200


def _ordered(*, low: str, high: str, values: dict[str, Any]) -> None:
    """Refuse a lower limit above its upper one, naming both."""
    least, most = values.get(low), values.get(high)
    if least is not None and most is not None and least > most:
        raise ValidationError(
            [
                Fault(
                    code="contradiction",
                    detail=f"{low} is above {high}.",
                    expected=f"{low} at most {high}",
                    path=(name,),
                )
                for name in (low, high)
            ]
        )


def _words(kind: type, field: str) -> tuple[str, ...]:
    """The words that a field of a dataclass may hold."""
    hint = get_type_hints(kind)[field]
    return next(get_args(option) for option in (hint, *get_args(hint)) if get_origin(option) is Literal)


def _within(limits: tuple[float, float], *, per: float = 1.0) -> dict[str, float]:
    """Limits that the physics check, in the field's own unit."""
    low, high = limits
    return {"ge": low / per, "le": high / per}


def _stiffness(description: str) -> Real:
    # Diamond's Young's modulus is about 1200 GPa (typical, from memory).
    return Real(description, gt=0, le=1500)


def _tolerance(description: str) -> Real:
    return Real(description, ge=0, le=MAX_TOLERANCE_PCT)


def _speed(description: str) -> Real:
    return Real(description, ge=10, le=20_000)


class GaugeSchema(StrictSchema):
    """A sheet gauge number; the systems differ, so the system is named."""

    makes = GaugeSpec
    system = Choice("Gauge system.", among=_words(GaugeSpec, "system"), required=True)
    number = Real("Gauge number.", gt=0, le=2000, required=True)


class DoubleSchema(StrictSchema):
    """What comes on top of a correct sheet, and how it lies there."""

    makes = DoubleSpec
    kind = Choice(
        "Of a sheet of several plies: the whole of it once more, or one ply more; then one missing counts too.",
        among=_words(DoubleSpec, "kind"),
        load_default="another-piece",
    )
    contact = Choice("What is between the two sheets.", among=_words(DoubleSpec, "contact"), load_default="air")
    overlap_mm = Real(
        "Length by which the second sheet covers the first; all of it if not given.", ge=0.1, le=MAX_OVERLAP_MM
    )


class TrappedAirSchema(StrictSchema):
    """Thickness in um of the air caught between two sheets, as percentiles of its distribution."""

    makes = TrappedAirSpec
    p5 = Real("5th percentile.", ge=0.1, le=5000, required=True)
    p50 = Real("Median.", ge=0.1, le=5000, required=True)
    p95 = Real("95th percentile.", ge=0.1, le=5000, required=True)


class CustomSchema(StrictSchema):
    """A material given wholly by the caller: isotropic or transversely isotropic constants, or wave speeds."""

    makes = CustomSpec
    density_kg_m3 = Real("Density.", ge=1, le=25_000, required=True)
    youngs_modulus_gpa = _stiffness("Dynamic Young's modulus of an isotropic solid.")
    poisson_ratio = Real("Poisson's ratio of an isotropic solid.", ge=0, lt=0.5)
    c11_gpa = _stiffness("In-plane stiffness of a transversely isotropic sheet.")
    c13_gpa = _stiffness("Coupling stiffness between plane and thickness.")
    c33_gpa = _stiffness("Stiffness through the thickness.")
    c55_gpa = _stiffness("Transverse shear stiffness.")
    longitudinal_speed_m_per_s = _speed("Speed of longitudinal waves in an isotropic solid.")
    shear_speed_m_per_s = _speed("Speed of shear waves in an isotropic solid.")
    loss_factor = Real("Loss factor near the working frequency.", gt=0, le=2)
    mass_tolerance_pct = _tolerance("Half width of the mass per area that holds 95 % of sheets.")
    modulus_uncertainty_pct = Real("Half width within which the stiffness is known.", ge=0, le=95)
    loss_uncertainty_pct = Real("Half width within which the loss factor is known.", ge=0, le=95)
    trapped_air_um = Part(TrappedAirSchema, "Air caught between two such sheets.")


class LayerSchema(StrictSchema):
    """One layer of a layered sheet, from the emitter's side upwards."""

    makes = LayerSpec
    material = Text("Material id or a name of it.", required=True)
    grammage_gsm = Real("Mass per area of the layer.", **_within(LAYER_GRAMMAGE_LIMITS_GSM))
    thickness_um = Real("Thickness of the layer.", **_within(LAYER_THICKNESS_LIMITS_UM))
    custom = Part(CustomSchema, "The material `custom`.")


class WallSchema(StrictSchema):
    """One fluted wall of a corrugated board."""

    makes = WallSpec
    flute = Choice("Flute.", among=_words(WallSpec, "flute"), required=True)
    medium_gsm = Real("Mass per area of the fluted medium before fluting.", **_within(LIMITS_GSM), required=True)


class CorrugatedSchema(StrictSchema):
    """Corrugated board: one liner more than walls, from the emitter's side upwards."""

    makes = CorrugatedSpec
    liners_gsm = Listing(
        Real("", **_within(LIMITS_GSM)),
        "Mass per area of each liner.",
        shortest=2,
        longest=MAX_WALLS + 1,
        required=True,
    )
    walls = Listing(Part(WallSchema), "Fluted walls.", shortest=1, longest=MAX_WALLS, required=True)


class SheetFields(StrictSchema):
    """The fields of a sheet that are single values, as a query can carry them."""

    label = Text("The caller's own name of the sheet, echoed in the answer.")
    material = Text("Material id or a name of it, in English or German; `custom` with the object of that name.")
    construction = Text("Id of a construction of the library.")
    label_state = Choice("Label stock: what the correct sheet carries.", among=_words(SheetSpec, "label_state"))
    grammage_gsm = Real("Mass per area.", **_within(GRAMMAGE_LIMITS_GSM))
    basis_weight_lb = Real("Basis weight in pounds; needs `basis`.", ge=0.1, le=2000)
    basis = Choice("Basic size that the basis weight is for.", among=_words(SheetSpec, "basis"))
    thickness_um = Real("Thickness of one sheet.", **_within(THICKNESS_LIMITS_UM))
    caliper_pt = Real("Thickness in points, thousandths of an inch.", **_within(THICKNESS_LIMITS_UM, per=UM_PER_POINT))
    thickness_in = Real("Thickness in inches.", **_within(THICKNESS_LIMITS_UM, per=UM_PER_INCH))
    grammage_tolerance_pct = _tolerance("Half width of the mass per area that holds 95 % of sheets.")
    thickness_tolerance_pct = _tolerance("Half width of the thickness that holds 95 % of sheets.")
    plies = Whole("Plies in one correct sheet: folded, multi-ply.", ge=1, le=MAX_PLIES, load_default=1)
    open_area_pct = Real("Open area of a perforated sheet.", ge=0, le=MAX_OPEN_AREA_PCT)
    air_permeance_um_per_pa_s = Real("Air permeance (ISO 5636).", **_within(PERMEANCE_LIMITS))
    gurley_s_per_100ml = Real("Air resistance, Gurley (ISO 5636-5).", gt=0, le=1e6)
    air_permeability_mm_per_s = Real("Air permeability (ISO 9237) at `test_pressure_pa`.", gt=0, le=50_000)
    test_pressure_pa = Real("Pressure difference at which the permeability was measured.", ge=1, le=5000)


class SheetSchema(SheetFields):
    """A sheet: what it is made of (`material`, `layers`, `corrugated` or `construction`) and a size."""

    makes = SheetSpec
    layers = Listing(Part(LayerSchema), "Layers from the emitter's side upwards.", shortest=1, longest=MAX_LAYERS)
    corrugated = Part(CorrugatedSchema, "Corrugated board.")
    custom = Part(CustomSchema, "The material `custom`.")
    sheet_gauge = Part(GaugeSchema, "Thickness as a gauge number.")
    double = Part(DoubleSchema, "How a second sheet lies on this one.", load_default=DoubleSpec())


class LineSchema(StrictSchema):
    """The machine at the place of the detector."""

    makes = Line
    clearance_above_mm = Real("Free height above the sheet.", gt=0, le=2000)
    clearance_below_mm = Real("Free height below the sheet.", gt=0, le=2000)
    speed_m_per_min = Real("Speed of the sheets.", gt=0, le=3000)
    sheet_length_mm = Real("Length along travel.", gt=0, le=100_000)
    sheet_width_mm = Real("Width across travel.", gt=0, le=20_000)
    sheet_spacing_mm = Real("Space from one sheet's end to the next one's start.", ge=0, le=100_000)
    shingle_pitch_mm = Real(
        "Distance from one sheet's start to the next one's where they overlap; needed with `feeding: shingled`.",
        gt=0,
        le=100_000,
    )
    flutter_mm = Real("Half width of the sheet's height that holds 95 %.", ge=0, le=100)
    flutter_deg = Real("Half width of the sheet's angle that holds 95 %.", ge=0, le=30)
    max_tilt_deg = Real("Largest tilt that the machine leaves room for.", ge=0, le=80)
    feeding = Choice("Sheets one by one, or overlapping.", among=_words(Line, "feeding"), load_default="singulated")
    lanes = Whole("Lanes side by side.", ge=1, le=64, load_default=1)
    lane_pitch_mm = Real("Distance between the middles of two lanes.", gt=0, le=20_000)
    edge_distance_mm = Real("Distance from the beam to the nearest edge of the sheet.", ge=0, le=20_000)
    body_through_frame = Flag(
        "Whether bodies and cables may reach beyond the clearances, through the machine's frame.", load_default=False
    )
    bed = Flag("Whether something carries the sheet below, such as a table; a roller runs on it.")

    @validates_schema
    def beam_on_the_sheet(self, data: dict[str, Any], **_: Any) -> None:
        _ordered(low="edge_distance_mm", high="sheet_width_mm", values=data)

    @validates_schema
    def stream_is_known(self, data: dict[str, Any], **_: Any) -> None:
        """How many shingled sheets lie on one another follows from their length and their pitch alone."""
        if data.get("feeding") != "shingled":
            return
        faults = [
            Fault(
                code="missing-field",
                detail=f"With shingled feeding {name} is needed: how many sheets lie on one another follows from it.",
                expected=self.fields[name].expected,  # type: ignore[attr-defined]
                path=(name,),
            )
            for name in ("shingle_pitch_mm", "sheet_length_mm")
            if data.get(name) is None
        ]
        if faults:
            raise ValidationError(faults)


class EnvironmentSchema(StrictSchema):
    """Air at the detector."""

    makes = Environment
    temperature_min_c = Real("Lowest temperature.", **_within(TEMPERATURE_LIMITS_C))
    temperature_max_c = Real("Highest temperature.", **_within(TEMPERATURE_LIMITS_C))
    relative_humidity_min_pct = Real("Lowest relative humidity.", ge=0, le=100)
    relative_humidity_max_pct = Real("Highest relative humidity.", ge=0, le=100)
    pressure_kpa = Real("Air pressure.", ge=50, le=110)

    @validates_schema
    def ranges_rise(self, data: dict[str, Any], **_: Any) -> None:
        _ordered(low="temperature_min_c", high="temperature_max_c", values=data)
        _ordered(low="relative_humidity_min_pct", high="relative_humidity_max_pct", values=data)


class ControllerSchema(StrictSchema):
    """What reads the detector's output."""

    makes = Controller
    scan_ms = Real("Time between two readings of the input.", gt=0, le=10_000)
    input_filter_ms = Real("Filter time of the input.", ge=0, le=10_000)


def _target(state: str, read_as: str) -> Real:
    return Real(f"Most cases of {state} read as {read_as}, per million.", gt=0, le=1e6)


class TargetsSchema(StrictSchema):
    """Greatest misreads accepted, per million events of the true state."""

    makes = Targets
    single_as_double = _target("one sheet", "two")
    single_as_no_sheet = _target("one sheet", "none")
    double_as_single = _target("two sheets", "one")
    double_as_no_sheet = _target("two sheets", "none")
    no_sheet_as_single = _target("no sheet", "one")
    no_sheet_as_double = _target("no sheet", "two")


class RequireSchema(StrictSchema):
    """Properties that a detector class must have to be admitted."""

    makes = Require
    housing = Listing(Text(longest=40), "Threads or housings, any of them.", longest=20, load_default=())
    output = Listing(Text(longest=40), "Outputs, any of them.", longest=20, load_default=())
    supply = Listing(
        Text(longest=40), "Supplies as the catalogue writes them, any of them.", longest=20, load_default=()
    )
    ingress = Shaped(
        "Protection of at least this (IEC 60529).", shape=RATING, expected="as IP65, or several as IP66/IP67"
    )
    temperature_min_c = Real("The class works down to this or lower.", ge=-100, le=200)
    temperature_max_c = Real("The class works up to this or higher.", ge=-100, le=200)
    contactless = Flag("Whether the detector must not touch the sheet.")

    @validates_schema
    def range_rises(self, data: dict[str, Any], **_: Any) -> None:
        _ordered(low="temperature_min_c", high="temperature_max_c", values=data)


def _classes() -> Listing:
    return Listing(Text(), "Ids of the only detector classes to consider; all if empty.", longest=200, load_default=())


def _catalogue() -> Text:
    return Text("Name of the catalogue of detector classes; the default one if not given.")


def _limit() -> Whole:
    return Whole("Most recommendations to return.", ge=1, le=20, load_default=5)


def check_stream(line: Line, sheets: Sequence[SheetSpec]) -> None:
    """Refuse a stream with more plies on one another than are computed."""
    stream, plies = stream_of(line), max((sheet.plies for sheet in sheets), default=1)
    if stream is None or stream.most * plies <= MAX_PLIES:
        return
    fault = Fault(
        code="out-of-range",
        detail=f"At this pitch {stream.most * plies} plies lie on one another.",
        expected=f"a pitch at which at most {MAX_PLIES} do",
        path=("line", "shingle_pitch_mm"),
    )
    raise ValidationError([fault])


class JobSchema(StrictSchema):
    """One question: the sheets, the line, the surroundings, and what is wanted of the answer."""

    makes = Job
    reference = Text("The caller's own reference, echoed in the answer.", longest=LONGEST_REFERENCE)
    sheets = Listing(
        Part(SheetSchema), "The sheets that the detector has to serve.", shortest=1, longest=MAX_SHEETS, required=True
    )
    line = Part(LineSchema, "The machine.", load_default=Line())
    environment = Part(EnvironmentSchema, "The air.", load_default=Environment())
    controller = Part(ControllerSchema, "What reads the output.", load_default=Controller())
    targets = Part(TargetsSchema, "Greatest misreads accepted.", load_default=Targets())
    require = Part(RequireSchema, "Properties a class must have.", load_default=Require())
    principles = Listing(Text(longest=40), "Sensing principles to consider; all if empty.", longest=20, load_default=())
    classes = _classes()
    catalogue = _catalogue()
    ordered = Flag("Whether the sheets run in the order given.", load_default=False)
    limit = _limit()

    @validates_schema
    def layers_in_all(self, data: dict[str, Any], **_: Any) -> None:
        count = sum(len(sheet.layers or ()) for sheet in data.get("sheets", ()))
        if count > MAX_LAYERS_IN_ALL:
            fault = Fault(
                code="too-many-layers",
                detail=f"The sheets have {count} layers in all.",
                expected=f"at most {MAX_LAYERS_IN_ALL} layers in all sheets together",
                path=("sheets",),
            )
            raise ValidationError([fault])

    @validates_schema
    def stream_is_computed(self, data: dict[str, Any], **_: Any) -> None:
        check_stream(data["line"], data.get("sheets", ()))


class SheetQuerySchema(SheetFields):
    """One sheet by query parameters."""

    classes = _classes()
    catalogue = _catalogue()
    limit = _limit()
    language = Choice("Language of the texts; `Accept-Language` if not given.", among=LANGUAGES)

    @post_load
    def make(self, data: dict[str, Any], **_: Any) -> tuple[Job, Language | None]:
        language = data.pop("language", None)
        wanted = {name: data.pop(name, None) for name in ("classes", "catalogue", "limit")}
        return Job(sheets=(SheetSpec(**data),), **wanted), language
