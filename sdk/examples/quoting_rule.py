"""A quoting rule: an inquiry becomes an offer, an offer subject to a bench trial, or a task for an engineer."""

from pathlib import Path

from sheetmargin import Client, InvalidJob, Job, Line, Sheet

client = Client.in_process(catalogue=Path(__file__).parent / "shop.toml")  # or Client("http://127.0.0.1:8080")
line = Line(speed_m_per_min=120, sheet_length_mm=420, clearance_above_mm=100, clearance_below_mm=100)


def quote(reference: str, sheet: Sheet) -> str:
    try:
        answer = client.recommend(Job(sheets=[sheet], line=line, reference=reference, limit=1))
    except InvalidJob as error:
        return f"{reference}: back to sales: {error.errors[0] if error.errors else error}"
    if answer.best is None:
        return f"{reference}: to an engineer: " + " ".join(f"{one.detector_class}: {one}" for one in answer.ruled_out)
    (setup,) = answer.best.setups
    order = "".join(f"\n  {p.quantity} x {p.part_number or 'choose a ' + p.role}" for p in setup.order_items)
    note = f"\n  set to a gap of {setup.geometry.gap_mm.nominal:g} mm; no safety device"
    if answer.verdict == "trial-needed":
        note += f"\n  subject to a bench trial. {answer.trial[0]}"
    return f"{reference}: offer {setup.detector_class.id}{order}{note}"


print(quote("Q-1", Sheet(material="kraft-paper", grammage_gsm=80)))
print(quote("Q-2", Sheet(material="folding-boxboard", grammage_gsm=300)))
print(quote("Q-3", Sheet(material="bopp", thickness_um=20)))
print(quote("Q-4", Sheet(material="kraft paper", grammage_gsm=-80)))
