"""Jobs drawn from everything that the schema of a job admits, its ends among them."""

from __future__ import annotations

import math
from typing import Any

from hypothesis import strategies as st
from marshmallow import Schema, fields
from sheetmargin.contract.job import Job, Sheet, Targets
from sheetmargin_service.api.schemas.derive import question_schema
from sheetmargin_service.api.schemas.strict import Choice, Flag, Listing, Part, Real, Text, Whole
from sheetmargin_service.materials.constructions import load_constructions
from sheetmargin_service.materials.library import load_library

Value = st.SearchStrategy[Any]

MATERIALS = sorted(load_library().materials)
SIZES = ("grammage_gsm", "thickness_um", "caliper_pt", "thickness_in", "basis_weight_lb", "sheet_gauge")
MADE_OF = ("material", "layers", "corrugated", "construction", "label_state", "flute_direction", "custom", "basis")
MADE_OF += SIZES
POROUS = ("open_area_pct", "air_permeance_um_per_pa_s", "gurley_s_per_100ml", "bendtsen_ml_per_min")
POROUS += ("sheffield_units", "air_permeability_mm_per_s")
"""Fields of a sheet of which at most one is given. The pressure goes with the last."""


def number(field: Real) -> Value:
    """Within the bounds: an end, or anything between by its logarithm where the bounds are far apart."""
    low = field.ge if field.ge is not None else field.gt
    high = field.le if field.le is not None else field.lt
    assert low is not None
    assert high is not None
    if isinstance(field, Whole):
        return st.one_of(st.integers(int(low), int(high)), st.sampled_from([int(low), int(high)]))
    ends = [end for end in (field.ge, field.le) if end is not None]
    least = max(low, high * 1e-7) if low >= 0 else low
    if low < 0 or high < 100 * least:
        inside = st.floats(least, high, exclude_min=field.gt is not None, exclude_max=field.lt is not None)
    else:
        inside = st.floats(math.log10(least), math.log10(high)).map(lambda x: min(max(10.0**x, least), high))
    return st.one_of(inside, inside, inside, st.sampled_from(ends)) if ends else inside


def value(field: fields.Field[Any]) -> Value:
    """What a field of a request takes."""
    if isinstance(field, Real):
        return number(field)
    if isinstance(field, Flag):
        return st.booleans()
    if isinstance(field, Choice):
        return st.sampled_from(field.among)
    if isinstance(field, Listing):
        return st.lists(value(field.inner), min_size=field.shortest, max_size=min(field.longest, 5))
    if isinstance(field, Part):
        return part(field.schema)
    assert isinstance(field, Text)
    return st.text(st.characters(min_codepoint=32, max_codepoint=126), min_size=1, max_size=8)


def part(schema: Schema, *, leave_out: tuple[str, ...] = (), **given: Value) -> Value:
    """An object of a schema; every field that need not be there may be missing."""
    own = {name: field for name, field in schema.fields.items() if name not in (*leave_out, *given)}
    needed = {name: value(field) for name, field in own.items() if field.required}
    free = {name: value(field) for name, field in own.items() if not field.required}
    return st.fixed_dictionaries({**needed, **given}, optional=free).map(_rising)


def _rising(found: dict[str, Any]) -> dict[str, Any]:
    """Limits in their order, which the schema asks for as well."""
    for low in [name for name in found if "_min_" in name]:
        high = low.replace("_min_", "_max_")
        if high in found:
            found[low], found[high] = sorted((found[low], found[high]))
    if {"p5", "p50", "p95"} <= found.keys():
        found["p5"], found["p50"], found["p95"] = sorted((found["p5"], found["p50"], found["p95"]))
    if "edge_distance_mm" in found and "sheet_width_mm" in found:
        found["edge_distance_mm"] = min(found["edge_distance_mm"], found["sheet_width_mm"])
    if found.get("feeding") == "shingled" or ("shingle_pitch_mm" in found and found.get("feeding") is None):
        # A stream is asked for both, and up to a hundred plies on one another are computed.
        found.setdefault("sheet_length_mm", 700.0)
        found.setdefault("shingle_pitch_mm", 200.0)
        found["shingle_pitch_mm"] = max(found["shingle_pitch_mm"], 0.1 * found["sheet_length_mm"])
    return found


