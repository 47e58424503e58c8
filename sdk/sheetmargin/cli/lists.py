"""`sheetmargin materials` and `sheetmargin classes`: a call, and the table for its answer."""

from __future__ import annotations

import argparse

from sheetmargin.client import Client
from sheetmargin.contract.library import DetectorClass, DetectorClasses, Interval, Material, Materials
from sheetmargin.decode import decode
from sheetmargin.report.text import clipped, table

NAME_WIDTH = 28
"""Leaves room for the other columns within 100."""


def materials(client: Client, arguments: argparse.Namespace) -> str:
    reply = client.request("GET", "/v1/materials", params={"q": arguments.query})
    if arguments.json:
        return reply.content.decode()
    found = decode(Materials, reply.json()).materials
    if not found:
        return f"no material has a name like {arguments.query!r}"
    head = ["id", "name", "family", "kg/m3", "um"]
    return table([head, *(_material_row(material) for material in found)])


def _material_row(material: Material) -> list[str]:
    thickness = " to ".join(f"{edge:g}" for edge in material.thickness_range_um)
    name = clipped(material.name or "", NAME_WIDTH)
    return [material.id or "", name, material.family or "", _range(material.density_kg_m3), thickness]


def _range(interval: Interval) -> str:
    if interval.low is None or interval.high is None or interval.low == interval.high:
        return "-" if interval.nominal is None else f"{interval.nominal:g}"
    return f"{interval.low:g} to {interval.high:g}"


def classes(client: Client, arguments: argparse.Namespace) -> str:
    reply = client.request("GET", "/v1/detector-classes")
    if arguments.json:
        return reply.content.decode()
    found = decode(DetectorClasses, reply.json()).classes
    head = ["id", "principle", "housing", "kHz", "gap mm"]
    text = table([head, *(_class_row(one) for one in found)])
    illustrative = any(one.illustrative for one in found)
    return text + ("\n* an illustrative class, invented; no product" if illustrative else "")


def _class_row(one: DetectorClass) -> list[str]:
    return [
        f"{one.id}{' *' if one.illustrative else ''}",
        one.principle or "",
        str(one.housing),
        "-" if one.frequency_khz is None else f"{one.frequency_khz:g}",
        f"{one.gap_min_mm:g}" if one.gap_min_mm == one.gap_max_mm else f"{one.gap_min_mm:g} to {one.gap_max_mm:g}",
    ]
