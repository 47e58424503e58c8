"""Answers of the bench as they go over the wire."""

from __future__ import annotations

from typing import Any

from marshmallow import Schema, fields

from sheetmargin_service.api.languages import Language
from sheetmargin_service.api.schemas.answer import (
    AnswerSchema,
    AssumptionSchema,
    MarginSchema,
    NoteSchema,
    PercentilesSchema,
    RecommendationSchema,
    SheetSummarySchema,
    Spoken,
)
from sheetmargin_service.api.schemas.output import Number, OutputSchema, flag, listing, part, string, whole
from sheetmargin_service.api.schemas.sheet_output import AskableSheet

DB = 1
PARAMETER_DIGITS = 4


class Figure(fields.Field[float]):
    """A number of any size, to four digits."""

    def __init__(self, description: str) -> None:
        super().__init__(required=True, metadata={"description": description, "x-digits": PARAMETER_DIGITS})

    def _serialize(self, value: float | None, attr: str | None, obj: Any, **_: Any) -> float | None:
        return None if value is None else float(f"{value:.{PARAMETER_DIGITS}g}") + 0.0

    def json_schema(self) -> dict[str, Any]:
        return {"type": "number"}


def _db(description: str) -> Number:
    return Number(description, decimals=DB)


class BenchAnswerSchema(OutputSchema):
    """What every answer of the bench tells beside its own."""

    reference = string("The question's reference.", nullable=True)
    model_version = string("Version of the physics, the library and the decision.")
    catalogue_version = string("Version of the catalogue.")
    assumptions = listing(AssumptionSchema, "What was taken where the question does not say.")
    cautions = listing(NoteSchema, "What to be careful about.")


class MarginMapSchema(OutputSchema):
    """The least margin, and the medians of one sheet and two, at every gap (rows) and tilt (columns)."""

    gap_mm = listing(Number("", decimals=1), "Gaps of the rows.")
    tilt_deg = listing(Number("", decimals=1), "Tilts of the columns.")
    margin = listing(fields.List(_db("")), "With the band of the profile; without one, with the best of each place.")
    single = listing(fields.List(_db("")), "One sheet.")
    double = listing(fields.List(_db("")), "Two sheets.")


class AtPositionSchema(OutputSchema):
    """One sheet at one place between the faces, standing waves as they are there."""

    position_mm = Number("From the middle of the gap, towards the receiver.", decimals=3)
    single = _db("Median of one sheet.")


class AtGrammageSchema(OutputSchema):
    """A sheet of another grammage, with the band as it is."""

    grammage_gsm = Number("Mass per area.", decimals=2)
    no_sheet = part(PercentilesSchema, "No sheet.")
    single = part(PercentilesSchema, "One sheet.")
    double = part(PercentilesSchema, "Two sheets.")
    margin = part(MarginSchema, "What is left.")


class PredictionSchema(BenchAnswerSchema):
    """Levels, margins and misreads of a set-up, and what the grid asked for."""

    predicted = part(RecommendationSchema, "The set-up as a recommendation tells one.")
    gap_tilt = part(MarginMapSchema, "Margins over gap and tilt, where the grid asks for them.", nullable=True)
    positions = listing(AtPositionSchema, "Levels over the sheet's position.")
    grammages = listing(AtGrammageSchema, "Levels over the grammage.")


class FittedIntervalSchema(OutputSchema):
    """A value and the interval about it that holds 90 %."""

    low = Figure("Lower end.")
    nominal = Figure("Best value.")
    high = Figure("Upper end.")


class EstimateSchema(OutputSchema):
    """One parameter of the sample before and after the readings."""

    name = string(
        "grammage_gsm, stiffness_factor (of all moduli), loss_factor, trapped_air_um (median) or trapped_air_width "
        "(standard deviation of its logarithm)."
    )
    library = part(FittedIntervalSchema, "As the library has it.")
    fitted = part(FittedIntervalSchema, "As the readings have it.")
    sigma_share = Number("What is left of the library's uncertainty, 1 is all of it.", decimals=3)
    told = flag("Whether the readings say something of it.")


class ResidualSchema(OutputSchema):
    """One reading against the fitted sheet."""

    index = whole("Position of the reading, from 0.")
    state = string("What was in the beam.")
    detector_class = string("Class.")
    gap_mm = Number("Gap.", decimals=1)
    tilt_deg = Number("Tilt.", decimals=1)
    measured_db = Number("Attenuation as measured.", decimals=2)
    fitted_db = Number("Attenuation of the fitted sheet.", decimals=2)
    residual_db = Number("Measured less fitted.", decimals=2)
    sigma_db = Number("Standard deviation expected of that.", decimals=2)
    wrong = flag("Whether it lies so far off that it counts for little.")


class FittedSchema(OutputSchema):
    """What the readings say of the sample."""

    sheet = AskableSheet("The fitted sheet, in the form that every call takes.")
    library_sheet = part(SheetSummarySchema, "The sheet as the library has it.")
    estimates = listing(EstimateSchema, "Every parameter.")
    covariance = listing(
        fields.List(Figure("")), "Covariance of the logarithms of the parameters, in the order of `estimates`."
    )
    residuals = listing(ResidualSchema, "Every reading of a sheet.")
    chance = Number("Chance that readings of such a sheet lie as far from the model as these.", decimals=4)
    notes = listing(NoteSchema, "What the readings cannot tell, and where the model does not explain them.")


class FitSchema(OutputSchema):
    """A fitted sample, and the recommendation for it beside the library's."""

    reference = string("The question's reference.", nullable=True)
    fit = part(FittedSchema, "The fit.")
    changed = listing(NoteSchema, "What it changes in the first recommendation.")
    library = part(AnswerSchema, "The answer for the sheet as the library has it.")
    fitted = part(AnswerSchema, "The answer for the fitted sheet.")


class RatesSchema(OutputSchema):
    """Events per million that go wrong, in a single reading."""

    single_as_double = Number("One sheet read as two.", decimals=3)
    double_as_single = Number("Two sheets read as one.", decimals=3)
    no_sheet_as_sheet = Number("No sheet read as one.", decimals=3)


class CauseSchema(OutputSchema):
    """One cause of trouble."""

    rank = whole("From 1.")
    cause = part(NoteSchema, "What it is.", attribute="note")
    probability = Number("How far it is believed, 0 to 1.", decimals=4)
    no_sheet_db = _db("Attenuation of no sheet in its likeliest case.")
    single_db = _db("Of one sheet.")
    double_db = _db("Of two sheets.")
    rates_ppm = part(RatesSchema, "What goes wrong in that case.", attribute="rates")
    against = string("Code of the cause from which the test tells it.", nullable=True)
    test = part(NoteSchema, "The test that tells it from the next; null where none does.", nullable=True)
    deviations = Number("Difference that the test shows, in standard deviations.", decimals=1, nullable=True)
    remedy = part(NoteSchema, "What helps.")
    remedied_ppm = part(RatesSchema, "What goes wrong once it has helped.", attribute="remedied")


class DiagnosisSchema(BenchAnswerSchema):
    """Causes, likeliest first, each with the test that tells it from the next and with its remedy."""

    computed = part(RecommendationSchema, "The set-up as it should be.")
    causes = listing(CauseSchema, "Causes.")


def dump(schema: Schema, answer: Any, *, language: Language) -> dict[str, Any]:
    """An answer as JSON-ready values, its texts in the language."""
    with Spoken(language):
        dumped: dict[str, Any] = schema.dump(answer)
    return dumped
