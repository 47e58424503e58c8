"""The drawing measured: what it shows against the mounting's numbers."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sheetmargin.contract.job import Line
from sheetmargin.contract.mounting import Geometry, Window
from sheetmargin_service.detectors.model import Housing
from sheetmargin_service.mounting.geometry import mount
from sheetmargin_service.mounting.space import MountingSpace
from sheetmargin_service.principles.sound_beam import SoundBeam
from sheetmargin_service.web.drawing import BODY, HEIGHT, INK, WIDTH, draw
from sheetmargin_service.web.words import Words

BEAM = SoundBeam(wavenumber_per_m=3288.0, face_radius_mm=7.0, absorption_db_per_m=7.0, bypass_db=96.0)
SVG = "{http://www.w3.org/2000/svg}"


def mounted(gap, tilt, *, length=60.0, width=18.0, line=None, beam=BEAM) -> dict[str, Any]:
    geometry = Geometry(
        gap_mm=Window(nominal=gap, min=gap, max=gap),
        tilt_deg=None if tilt is None else Window(nominal=tilt, min=tilt, max=tilt),
    )
    line = line or Line(clearance_above_mm=40.0, clearance_below_mm=35.0)
    mounting = mount(
        geometry=geometry,
        housing=Housing(thread="M18", pitch_mm=1.0, length_mm=length, width_mm=width),
        space=MountingSpace(line=line, flutter_mm=1.0, flutter_deg=1.0, sheet_mm=0.1, rim_mm=0.5 * width),
        beam=beam,
    )
    return {"mounting": asdict(mounting), "geometry": asdict(geometry)}


def drawn(language="en", **what: Any) -> ElementTree.Element:
    return ElementTree.fromstring(draw(**what, words=Words(language)))


def texts(svg):
    return [element.text for element in svg.iter(f"{SVG}text")]


def corners(svg):
    """Corners (2, 4, 2) of the two bodies, emitter first."""
    bodies = [p for p in svg.iter(f"{SVG}polygon") if p.get("fill") == BODY]
    return np.array([[[float(v) for v in place.split(",")] for place in p.get("points").split()] for p in bodies])


@settings(max_examples=60, deadline=None)
@given(gap=st.floats(12, 150), tilt=st.floats(0, 45), length=st.floats(30, 100), width=st.floats(10, 40))
def test_it_is_to_scale(gap, tilt, length, width):
    emitter, receiver = corners(drawn(**mounted(gap, tilt, length=length, width=width)))
    axis = receiver[:2].mean(axis=0) - emitter[:2].mean(axis=0)
    assert np.degrees(np.arctan2(axis[0], -axis[1])) == pytest.approx(tilt, abs=np.degrees(0.15 / np.hypot(*axis)))
    # Places are written to 0.1 of a unit: a distance is off by up to 0.15, and the scale taken from the gap by as much.
    scale = np.hypot(*axis) / gap
    for body in (emitter, receiver):
        for (a, b), size in (((0, 1), width), ((1, 2), length)):
            assert np.hypot(*(body[a] - body[b])) == pytest.approx(scale * size, abs=0.15 * (1.0 + size / gap))


@settings(max_examples=60, deadline=None)
@given(
    gap=st.floats(12, 150),
    tilt=st.none() | st.floats(0, 45),
    length=st.floats(30, 100),
    width=st.floats(10, 40),
    above=st.none() | st.floats(5, 300),
    below=st.none() | st.floats(5, 300),
    language=st.sampled_from(["en", "de"]),
)
def test_nothing_leaves_the_page(gap, tilt, length, width, above, below, language):
    line = Line(clearance_above_mm=above, clearance_below_mm=below)
    svg = drawn(language, **mounted(gap, tilt, length=length, width=width, line=line))
    places = corners(svg).reshape(-1, 2)
    for element in svg.iter(f"{SVG}line"):
        ends = [[float(element.get(f"{axis}{end}")) for axis in "xy"] for end in "12"]
        places = np.concatenate([places, ends])
    for element in svg.iter(f"{SVG}text"):
        # 0.6 of the size is more than the mean width of a letter in Liberation Sans.
        reach = 0.6 * 11 * len(element.text)
        left = float(element.get("x")) - {"start": 0.0, "middle": 0.5, "end": 1.0}[element.get("text-anchor")] * reach
        places = np.concatenate(
            [places, [[left, float(element.get("y")) - 9], [left + reach, float(element.get("y"))]]]
        )
    assert places.min() >= 0.0
    assert np.all(places <= [WIDTH, HEIGHT])


@pytest.mark.parametrize(
    ("language", "expected"),
    [
        ("en", {"45 mm", "35°", "emitter", "x −12.9 mm", "y 18.4 mm", "40 mm free", "35 mm free", "travel"}),
        ("de", {"45 mm", "35°", "Sender", "x −12,9 mm", "y 18,4 mm", "40 mm frei", "35 mm frei", "Laufrichtung"}),
    ],
)
def test_dimensions_in_the_language(language, expected):
    # 22.5 sin 35 = 12.9, 22.5 cos 35 = 18.4.
    assert expected <= set(texts(drawn(language, **mounted(45.0, 35.0))))


def test_it_tells_its_numbers_to_whoever_does_not_see_it():
    svg = drawn(**mounted(45.0, 35.0))
    assert svg.get("role") == "img"
    assert svg.find(f"{SVG}title").text == "Where the pair stands"
    told = svg.find(f"{SVG}desc").text
    for number in (
        "45 mm apart",
        "35 degrees",
        "x −12.9 mm, y −18.4 mm",
        "x 12.9 mm, y 18.4 mm",
        "40 mm are free",
        "23.6 mm",
    ):
        assert number in told
    unknown = drawn(**mounted(45.0, 35.0, line=Line()))
    assert unknown.find(f"{SVG}desc").text.count("was not given") == 2


def test_upright_there_is_no_angle():
    for tilt in (0.0, None):
        assert not [text for text in texts(drawn(**mounted(45.0, tilt))) if "°" in text]


def test_nothing_that_a_strict_policy_drops():
    svg = drawn(**mounted(45.0, 35.0))
    for element in svg.iter():
        assert element.tag.removeprefix(SVG) in {"svg", "title", "desc", "line", "polygon", "path", "text"}
        assert "style" not in element.attrib
        assert not [name for name in element.attrib if name.startswith("on")]


def test_the_faces_are_the_thick_ends():
    svg = drawn(**mounted(45.0, 20.0))
    faces = [line for line in svg.iter(f"{SVG}line") if line.get("stroke") == INK and line.get("stroke-width") == "3"]
    emitter, receiver = corners(svg)
    for face, body in zip(faces, (emitter, receiver), strict=True):
        ends = [[float(face.get(f"{axis}{end}")) for axis in "xy"] for end in "12"]
        assert ends == body[:2].tolist()
