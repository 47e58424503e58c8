"""Twelve jobs of an invented print and packaging works: what a hand calculation expects, and what the service says.

The hand calculations below were written before any of these jobs was run; `reconsidered` says where one was wrong and
why. They use what an application engineer has at hand:

    r = pi f m / Z, Z = 413 Pa s/m           one sheet, limp: 20 lg r; near its thickness resonance f0 = c/(2h),
                                             r sin(x)/x with x = pi f/f0
    two sheets with d of air, k = 2 pi f/c   20 lg(2 r |k d r g - 1|), g = 1 adiabatic, 1.4 isothermal (d under 10 um);
                                             k d r g = 1 is the mass-air-mass resonance, and where it is below 1 two
                                             sheets read as 20 lg(2 r), one of double mass
    two sheets that cling                    20 lg 2 = 6 dB more than one: they read as one thick sheet, and are
                                             passed as often as they come
    body of the trapped air                  log-normal, sigma = ln(p50/p5)/1.645; p1 = p50 (p5/p50)^1.414
    one sheet's spread                       drift of 3 dB and mass: about 4 dB either way at p1 and p99
    the line                                 a length lasts length/speed; the hold needs twice (scan + filter)

The thin numbers of the library (density, c33, trapped air) are read from its tables.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import pytest
from sheetmargin.contract.answer import Answer
from sheetmargin.contract.job import Controller, Double, Job, Line, Require
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.selection.misreads import FLOOR_PPM
from sheetmargin_service.selection.recommend import recommend

ULTRASONIC = ("ultrasonic",)
FOLDER = Line(speed_m_per_min=120, sheet_length_mm=297, sheet_spacing_mm=160)
CONTROLLER = Controller(scan_ms=10, input_filter_ms=3)


@dataclass(frozen=True, kw_only=True)
class Trade:
    """One job, and what the hand calculation expects.

    `cause`: for a job that is served, the misread nearest to its target; for one that is not, the code with which the
    class `at` is turned down. `changes`: least changes of class and of profile.
    """

    name: str
    job: Job
    verdict: str
    cause: str
    hand: str
    at: str | None = None
    changes: tuple[int, int] | None = None
    reconsidered: str = field(default="")


def sheet(material: str, **spec: object) -> SheetSpec:
    return SheetSpec(material=material, **spec)


TRADES = (
    Trade(
        name="folder, offset paper 100 g",
        job=Job(
            sheets=(sheet("offset-paper", grammage_gsm=100.0),),
            classes=("ultrasonic-400k",),
            line=FOLDER,
            controller=CONTROLLER,
        ),
        verdict="suitable",
        cause="double_as_single",
        hand="""
            r = pi 400e3 0.1/413 = 304. h = 130 um, c = sqrt(0.048e9/770) = 250 m/s, f0 = 961 kHz, x = 1.31,
            sin(x)/x = 0.74: r = 225, one sheet 47 dB, up to 51. Air 8/25/80 um, p1 5.0 um, k = 7330/m: k d r g =
            7330 5e-6 225 1.4 = 11.5, two sheets from 20 lg(450 10.5) = 73.5 dB at p1, 85 at the median. An edge at
            61 leaves 10 dB either way. The clock: (160 - 10) mm at 2 m/s = 75 ms against 26. What is left of
            misreads is the rare double with too little air.
        """,
        reconsidered="""
            The rare double with too little air took the paper for tight. It passes some 3 um/(Pa s): sigma = 2.4e9
            Pa s/m2, the air in its pores has p0/0.49, and a face of pores takes up what a film of
            p0/sqrt(2 pi 400e3 2.4e9 2.1e5) = 2.9 um does, two faces 5.7 um. So no film acts as less: k d r g = 13,
            two sheets from 75 dB. What is left of misreads is not thin air, but the doubles that cling: at 47 + 6 =
            53 dB they lie within the band. Of fibrous faces 1 to 100 in a million cling, of 1000 accepted: suitable in
            every draw.
        """,
    ),
    Trade(
        name="folder, leaflets of bible paper 40 g on an old 120 kHz pair",
        job=Job(
            sheets=(sheet("bible-paper", grammage_gsm=40.0),),
            classes=("ultrasonic-120k",),
            line=FOLDER,
            controller=CONTROLLER,
        ),
        verdict="unsuitable",
        cause="one-looks-like-two",
        at="ultrasonic-120k",
        hand="""
            r = 36.5, one sheet 31 dB. k = 2200/m: k d r g = 1 at d = 9 um (isothermal) to 12.5 um, in the middle of
            the air's 8/25/80 um: a tenth of all doubles sit on the mass-air-mass resonance and read no more than
            one sheet.
        """,
    ),
    Trade(
        name="card mailer, PVC cards 0.76 mm",
        job=Job(
            sheets=(sheet("pvc-rigid", thickness_um=760.0),),
            classes=("ultrasonic-300k",),
            line=Line(speed_m_per_min=60, sheet_length_mm=86, sheet_spacing_mm=100),
            controller=CONTROLLER,
        ),
        verdict="trial-needed",
        cause="double_as_single",
        hand="""
            m = 1056 g/m2, r = 2411; c = 2290 m/s, f0 = 1508 kHz, x = 0.62, sin(x)/x = 0.94: one sheet 67 dB, up to
            71, and less when tilted; the receiver reaches 90. Air 2/10/60 um, p1 1.0 um: k d r g = 5495 1e-6 2260
            1.4 = 17, two from 20 lg(4520 16) = 97 dB: at the floor of 92. An edge near 78 is passed by films under
            0.15 um: 4.3 sigma, some ppm. The clock: (100 - 12)/1 m/s = 88 ms against 26.
        """,
        reconsidered="""
            The levels stand. Left out were the cards that cling, by static or by a burr: two read 65 + 6 = 71 dB and
            pass. Of plastics that cling 100 to 10,000 in a million, log-normal about sqrt(100 10,000) = 1000, are
            believed: just what is accepted, so the chance is a half less what thin air adds (computed 0.48). A trial
            of this stock tells; a set-up that parts 71 from 65 dB does not exist.
        """,
    ),
    Trade(
        name="card mailer, cards stuck to each other by warm lamination",
        job=Job(
            sheets=(sheet("pvc-rigid", thickness_um=760.0, double=Double(contact="bonded")),),
            principles=ULTRASONIC,
        ),
        verdict="trial-needed",
        cause="at-the-floor",
        hand="""
            Bonded, two cards are one plate of 1.52 mm: at 180 kHz r = 1446, one 63 dB; two 20 lg(2 1446
            sin(0.75)/0.75) = 68.4 dB. 5 dB apart with 4 dB either way on each: they overlap. At 300 kHz x = 1.25,
            two 71.6 against 67; at 400 kHz 2.6 dB apart. No film, nothing to gain.
        """,
        reconsidered="""
            Written for a sheet square on, and so it is right: square on every class overlaps. Tilted it is wrong.
            The wave of a bending plate of 0.76 mm runs at some 470 m/s at 120 kHz and is met at 343/sin(45 deg) =
            485 m/s: one card reads 41 dB. A plate of 1.52 mm bends at some 600 m/s, is met at 35 degrees and stiff
            at 45: two read 68 dB. 27 dB apart, all misreads at the floor. But the tilt must be held within a degree,
            and aligning leaves more than two either way: that is a trial, since a setting keeps what aligning leaves
            from both ends of its window. At 180 kHz the same happens with three degrees from end to end, and a few
            misreads in a million above the floor: a trial too.
        """,
    ),
    Trade(
        name="card mailer, letter of 80 g and card 0.76 mm in one run, frame allows 10 degrees",
        job=Job(
            sheets=(sheet("copy-paper", grammage_gsm=80.0), sheet("pvc-rigid", thickness_um=760.0)),
            classes=("ultrasonic-300k",),
            line=Line(speed_m_per_min=60, sheet_length_mm=86, sheet_spacing_mm=100, max_tilt_deg=10),
            controller=CONTROLLER,
        ),
        verdict="trial-needed",
        cause="single_as_double",
        changes=(0, 0),
        hand="""
            Paper: r = 183, one 45 dB (41 to 49), two from 67 dB at p1 (5 um: k d r g = 7.0, 20 lg(366 6)). Card:
            one 67 dB (63 to 71). Two letters read like one card, so no band holds both; 300 kHz serves each by
            itself: two profiles on one pair.
        """,
        reconsidered="""
            A profile for each was expected; the verdict took the air for known. With films a third thinner, as
            the service allows for, 1000 per million of the letters have less than 1.9 um: k d r g = 2.7, two from
            20 lg(366 1.7) = 56 dB, at the edge of the band (22 to 56): up to 1700 per million against 1000
            accepted. A trial. That took the letters for tight, which they are not: a face of their pores, 4 um/(Pa s)
            through 103 um, takes up what a film of p0/sqrt(2 pi 300e3 2.4e9 2.1e5) = 3.3 um does, two faces 6.6 um.
            The thinnest film acts as that: k d r g = 9.2, two from 69 dB, far beyond the band. The letters are
            suitable after all.
            The cards are not, since half of their stocks cling too often (see the card mailer). Then a second profile
            does not better the list, and is not bought: one band of 16 to 71 dB, its upper edge between the cards,
            up to 71, and two letters, from 71. 0.1 dB of margin is left: a card of a heavy lot, read while drift
            adds to it, is taken for two. Computed: a chance of 0.42, where that of the cards by themselves is about
            a half: no change of what is advised.
        """,
    ),
    Trade(
        name="thermoformer, polystyrene 1 mm",
        job=Job(
            sheets=(sheet("ps", thickness_um=1000.0),),
            classes=("ultrasonic-180k-high-output",),
            line=Line(speed_m_per_min=20, sheet_length_mm=1200, sheet_spacing_mm=300),
            controller=CONTROLLER,
        ),
        verdict="trial-needed",
        cause="double_as_single",
        hand="""
            m = 1050 g/m2, r = 1437, one sheet 63 dB square on (c = 2263 m/s, f0 = 1130 kHz: 0.4 dB less), above the
            overload of 51 and far below the floor of 96. Air 4/20/100 um, p1 2.05 um: k d r g = 3297 2.05e-6 1437
            1.4 = 13.6, two from 20 lg(2874 12.6) = 91 dB. Two that cling weigh twice as much, 69 dB, and are up to 1 %
            of doubles, ten times the target: the edge has to stay below them, at 67, 4 dB above one sheet, with a
            drift of 3 dB: 2.6 sigma.
        """,
        reconsidered="""
            As of the cards: two that cling read 63 + 6 = 69 dB and pass an edge at 73 or above, and 100 to 10,000 in a
            million cling, in the middle the 1000 accepted. A chance of a half less what thin air adds (computed 0.41):
            of the two misreads, which are near to each other, that of doubles decides.
        """,
    ),
    Trade(
        name="thermoformer, lidding film of polyester 12 um",
        job=Job(sheets=(sheet("pet", thickness_um=12.0),), principles=ULTRASONIC),
        verdict="unsuitable",
        cause="one-looks-like-two",
        at="ultrasonic-300k",
        hand="""
            m = 16.7 g/m2. Air 2/6/30 um. k d r g = 1 at 9.5 um (180 kHz), 3.4 um (300 kHz), 1.9 um (400 kHz) and
            1.2 um (500 kHz): the resonance lies within or at the edge of the air's body for every class; at 500 kHz
            (r = 64, one 36 dB) 2 um reads 20 lg(128 0.64) = 38 dB, and that is p5.
        """,
    ),
    Trade(
        name="press, coated paper 135 g in a shingled stream two deep",
        job=Job(
            sheets=(sheet("coated-paper", grammage_gsm=135.0),),
            principles=ULTRASONIC,
            line=Line(speed_m_per_min=60, sheet_length_mm=720, shingle_pitch_mm=360, feeding="shingled"),
            controller=CONTROLLER,
        ),
        verdict="unsuitable",
        cause="stream-one-looks-like-two",
        at="ultrasonic-180k",
        hand="""
            720/360: two plies everywhere, to be told from three. Each film, 3/12/50 um, spreads by sigma = 0.85 in
            its logarithm, 7.4 dB. At 180 kHz one ply is 45 dB, each further one adds 45 + 20 lg(2 k d) = 23 dB: two
            68 +- 17, three 91 +- 24 at p1 to p99. They overlap. At 400 kHz the steps are 37 dB, but three are
            beyond the noise of 92 and two reach it.
        """,
    ),
    Trade(
        name="press, coated paper 150 g, 20 mm between sheets at 300 m/min",
        job=Job(
            sheets=(sheet("coated-paper", grammage_gsm=150.0),),
            classes=("ultrasonic-400k",),
            line=Line(speed_m_per_min=300, sheet_length_mm=300, sheet_spacing_mm=20),
            controller=CONTROLLER,
        ),
        verdict="unsuitable",
        cause="line-too-fast",
        at="ultrasonic-400k",
        hand="""
            The levels are easy (r = 457, one 52 dB; two from 62 at p1, 80 at the median). The clock is not: 20 mm
            less a spot of about 8 mm at 5 m/s last 2.4 ms, and the controller needs 2 (10 + 3) = 26 ms to see the
            output come and go: at most 60 12/26 = 28 m/min.
        """,
        reconsidered="""
            The numbers stand: 24 m/min. The code is that of a rejection; its text names the 26 ms.
        """,
    ),
    Trade(
        name="label, sheets of paper label stock",
        job=Job(
            sheets=(SheetSpec(construction="label-paper"),),
            classes=("ultrasonic-400k",),
            line=FOLDER,
            controller=CONTROLLER,
        ),
        verdict="suitable",
        cause="double_as_single",
        hand="""
            160 g/m2, r = 487, one 53.7 dB limp. Air of the faces about 3/12/50 um, p1 1.7 um: k d r g = 8.5, two
            from 20 lg(974 7.5) = 77 dB at p1. An edge at 62 is passed by films under 0.46 um: 3.9 sigma, 50 ppm of
            the 1000 accepted.
        """,
        reconsidered="""
            The calculation asked for one distribution of the air and one even film. Air that is a third thinner, as
            it may well be, brings the films under 0.46 um to 3.3 sigma and 450 ppm, and the spread of two sheets of
            4 dB lets some of 0.7 um pass as well; a film that varies by a fifth within the spot reads as one 4 per
            cent thinner, 0.3 dB. Computed, with air and clinging drawn together: 420 ppm in the median of the
            draws, 76 to 2130 in 90 % of them, and a chance of 0.80 to stay below the 1000: a trial.
        """,
    ),
    Trade(
        name="carton, E flute corrugated",
        job=Job(sheets=(SheetSpec(construction="corrugated-e"),), principles=ULTRASONIC),
        verdict="trial-needed",
        cause="only-a-trial-can-tell",
        hand="""
            Two liners of 125 g and a fluting of about 140 g, with cells of 0.6 mm on either side. At 75 kHz each is
            37 dB and each cell adds 20 lg(2 sin(k d)) = 3 dB: 117 dB, beyond a bypass of 108 dB; at 180 kHz 3 x 45
            = 135 dB. Nothing is heard through one board.
        """,
        reconsidered="""
            The way through the cells is as weak as written. The hand calculation left out the other one: the flutes
            are struts of a third of a wavelength, glued to both liners, and carry sound past the cells, so that the
            board moves with its mass of 384 g/m2: 20 lg r = 58.9 dB at 300 kHz against 57 computed. How well they
            carry is known to a factor of ten, so that only a trial can tell.
        """,
    ),
    Trade(
        name="carton, board 250 g and aluminium foil 7 um in one run, without contact",
        job=Job(
            sheets=(sheet("coated-board", grammage_gsm=250.0), sheet("aluminium-foil", thickness_um=7.0)),
            require=Require(contactless=True),
        ),
        verdict="suitable",
        cause="double_as_single",
        changes=(1, 0),
        hand="""
            Foil: 18.9 g/m2, air 3/15/90 um, p1 1.5 um. At 500 kHz r = 72, k d r g = 1.4 at p1: two read 36 dB, one
            37: 2 or 3 per cent of doubles pass. So ultrasound does not serve the foil. Coils of 100 kHz do: w mu
            sigma t/(2k) = 0.95 at k = 100/m, one foil 3 to 5 dB, two nearly twice that. They do not see the board,
            which sound serves, some doubles in a million read as one. Two pairs.
        """,
        reconsidered="""
            Two pairs, as expected. The alloys of foil, of the 1000 and 8000 series, move its resistivity by a sixth
            (2.65 to 3.4e-8 ohm m); those of all sheet double it, and had made it a trial. Most of what moves one foil,
            3.4 to 5.4 dB at p1 and p99, is its alloy and its lot, the same for a whole job: whichever they are,
            little is left to cross an edge at 1 or 6 dB from sheet to sheet, and misreads are at the floor.
        """,
    ),
)


@pytest.fixture(scope="module")
def answers() -> dict[str, Answer]:
    catalogue, library = reference_catalogue(), load_library()
    return {trade.name: recommend(trade.job, catalogue=catalogue, library=library) for trade in TRADES}


@pytest.mark.parametrize("trade", TRADES, ids=lambda trade: trade.name)
def test_verdict_is_the_one_of_the_hand_calculation(trade: Trade, answers: dict[str, Answer]) -> None:
    assert answers[trade.name].verdict == trade.verdict


@pytest.mark.parametrize("trade", TRADES, ids=lambda trade: trade.name)
def test_cause_is_the_one_of_the_hand_calculation(trade: Trade, answers: dict[str, Answer]) -> None:
    assert cause_of(answers[trade.name], trade.at) == trade.cause


@pytest.mark.parametrize("trade", [t for t in TRADES if t.changes], ids=lambda trade: trade.name)
def test_change_overs_are_the_ones_of_the_hand_calculation(trade: Trade, answers: dict[str, Answer]) -> None:
    best = answers[trade.name].recommendations[0]
    assert not best.not_served
    assert (best.changeovers.detector_class, best.changeovers.profile) == trade.changes


def cause_of(answer: Answer, class_id: str | None) -> str:
    """What limits an answer, as `Trade.cause` has it."""
    if class_id is not None or not answer.recommendations:
        codes = {r.detector_class: r.code for r in (*answer.ruled_out, *answer.alternatives)}
        return codes[class_id] if class_id is not None else ", ".join(sorted(set(codes.values())))
    best = answer.recommendations[0]
    told = {note.code: note.values for note in best.reasons}
    if "only-a-trial-can-tell" in told:
        return "only-a-trial-can-tell"
    deciding = told["deciding-misread"]
    return str(deciding["pair"]) if float(str(deciding["high_ppm"])) > FLOOR_PPM else "at-the-floor"


def test_the_table_has_what_it_should() -> None:
    assert len(TRADES) == 12
    assert sum(trade.verdict == "unsuitable" for trade in TRADES) >= 4
    assert sum(trade.changes is not None for trade in TRADES) >= 2
