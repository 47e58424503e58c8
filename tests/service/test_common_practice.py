"""COMMON PRACTICE, NO SOURCE: what is said of such pairs in the trade, cell by cell, against what is computed.

Nobody can be cited for these cells, so none of them decides anything: class and material tables were committed before
they were first evaluated and are not changed for them. Each is evaluated and told as found (run with -s); the list of
those that agree is kept, with an explanation for each that does not. Their figures appear nowhere else.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pytest
from scipy.stats import qmc
from sheetmargin_service.acoustics.beam import alignment_limits
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.materials.material import Interval
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.principles import principles
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.principles.ultrasonic.class_model import UltrasonicModel
from sheetmargin_service.selection.search import Search, Sharing
from support.principle_cases import CONDITIONS, sheet

CLASSES = {c.id: c for c in reference_catalogue().classes}
LIGHT = "ultrasonic-300k"
"""The pair "made for light stock": M18, the higher frequency."""
STRONG = "ultrasonic-180k-high-output"
"""The "strong pair made for heavy stock": M18, high output."""
SHEETS = {
    "office paper": sheet("copy-paper", grammage_gsm=80),
    "business card": sheet("card-stock", grammage_gsm=300),
    "thick plastic": sheet("pvc-rigid", thickness_um=760),
    "thick cardboard": sheet("greyboard", thickness_um=1500),
    "thin cardboard": sheet("folding-boxboard", thickness_um=800),
    "coated cardboard": sheet("coated-board", thickness_um=500),
}
BOARDS = ("business card", "thick cardboard", "thin cardboard", "coated cardboard")


@dataclass(frozen=True)
class Setting:
    """Where a pair reads some sheets best, to first order."""

    gap_mm: float
    tilt_deg: float
    low: float
    high: float
    margin: float


@dataclass(frozen=True)
class World:
    """The two pairs, and the sheets that they are asked about."""

    light: DetectorClass
    strong: DetectorClass
    sheets: dict[str, Sheet]

    @cached_property
    def class_models(self) -> dict[str, UltrasonicModel]:
        made = {c.id: principles()["ultrasonic"].class_model(c, CONDITIONS) for c in (self.light, self.strong)}
        assert all(isinstance(class_model, UltrasonicModel) for class_model in made.values())
        return made  # type: ignore[return-value]

    def best(self, class_id: str, *names: str, square: bool = False) -> Setting:
        """The setting that a search chooses for some sheets at once, square on or at any tilt."""
        class_model = self.class_models[class_id]
        signal_tables = {i: class_model.signal_table(self.sheets[name]) for i, name in enumerate(names)}
        allowed = (
            class_model.settings.tilt_deg == 0.0 if square else np.ones(len(class_model.settings.gap_mm), dtype=bool)
        )
        sharing = Sharing(signal_tables=signal_tables, receiver=class_model.receiver, step=1)
        bands, at = sharing.whole, Search(class_model=class_model, groups=(sharing,), allowed=allowed, step=1).best
        return Setting(
            gap_mm=float(class_model.settings.gap_mm[at]),
            tilt_deg=float(class_model.settings.tilt_deg[at]),
            low=float(bands.low[at]),
            high=float(bands.high[at]),
            margin=float(bands.worst[at]),
        )

    def medians(self, class_id: str, name: str, setting: Setting) -> tuple[float, float]:
        """What one sheet and two read there."""
        class_model = self.class_models[class_id]
        s = class_model.settings
        at = int(np.flatnonzero((s.gap_mm == setting.gap_mm) & (s.tilt_deg == setting.tilt_deg))[0])
        signal_table = class_model.signal_table(self.sheets[name])
        return float(signal_table.single.p50[at]), float(signal_table.double.p50[at])

    def tells_apart(self, class_id: str, name: str) -> tuple[bool, str]:
        found = self.best(class_id, name)
        return found.margin > 0.0, f"margin {found.margin:.1f} dB at {found.tilt_deg:.0f} deg"


Found = tuple[bool, str]


def gap_between_20_and_60(world: World) -> Found:
    gaps = [world.best(c, name).gap_mm for c in (LIGHT, STRONG) for name in SHEETS if world.tells_apart(c, name)[0]]
    return bool(gaps) and min(gaps) >= 20.0 and max(gaps) <= 60.0, f"chosen gaps {min(gaps):.0f} to {max(gaps):.0f} mm"


def gap_about_45(world: World) -> Found:
    gaps = [world.best(c, name).gap_mm for c in (LIGHT, STRONG) for name in SHEETS if world.tells_apart(c, name)[0]]
    middle = float(np.median(gaps))
    return 40.0 <= middle <= 50.0, f"median of the chosen gaps {middle:.0f} mm"


def tilt_of_plastic(world: World) -> Found:
    """Which tilt reads it strongest, and which the search chooses."""
    found = world.best(STRONG, "thick plastic")
    return 30.0 <= found.tilt_deg <= 40.0, f"chosen tilt {found.tilt_deg:.0f} deg, margin {found.margin:.1f} dB"


def tilt_of_some_boards(world: World) -> Found:
    served = {(c, name): world.best(c, name) for c in (LIGHT, STRONG) for name in BOARDS}
    tilts = [(name, found.tilt_deg) for (_, name), found in served.items() if found.margin > 0.0]
    told = ", ".join(f"{name} {tilt:.0f}" for name, tilt in tilts)
    return any(30.0 <= tilt <= 40.0 for _, tilt in tilts), f"chosen tilts in deg of boards that are told: {told}"


def no_tilt_for_paper(world: World) -> Found:
    found = world.best(LIGHT, "office paper")
    return found.tilt_deg == 0.0, f"chosen tilt {found.tilt_deg:.0f} deg"


def light_taken_for_two(name: str) -> Callable[[World], Found]:
    """Set for office paper and business card, one heavy sheet reads beyond the band."""

    def cell(world: World) -> Found:
        setting = world.best(LIGHT, "office paper", "business card")
        one, _ = world.medians(LIGHT, name, setting)
        return one > setting.high, f"one reads {one:.0f} dB, the band for light stock ends at {setting.high:.0f} dB"

    return cell


def strong_reads_alike(name: str) -> Callable[[World], Found]:
    """Set for heavy stock, one light sheet and two read as the same state."""

    def cell(world: World) -> Found:
        setting = world.best(STRONG, "thick plastic", "thick cardboard")
        one, two = world.medians(STRONG, name, setting)
        states = [int(np.digitize(level, [setting.low, setting.high])) for level in (one, two)]
        told = ["none", "one", "two"]
        found = f"one {one:.0f} dB reads as {told[states[0]]}, two {two:.0f} dB as {told[states[1]]}"
        return states[0] == states[1], found

    return cell


def strong_tells_cardboard_tilted(world: World) -> Found:
    tilted = world.best(STRONG, "thick cardboard")
    return tilted.margin > 0.0 and tilted.tilt_deg > 0.0, f"margin {tilted.margin:.1f} dB at {tilted.tilt_deg:.0f} deg"


def strong_barely_tells_cardboard_square(world: World) -> Found:
    square, best = world.best(STRONG, "thick cardboard", square=True), world.best(STRONG, "thick cardboard")
    found = f"margin {square.margin:.1f} dB square on, {best.margin:.1f} dB at {best.tilt_deg:.0f} deg"
    return 0.0 < square.margin < 3.0 and best.margin > square.margin + 1.0, found


def offset_is_critical(world: World) -> Found:
    """A few millimetres cost 1 dB."""
    found = alignment(world.light).offset_m_1db
    return found < 5e-3, f"{1e3 * found:.1f} mm of offset cost 1 dB"


def angle_is_critical(world: World) -> Found:
    """The order of a degree costs 1 dB."""
    found = np.degrees(alignment(world.light).angle_rad_1db)
    return found < 3.0, f"{found:.1f} degrees of one face cost 1 dB"


def alignment(c: DetectorClass):
    p = c.parameters
    return alignment_limits(
        wavenumber_per_m=2.0 * np.pi * p.frequency_hz / 343.2,
        radius_m=1e-3 * p.face_radius_mm,
        gap_m=1e-3 * p.reference_gap_mm,
    )


CELLS: dict[str, Callable[[World], Found]] = {
    "an M18 pair is set 20 to 60 mm apart": gap_between_20_and_60,
    "about 45 mm is preferred": gap_about_45,
    "thick plastics want a tilt of about 35 degrees": tilt_of_plastic,
    "some boards want a tilt of about 35 degrees": tilt_of_some_boards,
    "thin paper wants none": no_tilt_for_paper,
    "a pair for light stock tells office paper": lambda world: world.tells_apart(LIGHT, "office paper"),
    "a pair for light stock tells business card": lambda world: world.tells_apart(LIGHT, "business card"),
    "a pair for light stock takes one thick plastic for two": light_taken_for_two("thick plastic"),
    "a pair for light stock takes one thick cardboard for two": light_taken_for_two("thick cardboard"),
    "a strong pair reads one and two of office paper alike": strong_reads_alike("office paper"),
    "a strong pair reads one and two of business card alike": strong_reads_alike("business card"),
    "a strong pair tells thick plastic": lambda world: world.tells_apart(STRONG, "thick plastic"),
    "a strong pair tells cardboard when tilted": strong_tells_cardboard_tilted,
    "a strong pair tells cardboard only marginally square on": strong_barely_tells_cardboard_square,
    "offset is critical": offset_is_critical,
    "angle is critical": angle_is_critical,
}

DISAGREE = {
    "an M18 pair is set 20 to 60 mm apart": (
        "The search takes the middle of the gaps that are within 1 dB of the best. The gate of the pair for light "
        "stock keeps bounces out from 9 mm on: the middle is 19 mm for thick plastic, 29 and 57 for all others."
    ),
    "about 45 mm is preferred": (
        "For the pair for light stock the middle is 29 mm, of its 9 to 49, or 19; the strong pair is set to 57. "
        "Level and spread hardly depend on the gap in the near field, so nothing in the model prefers 45 mm."
    ),
    "thick plastics want a tilt of about 35 degrees": (
        "Tilted it reads 13 dB stronger, as is said; but this receiver hears one sheet square on 33 dB "
        "above its floor, so nothing is gained. With two it gains more than one: the contrast shrinks, and "
        "square on has the greater margin. A pair with less reserve would want the tilt."
    ),
    "some boards want a tilt of about 35 degrees": (
        "Business card does, before the pair for light stock, where its thickness is given; by its grammage alone it "
        "is not told. The other boards are told at 0 to 10 degrees."
    ),
    "a pair for light stock tells business card": (
        "By its grammage alone a card's density may be anything from 680 to 900 kg/m3, and what its thickness is with "
        "it: one sheet reads up to 51 dB and two from 49, so 1.3 dB are lacking. With the thickness given it is told "
        "at 35 degrees with a margin of 2 dB, as is said."
    ),
    "a pair for light stock takes one thick cardboard for two": (
        "Mass alone would say 67 dB. Greyboard is soft through its thickness (c33 0.027 GPa, some 200 m/s): "
        "1.5 mm are more than a wavelength, and sound passes with the impedance of the board rather than its "
        "mass: 47 dB, as business card."
    ),
    "a strong pair reads one and two of office paper alike": (
        "One overloads the receiver, as is said. Two do not: the air between them makes them 28 dB weaker "
        "than one, and at 67 dB they are well below the overload at 51."
    ),
    "a strong pair reads one and two of business card alike": ("As office paper: one overloads, two read 78 dB."),
    "a strong pair tells cardboard when tilted": (
        "Cardboard is too transparent for this receiver: one reads 45 dB square on, less when tilted, above "
        "the overload at 51. Its tilt gain is real and useless here."
    ),
    "a strong pair tells cardboard only marginally square on": ("As when tilted: one overloads."),
}
"""Cells that do not come out as said, and why: what is computed is left as it is."""


@pytest.fixture(scope="module")
def world() -> World:
    return World(light=CLASSES[LIGHT], strong=CLASSES[STRONG], sheets=SHEETS)


def test_cells_are_told_as_found(world: World) -> None:
    """The table, and no change of it without notice."""
    found = {name: cell(world) for name, cell in CELLS.items()}
    for name, (agrees, told) in found.items():
        print(f"{'agrees' if agrees else 'DISAGREES':10s} {name:58s} {told}")
    assert {name for name, (agrees, _) in found.items() if not agrees} == set(DISAGREE)
    assert all(len(why) > 20 for why in DISAGREE.values())


def test_a_card_is_told_where_its_thickness_is_given(world: World) -> None:
    """What two of the cells disagree for is the density alone, not the pair."""
    card = sheet("card-stock", grammage_gsm=300, thickness_um=380)
    known = World(light=world.light, strong=world.strong, sheets=world.sheets | {"business card": card})
    assert known.tells_apart(LIGHT, "business card")[0]
    assert tilt_of_some_boards(known)[0]


def test_cells_can_turn_out_either_way(world: World) -> None:
    """Pairs that change places, a strong pair that is not overloaded, pairs that stand wide, one of broad beam: between
    them most cells turn over, so none is true by its own wording alone."""
    light, strong = world.light, world.strong

    def other(a: DetectorClass, b: DetectorClass) -> World:
        return World(light=a, strong=b, sheets=world.sheets)

    def moved(c: DetectorClass, **parameters: float) -> DetectorClass:
        return replace(c, parameters=replace(c.parameters, **parameters))

    wide = {"gap_min_mm": 70.0, "reference_gap_mm": 80.0, "gap_max_mm": 90.0}
    worlds = (
        other(replace(strong, id=LIGHT), replace(light, id=STRONG)),
        other(light, moved(strong, overload_db=10.0, gain_range_db=48.0)),
        other(moved(light, **wide), moved(strong, **wide)),
        other(moved(light, face_radius_mm=1.5, frequency_hz=100e3), strong),
    )
    before = {name: cell(world)[0] for name, cell in CELLS.items()}
    turned = {name for w in worlds for name, cell in CELLS.items() if cell(w)[0] != before[name]}
    print(f"{len(turned)} of {len(CELLS)} cells turn over: {sorted(turned)}")
    assert len(turned) >= 6, turned


MOVED = (
    "frequency_hz",
    "face_radius_mm",
    "face_reflection",
    "gate_us",
    "bandwidth_hz",
    "overload_db",
    "noise_db",
    "bypass_db",
    "span_db",
    "gain_range_db",
    "drift_db",
)
DRAWS = 200


def moved_class(c: DetectorClass, factors: dict[str, float]) -> DetectorClass:
    """A class with its parameters multiplied."""
    values = {name: getattr(c.parameters, name) * factor for name, factor in factors.items()}
    values["face_reflection"] = min(values["face_reflection"], 0.95)
    return replace(c, parameters=replace(c.parameters, **values))


def with_loss(a_sheet: Sheet, factor: float) -> Sheet:
    """A sheet whose losses are multiplied."""
    layer = a_sheet.layers[0]
    assert layer.material
    loss = layer.material.loss_factor
    moved = Interval(low=loss.low * factor, nominal=loss.nominal * factor, high=loss.high * factor, source=loss.source)
    return replace(a_sheet, layers=(replace(layer, material=replace(layer.material, loss_factor=moved)),))


@pytest.mark.long
def test_cells_when_everything_is_a_fifth_off() -> None:
    """A Latin hypercube of 200 draws: every parameter of both pairs, and the losses of boards, moved by up to 20 %.

    Told (run with -s): in how many draws each cell comes out as it does with the tables as they are.
    """
    base = World(light=CLASSES[LIGHT], strong=CLASSES[STRONG], sheets=SHEETS)
    expected = {name: cell(base)[0] for name, cell in CELLS.items()}
    cube = qmc.LatinHypercube(d=2 * len(MOVED) + len(BOARDS), rng=np.random.default_rng(20)).random(DRAWS)
    same = dict.fromkeys(CELLS, 0)
    for row in 0.8 + 0.4 * cube:
        light, strong, boards = np.split(row, [len(MOVED), 2 * len(MOVED)])
        drawn = World(
            light=moved_class(base.light, dict(zip(MOVED, light, strict=True))),
            strong=moved_class(base.strong, dict(zip(MOVED, strong, strict=True))),
            sheets=SHEETS | {name: with_loss(SHEETS[name], f) for name, f in zip(BOARDS, boards, strict=True)},
        )
        for name, cell in CELLS.items():
            same[name] += cell(drawn)[0] == expected[name]
    for name, count in same.items():
        print(f"{count:4d} of {DRAWS} as with the tables ({'agrees' if expected[name] else 'disagrees'})  {name}")
    kept = sum(count >= 0.9 * DRAWS for count in same.values())
    agreeing = sum(count >= 0.9 * DRAWS and expected[name] for name, count in same.items())
    print(f"{kept} of {len(CELLS)} cells keep their outcome in 90 % of the draws, {agreeing} of them in agreement")
    assert sum(same.values()) < DRAWS * len(CELLS)
    assert kept >= 1
