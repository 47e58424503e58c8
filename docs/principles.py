"""What stands in docs/principles.md: which principle senses which sheet, computed for every principle."""

from __future__ import annotations

from collections.abc import Sequence

from sheetmargin.contract.answer import Answer, Recommendation
from sheetmargin.contract.job import Corrugated, Job, Layer, Wall
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin.contract.notes import RuledOut
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.messages.names import Reader
from sheetmargin_service.messages.quantities import written
from sheetmargin_service.messages.say import say
from sheetmargin_service.principles import principles
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.selection.recommend import recommend

SHEETS: dict[str, SheetSpec] = {
    "newsprint, 45 g/m²": SheetSpec(material="newsprint", grammage_gsm=45),
    "copy paper, 80 g/m²": SheetSpec(material="copy-paper", grammage_gsm=80),
    "tissue, 18 g/m²": SheetSpec(material="tissue", grammage_gsm=18),
    "coated board, 300 g/m²": SheetSpec(material="coated-board", grammage_gsm=300),
    "greyboard, 2 mm": SheetSpec(material="greyboard", thickness_um=2000),
    "mirror-coated board (300 g/m², 9 µm of aluminium)": SheetSpec(
        layers=(
            Layer(material="coated-board", grammage_gsm=300),
            Layer(material="adhesive-pu", thickness_um=3),
            Layer(material="aluminium-foil", thickness_um=9),
        )
    ),
    "corrugated board, B flute": SheetSpec(
        corrugated=Corrugated(liners_gsm=(125.0, 125.0), walls=(Wall(flute="B", medium_gsm=112.0),))
    ),
    "PET film, 12 µm": SheetSpec(material="pet", thickness_um=12),
    "transparent PE-LD film, 50 µm": SheetSpec(material="pe-ld", thickness_um=50),
    "white BOPP film, 40 µm": SheetSpec(material="bopp-white", thickness_um=40),
    "rigid PVC, 0.76 mm": SheetSpec(material="pvc-rigid", thickness_um=760),
    "aluminium foil, 15 µm": SheetSpec(material="aluminium-foil", thickness_um=15),
    "aluminium, 1 mm": SheetSpec(material="aluminium", thickness_um=1000),
    "copper, 0.6 mm": SheetSpec(material="copper", thickness_um=600),
    "steel, 0.2 mm": SheetSpec(material="steel", thickness_um=200),
    "steel, 1 mm": SheetSpec(material="steel", thickness_um=1000),
    "steel, 4 mm": SheetSpec(material="steel", thickness_um=4000),
    "stainless steel, 1 mm": SheetSpec(material="stainless-steel", thickness_um=1000),
    "silicon wafer, 0.3 mm": SheetSpec(material="silicon", thickness_um=300),
    "glass, 1 mm": SheetSpec(material="glass", thickness_um=1000),
    "cotton fabric, 150 g/m²": SheetSpec(material="cotton-fabric", grammage_gsm=150),
    "nonwoven, 40 g/m²": SheetSpec(material="nonwoven", grammage_gsm=40),
    "rubber, 1 mm": SheetSpec(material="rubber", thickness_um=1000),
    "veneer, 0.6 mm": SheetSpec(material="veneer", thickness_um=600),
}

HEAD = """<!-- Written by .ci/generate.py; do not edit. -->
# Which principle senses which sheet

For application engineers who want to see at a glance what is usual for a material. In short: sound for paper, board,
film and most that is not metal; eddy currents for metal; capacitance for thin films and papers in small gaps; a
roller or lasers where nothing else does. Next: [ranking](ranking.md), why one stands before another.

Every row is a job of one sheet with everything else left at its default, asked of all reference classes. The classes
are illustrative; the figures are computed from typical data, not measured. A trial with your own sheets decides.

`suitable` meets the default targets with a chance of 95 % or more over what is not known, `trial-needed` may meet them,
and a class that cannot is told with its reason. Classes are ranked by verdict and chance; then come those that do not
touch the sheet, leave it room, and do not depend on print or moisture; then the margin.
"""

WORDS = """
## What each principle rests on

- **Ultrasonic**: sound through the sheet. Two sheets hold air between them, which weakens the sound far more than mass
  does, unless the sheets are so light and lie so close that they swing as one. Uncoated paper and board hardly ever do:
  the air between them flows into their pores, which holds the film at a few micrometres however close they lie. Their
  air permeance may be given, by Gurley, Bendtsen or Sheffield too; coated ones are taken as tight. Sound through the
  pores of a textile ends it.
- **Eddy current**: field between two coils. Depends on conductance and frequency, not on where the sheet runs. Low
  frequencies for steel and thick metal, high ones for foils; stainless steel is invisible to low ones.
- **Eddy current, one-sided**: both coils on one side, the sheet pressed to them. A second sheet behind about a skin
  depth of the first is hidden.
- **Capacitive**: permittivity between two electrodes. The sheet's height in the gap does not matter to first order;
  moisture does. What conducts is refused.
- **Optical**: diffuse infrared light through the sheet. Print moves it. Clear film passes too much, heavy board too
  little.
- **Caliper**: thickness between a roller and its bed (which may mark the sheet) or between two laser spots (which need
  a surface that scatters).
"""