SHEET, JOB = question_schema(Sheet)(), question_schema(Job)()
FIELDS = SHEET.fields


def _custom() -> Value:
    schema = FIELDS["custom"].schema  # type: ignore[attr-defined]
    stiff = {name: value(schema.fields[name]) for name in ("c11_gpa", "c13_gpa", "c33_gpa", "c55_gpa")}
    young = {name: value(schema.fields[name]) for name in ("youngs_modulus_gpa", "poisson_ratio")}
    speeds = {name: value(schema.fields[name]) for name in ("longitudinal_speed_m_per_s", "shear_speed_m_per_s")}
    constants = (*stiff, *young, *speeds)
    return st.one_of(*(part(schema, leave_out=constants, **kind) for kind in (young, stiff, speeds)))


def _sized() -> Value:
    """What a sheet or a layer of one material is given by, as a dictionary."""
    by_mass = st.fixed_dictionaries({"grammage_gsm": st.floats(0.5, 3.7).map(lambda x: round(10.0**x, 3))})
    by_thickness = st.fixed_dictionaries({"thickness_um": value(FIELDS["thickness_um"])})
    size = st.one_of(by_mass, by_thickness, st.fixed_dictionaries({"grammage_gsm": value(FIELDS["grammage_gsm"])}))
    known = st.fixed_dictionaries({"material": st.sampled_from(MATERIALS)})
    own = st.fixed_dictionaries({"material": st.just("custom"), "custom": _custom()})
    return st.tuples(st.one_of(known, known, own), size).map(lambda both: {**both[0], **both[1]})


@st.composite
def sheets(draw: st.DrawFn) -> dict[str, Any]:
    """A sheet, of one material, of layers or corrugated."""
    kind = draw(st.sampled_from(("one", "one", "one", "layers", "corrugated")))
    made_of: dict[str, Any]
    if kind == "one":
        made_of = draw(_sized())
    elif kind == "layers":
        made_of = {"layers": draw(st.lists(_sized(), min_size=1, max_size=draw(st.sampled_from((3, 3, 3, 30)))))}
    else:
        walls = draw(st.integers(1, 3))
        board: Any = FIELDS["corrugated"].schema.fields  # type: ignore[attr-defined]
        liners = st.lists(value(board["liners_gsm"].inner), min_size=walls + 1, max_size=walls + 1)
        fluted = st.lists(value(board["walls"].inner), min_size=walls, max_size=walls)
        made_of = {"corrugated": {"liners_gsm": draw(liners), "walls": draw(fluted)}}
        if draw(st.booleans()):
            made_of["flute_direction"] = draw(value(FIELDS["flute_direction"]))
    rest = draw(part(SHEET, leave_out=(*MADE_OF, *POROUS, "test_pressure_pa")))
    if draw(st.integers(0, 3)):
        # Most sheets are one ply.
        rest.pop("plies", None)
    if draw(st.booleans()):
        name = draw(st.sampled_from(POROUS))
        rest[name] = draw(value(FIELDS[name]))
        if name == "air_permeability_mm_per_s":
            rest["test_pressure_pa"] = draw(value(FIELDS["test_pressure_pa"]))
    return {**made_of, **rest}


def jobs(*, classes: tuple[str, ...], most_classes: int, most_sheets: int) -> Value:
    """Jobs for classes of one catalogue."""
    return part(
        JOB,
        leave_out=("catalogue", "principles", "require"),
        sheets=st.lists(sheets(), min_size=1, max_size=most_sheets),
        classes=st.lists(st.sampled_from(classes), min_size=1, max_size=most_classes, unique=True),
    )


def usual(low: float, high: float) -> Value:
    """What a person writes: three digits, anything between two values by its logarithm."""
    return st.floats(math.log10(low), math.log10(high)).map(lambda x: float(f"{10.0**x:.3g}"))


