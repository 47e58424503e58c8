"""Questions to the bench as they come over the wire: a set-up, a grid, readings, symptoms."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from marshmallow import ValidationError, post_load, validates_schema

from sheetmargin_service.api.faults import Fault
from sheetmargin_service.api.schemas.job import (
    ControllerSchema,
    EnvironmentSchema,
    LineSchema,
    RequireSchema,
    SheetSchema,
    TargetsSchema,
    check_stream,
)
from sheetmargin_service.api.schemas.strict import Choice, Listing, Part, Real, StrictSchema, Text, Whole
from sheetmargin_service.bench.diagnose import DiagnosisQuestion
from sheetmargin_service.bench.fit import FitQuestion
from sheetmargin_service.bench.installation import Installation
from sheetmargin_service.bench.predict import Grid, PredictionQuestion
from sheetmargin_service.bench.reading import Reading
from sheetmargin_service.bench.symptoms import SYMPTOMS
from sheetmargin_service.materials.sizes import GRAMMAGE_LIMITS_GSM
from sheetmargin_service.selection.job import Controller, Environment, Job, Line, Require, Targets

STATES = ("no_sheet", "single", "double")
MAX_READINGS = 200
MAX_GAPS, MAX_TILTS, MAX_POSITIONS, MAX_GRAMMAGES = 12, 12, 201, 24
"""What one question may ask for: 144 places, or what makes a smooth line."""
AXES = ("gap_mm", "tilt_deg"), ("position_mm",), ("grammage_gsm",)
"""Fields of a grid that belong together."""


def _gap(description: str, **kwargs: Any) -> Real:
    return Real(description, ge=0, le=2000, **kwargs)


def _tilt(description: str, **kwargs: Any) -> Real:
    return Real(description, ge=0, le=80, **kwargs)


class InstalledProfileSchema(StrictSchema):
    """What the receiver is set to."""

    makes = dict
    single_band_attenuation_db = Listing(
        Whole("", ge=-1000, le=100_000),
        "Attenuation that counts as one sheet, from and to; in the signal's own unit where that is not dB.",
        shortest=2,
        longest=2,
    )
    hold_ms = Real("How long the output is held.", gt=0, le=60_000)

    @validates_schema
    def band_rises(self, data: dict[str, Any], **_: Any) -> None:
        band = data.get("single_band_attenuation_db")
        if band and band[0] >= band[1]:
            fault = Fault(
                code="contradiction",
                detail="The band does not rise.",
                expected="its lower edge first",
                path=("single_band_attenuation_db",),
            )
            raise ValidationError([fault])


class InstallationSchema(StrictSchema):
    """A detector pair where it stands, and as it is set."""

    makes = Installation
    detector_class = Text("Id of the class.", required=True)
    gap_mm = _gap("From face to face.", required=True)
    tilt_deg = _tilt("Of the pair's axis against the sheet's normal.", load_default=0.0)
    profile = Part(InstalledProfileSchema, "What the receiver is set to; the best band if not given.")

    @post_load
    def make(self, data: dict[str, Any], **_: Any) -> Installation:
        profile = data.pop("profile", {})
        return Installation(
            **data, single_band=profile.get("single_band_attenuation_db"), hold_ms=profile.get("hold_ms")
        )


class GridSchema(StrictSchema):
    """What to step through for a plot, one of three: gaps with tilts, positions of the sheet, or grammages."""

    makes = Grid
    gap_mm = Listing(_gap(""), "Gaps, rising; with `tilt_deg`.", longest=MAX_GAPS, load_default=())
    tilt_deg = Listing(_tilt(""), "Tilts, rising; with `gap_mm`.", longest=MAX_TILTS, load_default=())
    position_mm = Listing(
        Real("", ge=-1000, le=1000),
        "Distances of the sheet from the middle of the gap, towards the receiver.",
        longest=MAX_POSITIONS,
        load_default=(),
    )
    grammage_gsm = Listing(
        Real("", ge=GRAMMAGE_LIMITS_GSM[0], le=GRAMMAGE_LIMITS_GSM[1]),
        "Grammages of the same sheet.",
        longest=MAX_GRAMMAGES,
        load_default=(),
    )

    @validates_schema
    def one_of_three(self, data: dict[str, Any], **_: Any) -> None:
        given = [name for names in AXES for name in names if data.get(name)]
        if tuple(given) not in AXES:
            raise ValidationError(
                [
                    Fault(
                        code="conflicting-fields" if len(given) > 1 else "missing-field",
                        detail="A grid steps through one thing.",
                        expected="gap_mm and tilt_deg, or position_mm, or grammage_gsm",
                    )
                ]
            )
        for name in ("gap_mm", "tilt_deg"):
            values = data.get(name) or ()
            if list(values) != sorted(set(values)):
                fault = Fault(code="not-rising", detail="These do not rise.", expected="rising values", path=(name,))
                raise ValidationError([fault])


class ReadingValues(StrictSchema):
    """One reading on a machine: what was in the beam, and the level in one of three units."""

    state = Choice("What was in the beam.", among=STATES, required=True)
    attenuation_db = Real("Attenuation of the open path.", ge=-100, le=300)
    level_pct = Real("Amplitude in per cent of the open path's.", ge=-1e6, le=1e6)
    volts = Real("In proportion to the amplitude; needs readings of the open path.", ge=-1e6, le=1e6)
    specimen = Text("Readings of one specimen are of the same two sheets, not laid anew.", longest=40)


class MachineReadingSchema(ReadingValues):
    """One reading on a machine: what was in the beam, and the level in one of three units."""

    makes = dict


class ReadingSchema(ReadingValues):
    """One reading on a bench: where, what was in the beam, and the level in one of three units."""

    makes = Reading
    detector_class = Text("Id of the class.", required=True)
    gap_mm = _gap("From face to face.", required=True)
    tilt_deg = _tilt("Of the pair's axis against the sheet's normal.", load_default=0.0)

    @post_load
    def make(self, data: dict[str, Any], **_: Any) -> Reading:
        place = (data.pop("detector_class"), data.pop("gap_mm"), data.pop("tilt_deg"))
        return Reading(place=place, **data)


class BenchFields(StrictSchema):
    """The job of one sheet behind a question to the bench."""

    reference = Text("The caller's own reference, echoed in the answer.", longest=200)
    sheet = Part(SheetSchema, "The sheet.", required=True)
    line = Part(LineSchema, "The machine.", load_default=Line())
    environment = Part(EnvironmentSchema, "The air.", load_default=Environment())
    controller = Part(ControllerSchema, "What reads the output.", load_default=Controller())
    targets = Part(TargetsSchema, "Greatest misreads accepted.", load_default=Targets())
    catalogue = Text("Name of the catalogue of detector classes; the default one if not given.")

    @validates_schema
    def stream_is_computed(self, data: dict[str, Any], **_: Any) -> None:
        check_stream(data["line"], (data["sheet"],))

    @staticmethod
    def job(data: dict[str, Any]) -> Job:
        """The job, its fields taken out of the data."""
        names = {field.name for field in fields(Job)} & data.keys()
        return Job(sheets=(data.pop("sheet"),), **{name: data.pop(name) for name in names})


class PredictionQuestionSchema(BenchFields):
    """What would I read? A set-up and a sheet, and a grid where a plot is wanted."""

    makes = PredictionQuestion
    setup = Part(InstallationSchema, "The set-up.", required=True)
    grid = Part(GridSchema, "What to step through.", load_default=Grid())

    @post_load
    def make(self, data: dict[str, Any], **_: Any) -> PredictionQuestion:
        return PredictionQuestion(job=self.job(data), installation=data["setup"], grid=data["grid"])


class FitQuestionSchema(BenchFields):
    """Readings of a sample, and the job that they are to help."""

    makes = FitQuestion
    readings = Listing(
        Part(ReadingSchema), "Readings of none, one and two sheets.", shortest=1, longest=MAX_READINGS, required=True
    )
    require = Part(RequireSchema, "Properties a recommended class must have.", load_default=Require())
    principles = Listing(Text(longest=40), "Sensing principles to consider; all if empty.", longest=20, load_default=())
    classes = Listing(
        Text(), "Ids of the only detector classes to recommend; all if empty.", longest=200, load_default=()
    )
    limit = Whole("Most recommendations to return.", ge=1, le=20, load_default=5)

    @post_load
    def make(self, data: dict[str, Any], **_: Any) -> FitQuestion:
        readings = data.pop("readings")
        return FitQuestion(job=self.job(data), readings=readings)


class DiagnosisQuestionSchema(BenchFields):
    """An installed ultrasonic set-up, what was noticed, and what was read there."""

    makes = DiagnosisQuestion
    setup = Part(InstallationSchema, "The set-up.", required=True)
    symptoms = Listing(Choice("", among=SYMPTOMS), "What was noticed.", longest=len(SYMPTOMS), load_default=())
    readings = Listing(
        Part(MachineReadingSchema),
        "Readings at the set-up; dB and per cent count from the open path as it was taught.",
        longest=MAX_READINGS,
        load_default=(),
    )

    @post_load
    def make(self, data: dict[str, Any], **_: Any) -> DiagnosisQuestion:
        setup: Installation = data["setup"]
        place = (setup.detector_class, setup.gap_mm, setup.tilt_deg)
        readings = tuple(Reading(place=place, **reading) for reading in data["readings"])
        symptoms = tuple(dict.fromkeys(data["symptoms"]))
        return DiagnosisQuestion(job=self.job(data), installation=setup, symptoms=symptoms, readings=readings)
