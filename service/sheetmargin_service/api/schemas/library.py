"""The library, the catalogues and the service itself, as they go over the wire."""

from __future__ import annotations

from typing import Any, get_args, get_type_hints

from marshmallow import fields, post_load

from sheetmargin_service.api.schemas.answer import OrderSchema, Spoken
from sheetmargin_service.api.schemas.output import (
    Number,
    OutputSchema,
    contract_values,
    flag,
    listing,
    part,
    scalar,
    string,
    whole,
)
from sheetmargin_service.api.schemas.strict import JsonSchema, StrictSchema, Text, Whole
from sheetmargin_service.detectors.model import OrderLine
from sheetmargin_service.materials.material import Interval

DIGITS = "to 6 significant digits"


class Precise(fields.Field[float]):
    """A number of the library, to six significant digits: the quantities span twelve decades."""

    def __init__(self, description: str, *, nullable: bool = False) -> None:
        super().__init__(
            required=True, allow_none=nullable, metadata={"description": f"{description.rstrip('.')}, {DIGITS}."}
        )

    def _serialize(self, value: float | None, attr: str | None, obj: Any, **_: Any) -> Any:
        return None if value is None else scalar(float(value))

    def json_schema(self) -> JsonSchema:
        return {"type": "number"}


class IntervalSchema(OutputSchema):
    """A quantity that is known only within limits, believed to hold about 90 %."""

    low = Precise("Lower limit")
    nominal = Precise("Best value")
    high = Precise("Upper limit")
    source = string("Where it comes from.")


class MaterialTrappedAirSchema(OutputSchema):
    """Air between two sheets: percentiles of its thickness, and the rare loose or curled sheet."""

    p5_um = Precise("5th percentile")
    p50_um = Precise("Median")
    p95_um = Precise("95th percentile")
    loose_share = Precise("Share of doubles that are loose or curled")
    loose_max_um = Precise("Widest air of those")
    source = string("Where it comes from.")


class PorousSchema(OutputSchema):
    """Pore space of an air-permeable sheet."""

    porosity = Precise("Share of air")
    tortuosity = Precise("Tortuosity")
    permeance_um_per_pa_s = Precise("Typical air permeance")
    source = string("Where it comes from.")


class Constants(fields.Field[Any]):
    """Elastic constants, whichever kind the material has: intervals by name, or single numbers."""

    def __init__(self) -> None:
        super().__init__(required=True, metadata={"description": "Dynamic elastic constants by name, near 200 kHz."})
        self.interval = IntervalSchema()

    def _serialize(self, value: Any, attr: str | None, obj: Any, **_: Any) -> dict[str, Any]:
        return {
            name: self.interval.dump(constant) if isinstance(constant, Interval) else scalar(constant)
            for name, constant in vars(value).items()
        }

    def json_schema(self) -> JsonSchema:
        interval = {
            "type": "object",
            "properties": {
                **{name: {"type": "number"} for name in ("low", "nominal", "high")},
                "source": {"type": "string"},
            },
            "required": ["low", "nominal", "high", "source"],
        }
        return {"type": "object", "additionalProperties": {"anyOf": [{"type": "number"}, interval]}}


class Spoke(fields.Field[Any]):
    """The entry of the answer's language in a table by language."""

    def __init__(self, description: str, shape: JsonSchema) -> None:
        super().__init__(required=True, metadata={"description": description})
        self.shape = shape

    def _serialize(self, value: Any, attr: str | None, obj: Any, **_: Any) -> Any:
        entry = value[Spoken.get()]
        return list(entry) if isinstance(entry, tuple) else entry

    def json_schema(self) -> JsonSchema:
        return self.shape


class MaterialSchema(OutputSchema):
    """A material of the library, each number with its source."""

    id = string("Id to name it by.")
    name = Spoke("Name in the answer's language.", {"type": "string"})
    synonyms = Spoke(
        "Other names in the answer's language; they are taken for the id.",
        {"type": "array", "items": {"type": "string"}},
    )
    family = string("Family.")
    density_kg_m3 = part(IntervalSchema, "Density.")
    elastic = Constants()
    loss_factor = part(IntervalSchema, "Loss factor near 200 kHz.")
    mass_tolerance_pct = Precise("Half width of the mass per area that holds 95 % of sheets")
    formation_pct = Precise("Half width of the mass per area from place to place in a sheet that holds 95 %")
    trapped_air = part(MaterialTrappedAirSchema, "Air caught between two sheets.")
    thickness_range_um = listing(Precise("Thickness"), "Usual thicknesses, from and to.", minItems=2, maxItems=2)
    porous = part(PorousSchema, "Pores, where air passes.", nullable=True)
    sources = listing(fields.String(), "Every source of this entry.")


