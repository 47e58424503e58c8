"""COMMON PRACTICE, NO SOURCE: twenty jobs, what an experienced engineer advises, and what the service answers.

Judgement, not data: nothing is tuned until a row comes out. A row whose first principle or verdict differs is told as
found, with its kind and number (run with -s): `physics` that the model lacks, `data` that nobody has published, a
`rule` of the decision, or a `habit` of the trade. What must not be is an answer that is plainly wrong: one that says
`suitable` where the detector cannot be there at all, or takes something else for a double than would come.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Literal

import pytest
from flask.testing import FlaskClient
from support.asking import Asking, Json
from support.rules import CLASSES, an_answer_agrees_with_itself, setups, what_is_suitable_passes_every_check

Check = Callable[[Json], Iterator[str]]
Kind = Literal["physics", "data", "rule", "habit"]
SUITABLE, TRIAL, NONE = "suitable", "trial-needed", "unsuitable"
ULTRASONIC, THICKNESS, CAPACITIVE, OPTICAL = "ultrasonic", "thickness", "capacitive", "optical"
EDDY, ONE_SIDED = "eddy-current", "eddy-current-one-sided"


@dataclass(frozen=True, kw_only=True)
class Practice:
    """A job as the contract has it today, and what is advised, in words, by principle and by verdict. `forbidden` tells
    what of an answer that says `suitable` is plainly wrong, beside what no answer may do. `difference`: its kind and
    its reason, where the first recommendation is another."""

    name: str
    advice: str
    principles: tuple[str, ...]
    verdicts: tuple[str, ...]
    job: Json
    forbidden: Check | None = None
    difference: tuple[Kind, str] | None = None

    def agrees(self, answer: Json) -> bool:
        """Whether the first recommendation, or that there is none, is as advised."""
        first = next(iter(answer["recommendations"]), None)
        principle = first["setups"][0]["detector_class"]["principle"] if first else "none"
        return principle in self.principles and answer["verdict"] in self.verdicts


def doubles_of(plies: int) -> Check:
    """A double is another piece: so many plies, twice those of one, which are not counted one by one."""

    def check(answer: Json) -> Iterator[str]:
        for recommendation in answer["recommendations"]:
            for result in recommendation["sheets"]:
                signal = result["signal"]
                if signal["one_ply_missing"] is not None:
                    yield f"plies are counted, where a double has {plies}"
                # What adds up by plies reads about twice as much.
                if signal["unit"] in ("um", "fF") and signal["double"]["p50"] < 1.6 * signal["single"]["p50"]:
                    yield f"a double reads {signal['double']['p50']} {signal['unit']}, less than {plies} plies"

    return check


def never(*class_ids: str, why: str) -> Check:
    """Classes that cannot be there."""

    def check(answer: Json) -> Iterator[str]:
        for _, setup in setups(answer):
            if setup["detector_class"]["id"] in class_ids:
                yield f"{setup['detector_class']['id']}: {why}"

    return check


def below_free_mm(most: float) -> Check:
    """Nothing higher than this stands below the sheet."""
    one_sided = {c.id for c in CLASSES.values() if c.principle == "eddy-current-one-sided"}
    assert most < min(c.housing.depth_mm for c in CLASSES.values())
    return never(*(set(CLASSES) - one_sided), why=f"{most} mm of room below")


def counted(fewest: int, most: int) -> Check:
    """What is correct in a stream is so many sheets on one another."""

    def check(answer: Json) -> Iterator[str]:
        for _, setup in setups(answer):
            timing = setup["timing"] or {}
            if (timing.get("plies_fewest"), timing.get("plies_most")) != (fewest, most):
                yield f"not told of {fewest} and {most} sheets"

    return check


def sheet(material: str, **fields: Any) -> Json:
    return {"material": material, **fields}


PRESS = {"speed_m_per_min": 180, "sheet_length_mm": 700, "sheet_spacing_mm": 200}
PRACTICE = (
    Practice(
        name="newsprint 45 g/m2, 300 m/min, flutter 3 mm",
        advice="ultrasound 180 to 500 kHz, suitable, square",
        principles=(ULTRASONIC,),
        verdicts=(SUITABLE,),
        job={
            "sheets": [sheet("newsprint", grammage_gsm=45)],
            "line": {"speed_m_per_min": 300, "flutter_mm": 3},
        },
    ),
    Practice(
        name="gloss art 350 g/m2, sheet-fed press",
        advice="ultrasound 180 to 300 kHz, suitable",
        principles=(ULTRASONIC,),
        verdicts=(SUITABLE,),
        job={"sheets": [sheet("coated-paper", grammage_gsm=350)], "line": PRESS},
    ),
    Practice(
        name="carbonless set, 3 loose plies of 55 g/m2",
        advice="ultrasound low or thickness, trial",
        principles=(ULTRASONIC, THICKNESS),
        verdicts=(TRIAL,),
        job={"sheets": [sheet("carbonless-paper", grammage_gsm=55, plies=3)]},
        forbidden=doubles_of(6),
        difference=(
            "habit",
            "electrodes 0.98; six plies read 129 dB, below the bypass of the strong pair, so that it has 0.82",
        ),
    ),
    Practice(
        name="coated board 300 g/m2, die cutter",
        advice="ultrasound 180 to 300 kHz, suitable, 0 to 30 degrees",
        principles=(ULTRASONIC,),
        verdicts=(SUITABLE,),
        job={"sheets": [sheet("coated-board", grammage_gsm=300)], "line": PRESS},
        difference=("data", "ultrasound 0.89: where the film lies and the stiffness of the grade; electrodes pass"),
    ),
    Practice(
        name="envelope of two plies, 90 g/m2, 3 m/s",
        advice="thickness or low ultrasound, trial",
        principles=(ULTRASONIC, THICKNESS),
        verdicts=(TRIAL,),
        job={
            "sheets": [sheet("envelope-paper", grammage_gsm=90, plies=2)],
            "line": {"speed_m_per_min": 180, "sheet_length_mm": 229, "sheet_spacing_mm": 100},
        },
        forbidden=doubles_of(4),
    ),
    Practice(
        name="PET 12 um",
        advice="trial at best: capacitive or high ultrasound",
        principles=(CAPACITIVE, ULTRASONIC, "none"),
        verdicts=(TRIAL, NONE),
        job={"sheets": [sheet("pet", thickness_um=12)]},
    ),
    Practice(
        name="BOPP 20 um",
        advice="trial: capacitive or high ultrasound",
        principles=(CAPACITIVE, ULTRASONIC),
        verdicts=(TRIAL,),
        job={"sheets": [sheet("bopp", thickness_um=20)]},
    ),
    Practice(
        name="aluminium plate 0.28 mm",
        advice="eddy current 10 kHz, suitable",
        principles=(EDDY,),
        verdicts=(SUITABLE,),
        job={"sheets": [sheet("aluminium", thickness_um=280)]},
    ),
    Practice(
        name="steel 0.8 mm, oily, destacker",
        advice="eddy current 1 kHz two-sided, or one-sided",
        principles=(EDDY, ONE_SIDED),
        verdicts=(SUITABLE,),
        job={"sheets": [sheet("steel", thickness_um=800, surface={"oiled": True})]},
    ),
    Practice(
        name="steel 0.8 mm, 1 mm of room below",
        advice="one-sided eddy current",
        principles=(ONE_SIDED,),
        verdicts=(SUITABLE, TRIAL),
        job={"sheets": [sheet("steel", thickness_um=800)], "line": {"clearance_below_mm": 1}},
        forbidden=below_free_mm(1),
    ),
    Practice(
        name="veneer 0.6 mm, curled",
        advice="ultrasound 120 to 300 kHz, trial",
        principles=(ULTRASONIC,),
        verdicts=(TRIAL,),
        job={"sheets": [sheet("veneer", thickness_um=600)], "line": {"flutter_mm": 5, "flutter_deg": 5}},
    ),
    Practice(
        name="MDF 3 mm",
        advice="thickness, or strong ultrasound, trial",
        principles=(THICKNESS, ULTRASONIC),
        verdicts=(TRIAL,),
        job={"sheets": [sheet("mdf", thickness_um=3000)]},
        difference=(
            "habit",
            "3 mm double: 0.95 by electrodes, above 0.99 by roller or laser; ultrasound 0.94 at 500 kHz",
        ),
    ),
    Practice(
        name="leather 1.2 mm",
        advice="ultrasound low or thickness, trial",
        principles=(ULTRASONIC, THICKNESS),
        verdicts=(TRIAL,),
        job={"sheets": [sheet("leather", thickness_um=1200)]},
    ),
    Practice(
        name="abrasive paper 300 g/m2",
        advice="ultrasound, suitable; never a roller",
        principles=(ULTRASONIC,),
        verdicts=(SUITABLE,),
        job={"sheets": [sheet("abrasive-paper", grammage_gsm=300)]},
        forbidden=never("thickness-roller", why="grit eats rollers"),
    ),
    Practice(
        name="press list 60, 80, 100, 150, 250, 300 g/m2",
        advice="one ultrasonic set-up, one band",
        principles=(ULTRASONIC,),
        verdicts=(SUITABLE,),
        job={
            "sheets": [sheet("coated-paper", grammage_gsm=gsm) for gsm in (60, 80, 100, 150, 250, 300)],
            "line": PRESS,
        },
        difference=(
            "data",
            "two of 60 g/m2 on 2 um of air read 59 dB, as one of 300 g/m2 may: ultrasound takes two bands, 0.71",
        ),
    ),
    Practice(
        name="copy paper, 20 mm free above and below",
        advice='short heads or another place; not "suitable" with heads of 135 mm',
        principles=(ULTRASONIC,),
        verdicts=(TRIAL,),
        job={
            "sheets": [sheet("copy-paper", grammage_gsm=80)],
            "line": {"clearance_above_mm": 20, "clearance_below_mm": 20},
        },
        forbidden=never(*(c.id for c in CLASSES.values() if c.housing.depth_mm > 20), why="20 mm on either side"),
        difference=("habit", "flat heads of 10 mm leave 20 mm between the faces, and their gate asks for 7 mm alone"),
    ),
    Practice(
        name="board 250 g/m2, pressure wash-down",
        advice="says that no class in the catalogue is rated for it",
        principles=("none", ULTRASONIC),
        verdicts=(NONE, TRIAL),
        job={"sheets": [sheet("coated-board", grammage_gsm=250)], "line": {"wash_down": True}},
        forbidden=never(*(c.id for c in CLASSES.values() if "69K" not in c.ingress), why="not rated for wash-down"),
    ),
    Practice(
        name="folding boxboard 350 g/m2, shingled, pitch 200 mm",
        advice="n against n + 1, taught, or before the shingle",
        principles=(ULTRASONIC, THICKNESS, CAPACITIVE),
        verdicts=(TRIAL,),
        job={
            "sheets": [sheet("folding-boxboard", grammage_gsm=350)],
            "line": {"feeding": "shingled", "sheet_length_mm": 700, "shingle_pitch_mm": 200},
        },
        forbidden=counted(3, 4),
    ),
    Practice(
        name="chipboard 400 g/m2, cold store -25 to 5 degrees C",
        advice="heads rated for it, or trial with a warning of condensation",
        principles=(ULTRASONIC,),
        verdicts=(TRIAL,),
        job={
            "sheets": [sheet("white-lined-chipboard", grammage_gsm=400)],
            "environment": {"temperature_min_c": -25, "temperature_max_c": 5},
        },
        forbidden=never(*(c.id for c in CLASSES.values() if c.temperature_min_c > -25), why="not rated for -25"),
    ),
    Practice(
        name="tissue 18 g/m2",
        advice="none, or optical on trial",
        principles=(OPTICAL, "none"),
        verdicts=(TRIAL, NONE),
        job={"sheets": [sheet("tissue", grammage_gsm=18)]},
        difference=("data", "electrodes 0.32: of 82 um the thickness is a guess, and pores as such do not count"),
    ),
)


@pytest.fixture(scope="module")
def asking(real_api: FlaskClient) -> Asking:
    return Asking(api=real_api)


def told(answer: Json) -> str:
    """Rank 1's class, verdict, chance and place, and which step put the next ones behind it; or what stood against the
    first classes, and what would serve."""
    if not answer["recommendations"]:
        against = {rejection["code"] for rejection in [*answer["ruled_out"], *answer["alternatives"]]}
        would = "; ".join(one["text"] for one in answer["would_serve"])
        return f"{answer['verdict']}: {', '.join(sorted(against))}. {would}"
    first, *others = answer["recommendations"]
    setup = first["setups"][0]
    geometry, band = setup["geometry"], setup["profile"]["band"]
    tilt = f", {geometry['tilt_deg']['nominal']:g} deg" if geometry["tilt_deg"] else ""
    more = f" and {len(first['setups']) - 1} set-ups more" if len(first["setups"]) > 1 else ""
    steps = [
        f"{one['setups'][0]['detector_class']['id']} {one['chance']:g} by "
        + next(r["code"] for r in one["reasons"] if r["code"].startswith("behind-by-")).removeprefix("behind-by-")
        for one in others[:4]
    ]
    limited = f" ({first['limited_by']})" if first["limited_by"] else ""
    return (
        f"{answer['verdict']}{limited}, {first['chance']:g}: {setup['detector_class']['id']}, "
        f"{geometry['gap_mm']['nominal']:g} mm{tilt}, band {band['low']} to {band['high']} {band['unit']}{more}"
        f"\n    behind: {', '.join(steps)}"
    )


def test_no_answer_is_plainly_wrong(asking: Asking) -> None:
    """The table, and nothing in it that cannot be; what differs is classified, and nothing else is."""
    wrong = []
    for practice in PRACTICE:
        job = practice.job | {"limit": 20}
        answer = asking.recommend(job)
        assert answer is not None, practice.name
        print(f"{practice.name}\n    advice: {practice.advice}\n    answer: {told(answer)}")
        if practice.difference is not None:
            print(f"    differs, {practice.difference[0]}: {practice.difference[1]}")
        if practice.agrees(answer) != (practice.difference is None):
            wrong.append(f"{practice.name}: told as {practice.difference or 'agreeing'}, and is not")
        broken = [*an_answer_agrees_with_itself(asking, job, answer)]
        broken += what_is_suitable_passes_every_check(asking, job, answer)
        if answer["verdict"] == "suitable" and practice.forbidden is not None:
            broken += practice.forbidden(suitable_alone(answer))
        wrong += [f"{practice.name}: {what}" for what in broken]
    assert len(PRACTICE) == 20
    assert not wrong, wrong


def suitable_alone(answer: Json) -> Json:
    """The recommendations that say `suitable`."""
    kept = [one for one in answer["recommendations"] if one["verdict"] == "suitable"]
    return answer | {"recommendations": kept}
