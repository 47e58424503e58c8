"""Pictures of the guides, drawn from answers: the ladder of levels, and the smallest margin over gap and tilt."""

from __future__ import annotations

from pathlib import Path

from sheetmargin import Client, Grid, InstalledSetup, PredictionQuestion, Sheet
from sheetmargin.contract.measure import MarginMap
from sheetmargin_service.web.ladder import ladder
from sheetmargin_service.web.words import Words

DOCS = Path(__file__).parent
PAPER = Sheet(material="copy-paper", grammage_gsm=80)
PLATE = Sheet(material="pvc-rigid", thickness_um=760)
PAIR = "ultrasonic-180k-high-output"
GAPS = tuple(float(gap) for gap in range(25, 60, 5))
TILTS = tuple(float(tilt) for tilt in range(0, 60, 5))
CELL = 34
SAFE = ((6.0, "#2f7d4f", "#fff"), (3.0, "#8cc29a", "#000"), (0.0, "#f3e3b0", "#000"))
"""From this margin in dB on: the colour of a cell and of the number in it, which says the same."""
NEGATIVE = ("#c9563c", "#fff")


def drawn() -> dict[Path, str]:
    """Every picture by its file."""
    with Client.in_process(language="en") as client:
        answer = client.recommend(PAPER).to_dict()
        best = answer["recommendations"][0]
        band = best["setups"][0]["profile"]["band"]
        question = PredictionQuestion(
            sheet=PLATE,
            setup=InstalledSetup(detector_class=PAIR, gap_mm=40),
            grid=Grid(gap_mm=GAPS, tilt_deg=TILTS),
        )
        found = client.predict(question).gap_tilt
    assert found is not None
    result = best["sheets"][0]
    levels = ladder(
        signal=result["signal"], margin=result["margin"], band=[band["low"], band["high"]], words=Words("en")
    )
    return {DOCS / "ladder.svg": levels + "\n", DOCS / "margin-map.svg": margin_map(found)}


def margin_map(found: MarginMap) -> str:
    """A cell for each gap and tilt with its margin in whole dB."""
    left, top = 66, 44
    width, height = left + CELL * len(found.tilt_deg) + 8, top + CELL * len(found.gap_mm) + 8
    cells = [_text(left, 16, "tilt in degrees"), _text(4, 36, "gap, mm")]
    cells += [_text(left + CELL * (i + 0.5), 36, f"{tilt:g}", "middle") for i, tilt in enumerate(found.tilt_deg)]
    for row, (gap, margins) in enumerate(zip(found.gap_mm, found.margin, strict=True)):
        y = top + CELL * row
        cells.append(_text(left - 10, y + 22, f"{gap:g}", "end"))
        for column, margin in enumerate(margins):
            x = left + CELL * column
            fill, ink = next(((fill, ink) for least, fill, ink in SAFE if margin >= least), NEGATIVE)
            cells.append(f'<rect x="{x}" y="{y}" width="{CELL - 1}" height="{CELL - 1}" fill="{fill}"/>')
            cells.append(_text(x + CELL / 2, y + 22, f"{margin:.0f}", "middle", ink))
    title = "Smallest margin in dB over gap and tilt: rigid PVC, 0.76 mm, before an ultrasonic pair of 180 kHz"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" role="img" '
        f'font-family="sans-serif" font-size="13"><title>{title}</title>'
        f'<rect width="{width}" height="{height}" fill="#fff"/>\n' + "\n".join(cells) + "</svg>\n"
    )


def _text(x: float, y: float, text: str, anchor: str = "start", ink: str = "#000") -> str:
    return f'<text x="{x:g}" y="{y:g}" text-anchor="{anchor}" fill="{ink}">{text}</text>'
