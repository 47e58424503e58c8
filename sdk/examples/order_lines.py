"""A hand-off to an ERP: the order lines of many inquiries, one part a line, for the import of your system: as CSV, and
as JSON in the file that is named, if one is."""

import csv
import json
import sys
from pathlib import Path

from sheetmargin import Client
from sheetmargin.tables.job import job_of

HERE = Path(__file__).parent
COLUMNS = ("reference", "position", "status", "part_number", "role", "quantity", "detector_class", "text")

with (HERE / "inquiries.csv").open(encoding="utf-8", newline="") as file:
    inquiries = list(csv.DictReader(file))

lines = []
with Client.in_process(catalogue=HERE / "shop.toml") as client:
    outcomes = client.recommend_many({**job_of(row), "limit": 1} for row in inquiries)
    for inquiry, outcome in zip(inquiries, outcomes, strict=True):
        head = {"reference": inquiry["reference"]}
        if outcome.answer is None:
            lines.append({**head, "status": "wrong", "text": outcome.row()["problem"]})
        elif outcome.answer.best is None:
            lines.append({**head, "status": "unsuitable", "text": outcome.row()["why"]})
        else:
            best = outcome.answer.best
            parts = [(setup.detector_class.id, part) for setup in best.setups for part in setup.order_items]
            for position, (kind, part) in enumerate(parts, start=1):
                lines.append(
                    {
                        **head,
                        "position": 10 * position,
                        # What is on trial is reserved, not shipped.
                        "status": "order" if outcome.answer.verdict == "suitable" else "trial",
                        "part_number": part.part_number,
                        "role": part.role,
                        "quantity": part.quantity,
                        "detector_class": kind,
                        "text": None if part.part_number else "choose a part number",
                    }
                )

table = csv.DictWriter(sys.stdout, COLUMNS, lineterminator="\n")
table.writeheader()
table.writerows(lines)
if len(sys.argv) > 1:
    Path(sys.argv[1]).write_text(json.dumps({"lines": lines}, ensure_ascii=False, indent=1), encoding="utf-8")
