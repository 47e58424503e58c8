"""Options of `recommend` that describe the job: one for each plain field of a sheet, the line and the air.

The option is the field's name of the contract, so that an error's pointer finds its option. What is missing here
(layers, corrugated board, custom materials, several sheets, targets) is written in a job file.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from sheetmargin.contract.job import Environment, Job, Line, Sheet, Surface
from sheetmargin.contract.problem import Fault


def number(text: str) -> float:
    """A finite number, for argparse."""
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(text)
    return value


def positive(text: str) -> float:
    """A finite number above 0, for argparse."""
    value = number(text)
    if value <= 0:
        raise ValueError(text)
    return value


Option = tuple[Any, str]
"""How the text is read, and the help."""

SHEET: Mapping[str, Option] = {
    "label": (str, "your name for the sheet"),
    "material": (str, "material id or trade name; `sheetmargin materials` lists them"),
    "construction": (str, "a ready-made construction of several layers instead of a material"),
    "label_state": (str, "label stock: present, absent or doubled label"),
    "grammage_gsm": (number, "mass per area in g/m2"),
    "basis_weight_lb": (number, "basis weight in lb, with --basis"),
    "basis": (str, "bond, cover, bristol, index, text, tag or msf"),
    "thickness_um": (number, "thickness in um"),
    "caliper_pt": (number, "thickness in pt, 1/1000 in"),
    "thickness_in": (number, "thickness in in"),
    "grammage_tolerance_pct": (number, "half width that holds 95 %% of the sheets"),
    "thickness_tolerance_pct": (number, "half width that holds 95 %% of the sheets"),
    "plies": (int, "layers of one correct sheet, folded or gathered"),
    "open_area_pct": (number, "share of holes in a perforated sheet"),
    "air_permeance_um_per_pa_s": (number, "air permeance (ISO 5636)"),
    "gurley_s_per_100ml": (number, "Gurley air resistance"),
    "bendtsen_ml_per_min": (number, "Bendtsen air permeance"),
    "sheffield_units": (number, "Sheffield air permeance, orifice of 19.1 mm"),
    "air_permeability_mm_per_s": (number, "air permeability of a textile (ISO 9237), with --test-pressure-pa"),
    "test_pressure_pa": (number, "pressure at which the permeability was measured"),
}

SURFACE: Mapping[str, Option] = {
    "oiled": (bool, "oil lies between two sheets"),
    "interleaf": (bool, "a paper or film lies between two sheets"),
    "printed": (bool, "print or a coating lies under the spot"),
    "gloss": (bool, "the surface reflects like a mirror"),
    "cut_out": (bool, "a window, a hole or an edge may come under the spot"),
    "blocks": (bool, "sheets cling together"),
    "marks_allowed": (bool, "a detector may touch and mark the sheet"),
    "gritty": (bool, "the surface wears what it touches"),
    "lift_mm": (number, "how far flaps or curled edges lift"),
}

LINE: Mapping[str, Option] = {
    "clearance_above_mm": (number, "free space above the sheet"),
    "clearance_below_mm": (number, "free space below the sheet"),
    "speed_m_per_min": (number, "sheet speed"),
    "sheet_length_mm": (number, "sheet length along travel"),
    "sheet_width_mm": (number, "sheet width"),
    "sheet_spacing_mm": (number, "space between sheets"),
    "shingle_pitch_mm": (number, "distance from one sheet's start to the next one's, with --feeding shingled"),
    "flutter_mm": (number, "flutter of the sheet in height"),
    "flutter_deg": (number, "flutter of the sheet in angle"),
    "max_tilt_deg": (number, "greatest tilt that can be mounted"),
    "feeding": (str, "singulated or shingled"),
    "lanes": (int, "lanes side by side"),
    "lane_pitch_mm": (number, "distance between lanes"),
    "edge_distance_mm": (number, "distance of the beam from the sheet's edge"),
    "body_through_frame": (bool, "the bodies may reach beyond the free space, through the frame"),
    "bed": (bool, "something carries the sheet below, such as a table"),
    "access": (str, "from where a detector reaches the sheet: both-sides or one-side"),
    "dust": (bool, "dust or powder flies about the detector"),
    "wash_down": (bool, "the machine is cleaned with jets of hot water"),
}

ENVIRONMENT: Mapping[str, Option] = {
    "temperature_min_c": (number, "lowest air temperature"),
    "temperature_max_c": (number, "highest air temperature"),
    "relative_humidity_min_pct": (number, "lowest relative humidity"),
    "relative_humidity_max_pct": (number, "highest relative humidity"),
    "pressure_kpa": (number, "air pressure"),
}

ANSWER: Mapping[str, Option] = {"limit": (int, "most recommendations in the answer")}

GROUPS: Mapping[str, Mapping[str, Option]] = {
    "the sheet": SHEET,
    "its surface": SURFACE,
    "the line": LINE,
    "the air": ENVIRONMENT,
    "the answer": ANSWER,
}


def option_of(field: str) -> str:
    return "--" + field.replace("_", "-")


def add_job_options(parser: argparse.ArgumentParser) -> None:
    for title, options in GROUPS.items():
        group = parser.add_argument_group(title)
        for field, (read, help_text) in options.items():
            if read is bool:
                group.add_argument(option_of(field), action=argparse.BooleanOptionalAction, help=help_text)
                continue
            metavar = "TEXT" if read is str else "N"
            group.add_argument(option_of(field), type=read, help=help_text, metavar=metavar)
    group.add_argument("--classes", nargs="+", metavar="ID", help="admit only these detector classes")


def given_options(arguments: argparse.Namespace) -> list[str]:
    """The job options on the command line, as they are written there."""
    fields = [field for options in GROUPS.values() for field in options] + ["classes"]
    return [option_of(field) for field in fields if getattr(arguments, field) is not None]


def named_by_option(fault: Fault) -> Fault:
    """The fault with its pointer, `/sheets/0/grammage_gsm` say, replaced by the option that fills the place."""
    field = (fault.pointer or "").rpartition("/")[2]
    known = any(field in options for options in GROUPS.values())
    return replace(fault, pointer=option_of(field)) if known else fault


def job_from(arguments: argparse.Namespace) -> Job:
    def some(options: Mapping[str, Option]) -> dict[str, Any]:
        return {field: getattr(arguments, field) for field in options if getattr(arguments, field) is not None}

    return Job(
        sheets=[Sheet(**some(SHEET), surface=Surface(**some(SURFACE)))],
        line=Line(**some(LINE)),
        environment=Environment(**some(ENVIRONMENT)),
        **{name: value for name in ("classes", "limit") if (value := getattr(arguments, name)) is not None},
    )
