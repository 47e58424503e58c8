"""Water on the faces: where a job's air condenses or freezes on what is cold."""

from __future__ import annotations

from sheetmargin.contract.job import Environment
from sheetmargin.contract.notes import Note

from sheetmargin_service.acoustics.air import dew_point_c
from sheetmargin_service.principles.conditions import Conditions


def moisture_cautions(environment: Environment, conditions: Conditions) -> tuple[Note, ...]:
    """Condensation where the warmest air's dew point is crossed on the way to the coldest; frost below 0 degrees.

    The warmest air is as humid as the job states, else as dry as is assumed: an assumption gives no alarm.
    """
    stated = environment.relative_humidity_max_pct
    humidity = conditions.relative_humidity_min_pct if stated is None else stated
    coldest, warmest = conditions.temperature_min_c, conditions.temperature_max_c
    dew = dew_point_c(temperature_c=warmest, relative_humidity_pct=humidity)
    condenses = dew >= coldest
    notes = []
    if condenses:
        values = {
            "temperature_min_c": coldest,
            "temperature_max_c": warmest,
            "relative_humidity_pct": humidity,
            "dew_point_c": round(dew, 1),
        }
        notes.append(Note(code="condensation", values=values))
    if coldest < 0.0 and (condenses or warmest > 0.0):
        notes.append(Note(code="frost", values={"temperature_min_c": coldest}))
    return tuple(notes)