FAMILIES = ("paper", "board", "film", "plastic", "metal")
FED = [name for name, material in load_library().materials.items() if material.family in FAMILIES]
"""What machines are mostly fed with."""
CONSTRUCTIONS = sorted(load_constructions())
USUAL_LINE: dict[str, Value] = {
    "clearance_above_mm": usual(40, 400),
    "clearance_below_mm": st.one_of(usual(40, 400), usual(40, 400), usual(1, 40)),
    "speed_m_per_min": usual(2, 600),
    "sheet_length_mm": usual(60, 2000),
    "sheet_width_mm": usual(60, 2000),
    "sheet_spacing_mm": usual(5, 500),
    "flutter_mm": st.sampled_from((0.0, 0.3, 1.0, 2.0, 4.0)),
    "flutter_deg": st.sampled_from((0.0, 0.5, 1.0, 3.0)),
    "max_tilt_deg": st.sampled_from((0.0, 10.0, 35.0, 45.0, 60.0)),
    "feeding": st.sampled_from(("singulated", "singulated", "shingled")),
    "lanes": st.integers(1, 4),
    "lane_pitch_mm": usual(20, 500),
    "edge_distance_mm": usual(3, 200),
    "body_through_frame": st.booleans(),
    "bed": st.booleans(),
}
USUAL_ELSE: dict[str, Value] = {
    "environment": st.fixed_dictionaries(
        {},
        optional={
            "temperature_min_c": st.sampled_from((-20.0, 0.0, 5.0, 10.0, 20.0)),
            "temperature_max_c": st.sampled_from((20.0, 30.0, 35.0, 50.0, 80.0)),
            "relative_humidity_min_pct": st.sampled_from((10.0, 40.0)),
            "relative_humidity_max_pct": st.sampled_from((50.0, 80.0)),
            "pressure_kpa": st.sampled_from((80.0, 101.0)),
        },
    ),
    "controller": st.fixed_dictionaries({}, optional={"scan_ms": usual(1, 100), "input_filter_ms": usual(0.1, 30)}),
    "targets": st.fixed_dictionaries({}, optional=dict.fromkeys(question_schema(Targets)().fields, usual(20, 50_000))),
    "require": st.fixed_dictionaries({}, optional={"contactless": st.booleans(), "ingress": st.just("IP65")}),
    "keep_sequence": st.booleans(),
}


@st.composite
def usual_sheets(draw: st.DrawFn) -> dict[str, Any]:
    """A sheet of the library as machines feed it, or one of its constructions."""
    if not draw(st.integers(0, 4)):
        return {"construction": draw(st.sampled_from(CONSTRUCTIONS))}
    size = draw(st.sampled_from(("grammage_gsm", "thickness_um")))
    found: dict[str, Any] = {
        "material": draw(st.sampled_from(draw(st.sampled_from((MATERIALS, FED))))),
        size: draw(usual(15, 900) if size == "grammage_gsm" else usual(10, 3000)),
    }
    if draw(st.booleans()):
        return found
    contacts = FIELDS["double"].schema.fields["contact"].among  # type: ignore[attr-defined]
    extras = {
        "plies": st.sampled_from((1, 2, 3, 8)),
        "grammage_tolerance_pct": st.sampled_from((0.0, 2.0, 10.0)),
        "thickness_tolerance_pct": st.sampled_from((0.0, 2.0, 10.0)),
        "double": st.fixed_dictionaries(
            {},
            optional={
                "kind": st.sampled_from(("another-piece", "one-ply-more")),
                "contact": st.sampled_from(("air", "air", *contacts)),
                "overlap_mm": usual(5, 300),
            },
        ),
    }
    return found | draw(st.fixed_dictionaries({}, optional=extras))


def usual_jobs(*, classes: tuple[str, ...], most_classes: int, most_sheets: int) -> Value:
    """Jobs as they are written, most of which something serves: little is said of the line."""
    line = st.lists(st.sampled_from(sorted(USUAL_LINE)), max_size=6, unique=True).flatmap(
        lambda names: st.fixed_dictionaries({name: USUAL_LINE[name] for name in names}).map(_rising)
    )
    return st.fixed_dictionaries(
        {
            "sheets": st.lists(usual_sheets(), min_size=1, max_size=most_sheets),
            "classes": st.lists(st.sampled_from(classes), min_size=1, max_size=most_classes, unique=True),
        },
        optional={"line": line, **USUAL_ELSE},
    )
