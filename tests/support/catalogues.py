"""An owner's catalogue, invented: part numbers, accessories, and parameters that the owner does not know."""

from __future__ import annotations

import json
import tomllib

OWN = """\
source = "invented for tests"

[defaults]
output = ["pnp", "push-pull"]
supply = "10 to 30 V DC"
ingress = "IP67"
temperature_min_c = 0
temperature_max_c = 60
contactless = true

[[class]]
id = "own-180"
principle = "ultrasonic"
housing = { thread = "M18", pitch_mm = 1, length_mm = 62, width_mm = 18 }
order = [
    { role = "emitter", part_number = "T-100-E", quantity = 1 },
    { role = "receiver", part_number = "T-100-R", quantity = 1 },
    { role = "evaluation-unit", part_number = "T-900", quantity = 1, serves_lanes = 4 },
    { role = "cable", part_number = "T-050", quantity = 2 },
    { role = "bracket", part_number = "T-201", quantity = 2, when = "upright" },
    { role = "tilting-bracket", part_number = "T-202", quantity = 2, when = "tilted" },
]
[class.parameters]
frequency_hz = 180e3
face_radius_mm = 7
drive = "gated"
gap_min_mm = 20
gap_max_mm = 60

[[class]]
id = "own-400"
principle = "ultrasonic"
ingress = "IP66/IP67"
temperature_max_c = 40
supply = "24 V DC"
output = ["npn"]
housing = { thread = "M12", pitch_mm = 1, length_mm = 50, width_mm = 12 }
order = [{ role = "pair", part_number = "T-400", quantity = 1 }]
[class.parameters]
frequency_hz = 400e3
bandwidth_hz = 28e3
face_radius_mm = 4
face_reflection = 0.6
drive = "gated"
gate_us = 48
reference_gap_mm = 25
overload_db = 2
noise_db = 92
bypass_db = 90
span_db = 55
gain_range_db = 30
gap_min_mm = 12
gap_max_mm = 40
reading_interval_ms = 0.5
response_ms = 1
drift_db = 3
"""

OWN_JSON = json.dumps(tomllib.loads(OWN), indent=2)


HEAD, _, _ = OWN.partition("[[class]]")
"""What all classes of such a catalogue have."""


def own_class(name: str, *, frequency_hz: float, face_radius_mm: float, drive: str, gaps: str) -> str:
    """One more class of it; `gaps` are the lines of its gaps."""
    return f"""\
[[class]]
id = "{name}"
principle = "ultrasonic"
housing = {{ thread = "M18", pitch_mm = 1, length_mm = 62, width_mm = 18 }}
order = [{{ role = "pair", part_number = "T-{name}", quantity = 1 }}]
[class.parameters]
frequency_hz = {frequency_hz:.0f}
face_radius_mm = {face_radius_mm:.3f}
drive = "{drive}"
{gaps}
"""


def many_classes(count: int) -> str:
    """A catalogue of classes of 100 to 500 kHz, their faces as many wavelengths wide as `own-180`'s."""
    frequencies = [100e3 + 400e3 * number / count for number in range(count)]
    return HEAD + "\n".join(
        own_class(
            f"own-{number}",
            frequency_hz=frequency_hz,
            face_radius_mm=7.0 * 180e3 / frequency_hz,
            drive="gated",
            gaps="gap_min_mm = 20\ngap_max_mm = 60",
        )
        for number, frequency_hz in enumerate(frequencies)
    )
