"""Levels of a set of sheets before the ultrasonic classes, as they were when last looked at.

    PYTHONPATH=tests python tests/support/stored_levels.py

writes them anew, from the root of the repository: after a change of the model that is meant to move them, never after
one that is meant to make it faster.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
from sheetmargin.contract.job import Double, Layer
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.materials.resolve import resolve_sheet
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.principles import principles
from sheetmargin_service.principles.protocol import Fact

from support.principle_cases import CONDITIONS, detector_class

STORE = Path(__file__).parents[1] / "service" / "levels.json"
SHEETS: dict[str, SheetSpec] = {
    "newsprint": SheetSpec(material="newsprint", grammage_gsm=45),
    "copy paper": SheetSpec(material="copy-paper", grammage_gsm=80),
    "copy paper, two plies": SheetSpec(
        material="copy-paper", grammage_gsm=80, plies=2, double=Double(kind="one-ply-more")
    ),
    "copy paper, narrow overlap": SheetSpec(material="copy-paper", grammage_gsm=80, double=Double(overlap_mm=6)),
    "copy paper, wet": SheetSpec(material="copy-paper", grammage_gsm=80, double=Double(contact="water-film")),
    "permeable kraft": SheetSpec(material="kraft-paper", grammage_gsm=90, air_permeance_um_per_pa_s=6),
    "coated board": SheetSpec(material="coated-board", grammage_gsm=300),
    "card stock, bonded": SheetSpec(material="card-stock", grammage_gsm=250, double=Double(contact="bonded")),
    "greyboard": SheetSpec(material="greyboard", thickness_um=2000),
    "label": SheetSpec(
        layers=(
            Layer(material="copy-paper", grammage_gsm=70),
            Layer(material="adhesive-acrylic", thickness_um=20),
            Layer(material="glassine", grammage_gsm=60),
        )
    ),
    "film": SheetSpec(material="pet", thickness_um=12),
    "thick film": SheetSpec(material="pet", thickness_um=100),
    "rigid PVC, partly bonded": SheetSpec(material="pvc-rigid", thickness_um=760, double=Double(contact="partial")),
    "foil": SheetSpec(material="aluminium", thickness_um=15),
    "aluminium": SheetSpec(material="aluminium", thickness_um=1000),
    "glass": SheetSpec(material="glass", thickness_um=2000),
}
CLASSES = ("ultrasonic-75k-high-output", "ultrasonic-180k", "ultrasonic-220k-continuous", "ultrasonic-400k")
PLACES = ((0, 0.0), (4, 10.0), (6, 35.0))
"""Gap, as a place in the class's list of gaps, and tilt in degrees."""
STATES = ("no_sheet", "single", "double")


def stored() -> dict[str, Any]:
    """Sheet, class, then p1, p50 and p99 of each state: `distribution` in full, `signal_table` to first order."""
    levels: dict[str, Any] = json.loads(STORE.read_text())
    return levels


def computed(name: str) -> dict[str, Any]:
    """The same for one of the sheets, as it is computed now."""
    sheet = resolve_sheet(SHEETS[name], load_library())
    return {class_id: _before(class_id, sheet) for class_id in CLASSES}


def _before(class_id: str, sheet: Sheet) -> dict[str, Any]:
    c = detector_class(class_id)
    principle = principles()[c.principle]
    class_model = principle.class_model(c, CONDITIONS)
    assert not isinstance(class_model, Fact)
    gaps = np.unique(class_model.settings.gap_mm)
    signal_table = class_model.signal_table(sheet)
    places: dict[str, Any] = {}
    for gap, tilt in PLACES:
        setting = int(
            np.flatnonzero((class_model.settings.gap_mm == gaps[gap]) & (class_model.settings.tilt_deg == tilt))[0]
        )
        distribution, here = class_model.distribution(sheet, setting), signal_table.at(setting)
        spans = [getattr(distribution, state).span(principle.grid) for state in STATES]
        places[f"{gaps[gap]:g} mm, {tilt:g} degrees"] = {
            state: {"detail": _percentiles(span), "survey": _percentiles(getattr(here, state))}
            for state, span in zip(STATES, spans, strict=True)
        }
    return places


def _percentiles(span: Any) -> list[float]:
    return [round(float(p[0]), 3) for p in (span.p1, span.p50, span.p99)]


def _lines(levels: dict[str, Any]) -> str:
    """JSON with a line for each place."""
    sheets = []
    for name, classes in levels.items():
        places = (
            f"  {json.dumps(class_id)}: {{\n"
            + ",\n".join(f"   {json.dumps(place)}: {json.dumps(states)}" for place, states in by_place.items())
            + "}"
            for class_id, by_place in classes.items()
        )
        sheets.append(f" {json.dumps(name)}: {{\n" + ",\n".join(places) + "}")
    return "{\n" + ",\n".join(sheets) + "}\n"


if __name__ == "__main__":
    STORE.write_text(_lines({name: computed(name) for name in SHEETS}))