class MaterialsSchema(OutputSchema):
    """Materials found."""

    query = string("What was looked for; empty for all.")
    materials = listing(MaterialSchema, "Best match first; by id for an empty query.")


class MaterialsQuerySchema(StrictSchema):
    """What to look for."""

    q = Text(
        "Name or part of one, in English or German; misspellings are forgiven. All materials if empty.", shortest=0
    )
    limit = Whole("Most materials to return.", ge=1, le=1000, load_default=1000)

    @post_load
    def make(self, data: dict[str, Any], **_: Any) -> tuple[str, int]:
        return data.get("q", ""), data["limit"]


class HousingSchema(OutputSchema):
    """Body of one head."""

    thread = string("Thread by ISO 261, or `rectangular`.")
    pitch_mm = Number("Pitch of the thread.", decimals=2, nullable=True)
    length_mm = Number("Length.", decimals=1)
    width_mm = Number("Width or diameter.", decimals=1)
    cable_exit_mm = Number(
        "Height that cable and bend take behind the body; null where the catalogue does not tell.",
        decimals=1,
        nullable=True,
    )


class Parameters(fields.Field[Any]):
    """Parameters of a class, as its principle has them; frequencies in kHz."""

    def __init__(self) -> None:
        super().__init__(
            required=True, metadata={"description": "Physical parameters by name, with the unit in the name."}
        )

    def _serialize(self, value: Any, attr: str | None, obj: Any, **_: Any) -> dict[str, Any]:
        return contract_values(vars(value))

    def json_schema(self) -> JsonSchema:
        return {"type": "object", "additionalProperties": {"type": ["number", "string", "boolean", "null"]}}


class OrderLineSchema(OrderSchema):
    """One thing to order for a class, and when."""

    when = string("For which set-ups it is needed.", among=get_args(get_type_hints(OrderLine)["when"]))
    serves_lanes = whole("For how many lanes one quantity serves.")


class FilledSchema(OutputSchema):
    """Parameters that the catalogue does not give."""

    reference_class = string("The nearest reference class, from which they are taken.")
    parameters = listing(fields.String(), "Their names, as a catalogue file has them.")


class DetectorClassSchema(OutputSchema):
    """A kind of detector pair by its physical parameters."""

    id = string("Id to name it by.")
    principle = string("Sensing principle.")
    illustrative = flag("Whether it is invented, and no product.")
    housing = part(HousingSchema, "Body.")
    output = listing(fields.String(), "Outputs it comes with.")
    supply = string("Supply.")
    ingress = string("Ingress protection (IEC 60529).")
    temperature_min_c = Number("Lowest temperature.", decimals=1)
    temperature_max_c = Number("Highest temperature.", decimals=1)
    contactless = flag("Whether it leaves the sheet untouched.")
    parameters = Parameters()
    filled = part(FilledSchema, "What was taken from a reference class, if anything.", nullable=True)
    order = listing(OrderLineSchema, "What to order.")
    source = string("Where the numbers come from.")


class ClassesSchema(OutputSchema):
    """The detector classes of a catalogue."""

    catalogue = string("Name of the catalogue.")
    catalogue_version = string("Version of its content.")
    classes = listing(DetectorClassSchema, "Its classes.")


class ClassesQuerySchema(StrictSchema):
    """Which catalogue."""

    catalogue = Text("Name of the catalogue; the default one if not given.")

    @post_load
    def make(self, data: dict[str, Any], **_: Any) -> str | None:
        name: str | None = data.get("catalogue")
        return name


class CatalogueSchema(OutputSchema):
    """A catalogue of detector classes."""

    name = string("Name to choose it by.")
    version = string("Version of its content.")
    classes = whole("How many classes it has.")
    illustrative = flag("Whether any of its classes is invented.")
    default = flag("Whether it is the one for jobs that name none.")


class CataloguesSchema(OutputSchema):
    """The catalogues of this service."""

    catalogues = listing(CatalogueSchema, "By name.")


class VersionSchema(OutputSchema):
    """What this service is."""

    api = string("Version of the contract.")
    build = string("Version of the service and a hash of its code.")
    model_version = string("Version of the physics, the library and the decision.")
    principles = listing(fields.String(), "Sensing principles it computes.")


class StatusSchema(OutputSchema):
    """How the service is."""

    status = string("`ok`.", among=("ok",))
