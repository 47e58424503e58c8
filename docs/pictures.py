"""Pictures of the guides, drawn from answers: the ladder of levels, and the smallest margin over gap and tilt."""

from __future__ import annotations

from pathlib import Path

from sheetmargin import Client, Grid, InstalledBand, InstalledProfile, InstalledSetup, PredictionQuestion, Sheet
from sheetmargin.contract.answer import Recommendation
from sheetmargin.contract.measure import MarginMap

DOCS = Path(__file__).parent
PAPER = Sheet(material="copy-paper", grammage_gsm=80)
GAPS = tuple(float(gap) for gap in range(15, 50, 5))
TILTS = tuple(float(tilt) for tilt in range(0, 60, 5))
CELL = 34
SAFE = ((6.0, "#2f7d4f", "#fff"), (3.0, "#8cc29a", "#000"), (0.0, "#f3e3b0", "#000"))
"""From this margin in dB on: the colour of a cell and of the number in it, which says the same."""
NEGATIVE = ("#c9563c", "#fff")


def drawn() -> dict[Path, str]:
    """Every picture by its file."""
    with Client.in_process(language="en") as client:
        best = client.recommend(PAPER).best
        assert best is not None
        setup = best.setups[0]
        band = InstalledBand(low=setup.profile.band.low, high=setup.profile.band.high)
        installed = InstalledSetup(
            detector_class=setup.detector_class.id,
            gap_mm=setup.geometry.gap_mm.nominal,
            profile=InstalledProfile(band=band),
        )
        question = PredictionQuestion(sheet=PAPER, setup=installed, grid=Grid(gap_mm=GAPS, tilt_deg=TILTS))
        found = client.predict(question).gap_tilt
    assert found is not None
    return {DOCS / "ladder.svg": ladder(best), DOCS / "margin-map.svg": margin_map(found)}


def ladder(best: Recommendation) -> str:
    """A bar a state from p1 to p99 with its median, over the band of a single sheet and its thresholds."""
    result, band = best.sheets[0], best.setups[0].profile.band
    signal = result.signal
    bars = (("No sheet", signal.no_sheet), ("Single sheet", signal.single), ("Double sheet", signal.double))
    low, high = min(bar.p1 for _, bar in bars) - 3.0, max(bar.p99 for _, bar in bars) + 3.0

    def x(level: float) -> float:
        return round(100.0 + 440.0 * (level - low) / (high - low), 1)

    parts = [f'<rect x="{x(band.low)}" y="30" width="{x(band.high) - x(band.low):.1f}" height="112" fill="#f3e3b0"/>']
    for edge in (band.low, band.high):
        parts.append(f'<path d="M{x(edge)} 30V142" stroke="#16283a" stroke-width="2"/>')
        parts.append(_text(x(edge), 160, f"{edge} dB", "middle"))
    middle = (x(band.low) + x(band.high)) / 2
    parts += [_text(middle, 20, "band: counts as a single sheet", "middle"), _text(100, 178, "thresholds of the band")]
    for row, (name, bar) in enumerate(bars):
        y = 42 + 34 * row
        parts.append(_text(90, y + 14, name, "end"))
        parts.append(f'<rect x="{x(bar.p1)}" y="{y}" width="{x(bar.p99) - x(bar.p1):.1f}" height="18" fill="#14508c"/>')
        parts.append(f'<path d="M{x(bar.p50)} {y - 3}V{y + 21}" stroke="#000" stroke-width="2"/>')
    title = "Attenuation in dB, 98 % of readings with the median: copy paper of 80 g/m² before an ultrasonic pair"
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 560 190" width="560" role="img" font-family="sans-serif" '
        f'font-size="13"><title>{title}</title><rect width="560" height="190" fill="#fff"/>\n'
        + "\n".join(parts)
        + "</svg>\n"
    )


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
            cells.append(_text(x + CELL / 2, y + 22, f"{round(margin)}", "middle", ink))
    title = "Smallest margin in dB over gap and tilt: copy paper of 80 g/m², with the band of the answer"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" role="img" '
        f'font-family="sans-serif" font-size="13"><title>{title}</title>'
        f'<rect width="{width}" height="{height}" fill="#fff"/>\n' + "\n".join(cells) + "</svg>\n"
    )


def _text(x: float, y: float, text: str, anchor: str = "start", ink: str = "#000") -> str:
    return f'<text x="{x:g}" y="{y:g}" text-anchor="{anchor}" fill="{ink}">{text}</text>'
