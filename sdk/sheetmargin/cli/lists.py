"""`sheetmargin materials` and `sheetmargin classes`: a call, and the table for its answer."""

from __future__ import annotations

import argparse

from sheetmargin.cli.output import print_records
from sheetmargin.cli.service import client_of
from sheetmargin.cli.speech import known_language, say
from sheetmargin.cli.terminal import page
from sheetmargin.contract.library import DetectorClass, DetectorClasses, Interval, Material, Materials
from sheetmargin.decode import decode
from sheetmargin.report.page import clipped
from sheetmargin.report.view import View

DONE = 0
NAME_WIDTH = 36
"""Leaves room for the other columns within 100."""


def add_materials_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("query", nargs="?", help="part of a name, in any of the languages")


def materials(arguments: argparse.Namespace) -> int:
    with client_of(arguments) as client:
        reply = client.request("GET", "/v1/materials", params={"q": arguments.query})
    found, view = decode(Materials, reply.json()), _view(arguments)
    rows = [["id", say("head.name"), "kg/m³", say("head.thickness")]]
    rows += [_material_row(material, view) for material in found.materials]
    text = "\n".join(view.page.table(rows, head=True)) if found.materials else say("no-material", query=arguments.query)
    print_records(found, reply.content, arguments, text=text)
    return DONE


def classes(arguments: argparse.Namespace) -> int:
    with client_of(arguments) as client:
        reply = client.request("GET", "/v1/detector-classes", params={"catalogue": arguments.catalogue_name})
    found, view = decode(DetectorClasses, reply.json()), _view(arguments)
    heads = [say(f"head.{name}") for name in ("principle", "housing")]
    rows = [["id", *heads, "kHz", say("head.gap")], *(_class_row(one, view) for one in found.classes)]
    lines = view.page.table(rows, head=True)
    if any(one.illustrative for one in found.classes):
        lines += ["", *view.page.wrap(say("examples"))]
    print_records(found, reply.content, arguments, text="\n".join(lines))
    return DONE


def _view(arguments: argparse.Namespace) -> View:
    return View(language=known_language(arguments.language), page=page())


def _material_row(material: Material, view: View) -> list[str]:
    low, high = (view.figures.significant(edge, 3) for edge in material.thickness_range_um)
    name = clipped(material.name, NAME_WIDTH)
    density = _range(material.density_kg_m3, view)
    return [material.id, name, density, view.figures.range(low, high, "µm")]


def _range(interval: Interval, view: View) -> str:
    return view.figures.range(*(view.figures.significant(value, 3) for value in (interval.low, interval.high)))


def _class_row(one: DetectorClass, view: View) -> list[str]:
    figures = view.figures
    return [
        one.id,
        one.principle,
        str(one.housing),
        "-" if one.frequency_khz is None else figures.significant(one.frequency_khz, 3),
        figures.range(figures.number(one.gap_min_mm, 1), figures.number(one.gap_max_mm, 1), "mm"),
    ]