IN_FULL = (
    "steel, 1 mm",
    "PET film, 12 µm",
    "transparent PE-LD film, 50 µm",
    "cotton fabric, 150 g/m²",
    "corrugated board, B flute",
    "mirror-coated board (300 g/m², 9 µm of aluminium)",
    "silicon wafer, 0.3 mm",
)
"""Sheets whose outcome is told in words, principle by principle."""
GENERAL = ("limiting-margin", "deciding-misread", "mean-misses-target", "most-sensitive", "beam")
"""Reasons that every recommendation has and that tell nothing of the sheet."""


def ask(spec: SheetSpec) -> Answer:
    """The answer over every class, none left out."""
    catalogue = reference_catalogue()
    job = Job(sheets=(spec,), limit=len(catalogue.classes))
    return recommend(job, catalogue=catalogue, library=load_library())


def best_by_principle(answer: Answer) -> dict[str, Recommendation]:
    """The best recommendation of each principle that has one."""
    best: dict[str, Recommendation] = {}
    for recommendation in answer.recommendations:
        best.setdefault(recommendation.setups[0].detector_class.principle, recommendation)
    return best


def refusal(answer: Answer, principle: str) -> RuledOut:
    """Why a principle has no recommendation: the reason most of its classes share."""
    ids = {c.id for c in reference_catalogue().classes if c.principle == principle}
    ruled_out = [r for r in answer.ruled_out if r.detector_class in ids]
    codes = [r.code for r in ruled_out]
    return max(ruled_out, key=lambda r: (codes.count(r.code), r.detector_class))


def cell(answer: Answer, principle: str) -> str:
    """The outcome of one principle for one sheet."""
    found = best_by_principle(answer).get(principle)
    if found is None:
        return refusal(answer, principle).code
    result, setup = found.sheets[0], found.setups[0]
    margin = min(result.margin.no_sheet, result.margin.single, result.margin.double)
    return f"**{found.verdict}** {setup.detector_class.id}, {written('margin', margin, 'en', unit=result.signal.unit)}"


def reasons(recommendation: Recommendation, *, most: int) -> str:
    """The physics behind a recommendation, in words."""
    told = [
        say(n.code, n.values, reader=Reader(language="en"))
        for n in recommendation.reasons
        if n.code not in GENERAL and not n.code.startswith("behind-by-")
    ]
    return " ".join(told[:most])


def why(answer: Answer) -> str:
    """Why the first recommendation leads, or what stands in the way of the best known principle."""
    if answer.recommendations:
        return reasons(answer.recommendations[0], most=1)
    nearest = refusal(answer, "ultrasonic")
    return say(nearest.code, nearest.values, reader=Reader(language="en"))


def in_full(name: str, answer: Answer) -> str:
    """What every principle makes of one sheet, in words."""
    best = best_by_principle(answer)
    lines = [f"### {name}", ""]
    for principle in principles():
        if principle in best:
            told = f"{cell(answer, principle)}. {reasons(best[principle], most=2)}"
        else:
            refused = refusal(answer, principle)
            told = f"{refused.detector_class}: {say(refused.code, refused.values, reader=Reader(language='en'))}"
        lines.append(f"- {principle}: {told}")
    return "\n".join(lines)


def table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    return "\n".join("| " + " | ".join(row) + " |" for row in (head, ["---"] * len(head), *rows))


def document() -> str:
    """The whole page."""
    ids = list(principles())
    answers = {name: ask(spec) for name, spec in SHEETS.items()}
    winners = []
    for name, answer in answers.items():
        first = answer.recommendations[0] if answer.recommendations else None
        chosen = f"{first.setups[0].detector_class.id} ({first.verdict})" if first else "none"
        winners.append((name, chosen, why(answer)))
    outcomes = [(name, *(cell(answer, principle) for principle in ids)) for name, answer in answers.items()]
    parts = [
        HEAD,
        "## The winning class and why\n",
        table(("sheet", "winning class", "why"), winners),
        "\n## Every principle\n",
        "The best class of each with its least margin, or the code of what stands in the way.\n",
        table(("sheet", *ids), outcomes),
        "\n## Some sheets in full\n",
        "\n\n".join(in_full(name, answers[name]) for name in IN_FULL),
        WORDS,
    ]
    return "\n".join(parts)
