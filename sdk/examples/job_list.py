"""A job list from a spreadsheet: all the sheets of a machine together, so that one pair serves them where one can."""

import sys
from pathlib import Path

import polars
from sheetmargin import Client, Job, Line, Sheet

HERE = Path(__file__).parent
path = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE / "inquiries.csv"
frame = polars.read_excel(path, engine="openpyxl") if path.suffix == ".xlsx" else polars.read_csv(path)

SHEET, LINE = ("label", "material", "grammage_gsm", "thickness_um"), ("clearance_above_mm", "clearance_below_mm")
machines, jobs = [], []
for (machine,), rows in frame.group_by("machine", maintain_order=True):
    sheets = [Sheet(**row) for row in rows.select(SHEET).to_dicts()]
    room = Line(**rows.select(polars.col(LINE).min()).to_dicts()[0])
    machines.append(machine)
    jobs.append(Job(sheets=sheets, line=room, limit=1))

with Client.in_process(catalogue=HERE / "shop.toml") as client:
    for machine, outcome in zip(machines, client.recommend_many(jobs), strict=True):
        print(f"\n{machine}")
        if outcome.answer is None:
            print(f"  cannot be asked: {outcome.error}")
        elif outcome.answer.best is None:
            why = (f"{one.detector_class}: {one}" for one in outcome.answer.ruled_out)
            print("  nothing in this catalogue serves it:", *why, sep="\n  - ")
        else:
            best = outcome.answer.best
            for one in best.not_served:
                print(f"  not for {outcome.answer.sheets[one.index].label}: {one}")
            for setup in best.setups:
                names = [outcome.answer.sheets[index].label for index in setup.sheets]
                kind, gap = setup.detector_class.id, setup.geometry.gap_mm.nominal
                print(f"  {kind} at a gap of {gap:g} mm for {', '.join(names)}: {best.verdict}")
