"""A price list as a spreadsheet: what a detector for each inquiry costs, part by part, into the file that is named."""

import csv
import sys
from pathlib import Path

import xlsxwriter
from sheetmargin import Client
from sheetmargin.tables.job import job_of

HERE = Path(__file__).parent
PRICES = {"X-180-E": 210.0, "X-180-R": 210.0, "X-400": 390.0, "X-900": 140.0, "X-050": 12.5, "X-201": 18.0}
"""In EUR, invented; yours come from your system."""
HEAD = ("reference", "label", "verdict", "detector class", "part", "quantity", "price in EUR", "amount in EUR")

with (HERE / "inquiries.csv").open(encoding="utf-8", newline="") as file:
    inquiries = list(csv.DictReader(file))

rows = []
with Client.in_process(catalogue=HERE / "shop.toml") as client:
    outcomes = client.recommend_many({**job_of(row), "limit": 1} for row in inquiries)
    for inquiry, outcome in zip(inquiries, outcomes, strict=True):
        best = outcome.answer.best if outcome.answer else None
        verdict = outcome.answer.verdict if outcome.answer else "wrong"
        told = [inquiry["reference"], inquiry["label"], verdict]
        parts = [(setup.detector_class.id, part) for setup in best.setups for part in setup.order_items] if best else []
        rows += [[*told, kind, part.part_number or part.role, part.quantity] for kind, part in parts] or [told]

target = Path(sys.argv[1] if len(sys.argv) > 1 else "price_list.xlsx")
with xlsxwriter.Workbook(target) as book:
    sheet, bold = book.add_worksheet("Prices"), book.add_format({"bold": True})
    money = book.add_format({"num_format": "#,##0.00"})
    sheet.write_row(0, 0, HEAD, bold)
    for at, row in enumerate(rows, start=1):
        sheet.write_row(at, 0, row)
        price = PRICES.get(row[4]) if len(row) > 4 else None
        if price is not None:
            sheet.write_number(at, 6, price, money)
            sheet.write_formula(at, 7, f"=F{at + 1}*G{at + 1}", money, row[5] * price)
        elif len(row) > 4:
            sheet.write_string(at, 6, "on request")
    sheet.freeze_panes(1, 0)
    sheet.autofit()
print(f"{target.name}: {len(rows)} lines of {len(inquiries)} inquiries")
