"""The drawing measured: what it shows against the mounting's numbers."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sheetmargin.contract.job import Line
from sheetmargin.contract.mounting import Geometry, Window
from sheetmargin_service.detectors.model import DetectorClass, Housing
from sheetmargin_service.messages.names import Reader
from sheetmargin_service.mounting.geometry import mount
from sheetmargin_service.mounting.space import MountingSpace
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.principles.sound_beam import SoundBeam
from sheetmargin_service.web.drawing import (
    ACCENT,
    BODY,
    FONT_PT,
    HEIGHT,
    INK,
    LOW,
    LOWEST,
    WIDTH,
    Arrangement,
    arrangement_of,
    draw,
)
from sheetmargin_service.web.words import Words

BEAM = SoundBeam(wavenumber_per_m=3288.0, face_radius_mm=7.0, absorption_db_per_m=7.0, bypass_db=96.0)
TILTS = st.integers(0, 450).map(lambda tenths: tenths / 10)
"""As fine as an answer tells them."""
SVG = "{http://www.w3.org/2000/svg}"


def detector(*, length=60.0, width=18.0, **demands: Any) -> DetectorClass:
    """A class of which the drawing knows its body and what it demands of its owner."""
    housing = Housing(thread="M18", pitch_mm=1.0, length_mm=length, width_mm=width)
    known = reference_catalogue().classes[0]
    return replace(known, housing=housing, demands=replace(known.demands, **demands))


def mounted(gap, tilt, *, length=60.0, width=18.0, line=None, beam=BEAM) -> Arrangement:
    geometry = Geometry(
        gap_mm=Window(nominal=gap, min=gap, max=gap),
        tilt_deg=None if tilt is None else Window(nominal=tilt, min=tilt, max=tilt),
    )
    line = line or Line(clearance_above_mm=40.0, clearance_below_mm=35.0)
    detector_class = detector(length=length, width=width)
    mounting = mount(
        geometry=geometry,
        housing=detector_class.housing,
        space=MountingSpace(line=line, flutter_mm=1.0, flutter_deg=1.0, sheet_mm=0.1, rim_mm=0.5 * width),
        beam=beam,
    )
    head = {"type": "sound", "face_radius_mm": 0.4 * width, "drive": "gated"}
    setup = {"mounting": asdict(mounting), "geometry": asdict(geometry), "head": head}
    return arrangement_of(setup, detector_class=detector_class, line=asdict(line))


def unmounted(gap, head, **what: Any) -> Arrangement:
    """One whose place the service does not compute: it touches or guides the sheet."""
    setup = {"mounting": None, "geometry": {"gap_mm": {"nominal": gap}, "tilt_deg": None}, "head": head}
    return arrangement_of(setup, detector_class=detector(**what), line={"clearance_above_mm": 100.0})


def drawn(arrangement: Arrangement, language="en", *, us=False, height=HEIGHT) -> ElementTree.Element:
    return ElementTree.fromstring(draw(arrangement, words=Words(Reader(language=language), us=us), height=height))


def texts(svg):
    return [element.text for element in svg.iter(f"{SVG}text")]


def corners(svg):
    """Corners (2, 4, 2) of the two bodies, emitter first."""
    bodies = [p for p in svg.iter(f"{SVG}polygon") if p.get("fill") == BODY]
    return np.array([[[float(v) for v in place.split(",")] for place in p.get("points").split()] for p in bodies])


@settings(max_examples=60, deadline=None)
@given(gap=st.floats(12, 150), tilt=TILTS, length=st.floats(30, 100), width=st.floats(10, 40))
def test_it_is_to_scale(gap, tilt, length, width):
    emitter, receiver = corners(drawn(mounted(gap, tilt, length=length, width=width)))
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
    tilt=st.none() | TILTS,
    length=st.floats(30, 100),
    width=st.floats(10, 40),
    above=st.none() | st.floats(5, 300),
    below=st.none() | st.floats(5, 300),
    language=st.sampled_from(["en", "de"]),
    height=st.sampled_from([HEIGHT, LOW, LOWEST]),
)
def test_nothing_leaves_the_page(gap, tilt, length, width, above, below, language, height):
    line = Line(clearance_above_mm=above, clearance_below_mm=below)
    svg = drawn(mounted(gap, tilt, length=length, width=width, line=line), language, height=height)
    places = corners(svg).reshape(-1, 2)
    for element in svg.iter(f"{SVG}line"):
        ends = [[float(element.get(f"{axis}{end}")) for axis in "xy"] for end in "12"]
        places = np.concatenate([places, ends])
    for element in svg.iter(f"{SVG}text"):
        # 0.6 of the size is more than the mean width of a letter in Liberation Sans.
        reach = 0.6 * FONT_PT * len(element.text)
        left = float(element.get("x")) - {"start": 0.0, "middle": 0.5, "end": 1.0}[element.get("text-anchor")] * reach
        places = np.concatenate(
            [places, [[left, float(element.get("y")) - 0.8 * FONT_PT], [left + reach, float(element.get("y"))]]]
        )
    assert places.min() >= 0.0
    assert np.all(places <= [WIDTH, height])


@pytest.mark.parametrize(
    ("language", "us", "expected"),
    [
        (
            "en",
            False,
            {"45 mm", "35°", "emitter", "x -12.9 mm", "y 18.4 mm", "clearance 40 mm", "travel"},
        ),
        ("de", False, {"45 mm", "35°", "Sender", "x -12,9 mm", "y 18,4 mm", "Freiraum 40 mm", "Laufrichtung"}),
        ("en", True, {"1.77 in", "35°", "clearance 1.57 in", "clearance 1.38 in"}),
    ],
)
def test_dimensions_in_the_language_and_the_units(language, us, expected):
    # 22.5 sin 35 = 12.9, 22.5 cos 35 = 18.4.
    told = {text.replace("\N{NO-BREAK SPACE}", " ") for text in texts(drawn(mounted(45.0, 35.0), language, us=us))}
    assert expected <= told


def test_it_tells_its_numbers_to_whoever_does_not_see_it():
    svg = drawn(mounted(45.0, 35.0))
    assert svg.get("role") == "img"
    assert svg.find(f"{SVG}title").text == "Position of the heads (to scale)"
    told = svg.find(f"{SVG}desc").text.replace("\N{NO-BREAK SPACE}", " ")
    for number in (
        "gap is 45 mm",
        "35°",
        "emitter: 22.5 mm below",
        "receiver: 22.5 mm above",
        "above the sheet is 40 mm",
    ):
        assert number in told
    unknown = drawn(mounted(45.0, 35.0, line=Line()))
    assert unknown.find(f"{SVG}desc").text.count("was not given") == 2


COIL = {"type": "coil", "inner_radius_mm": 5.0, "outer_radius_mm": 12.0, "length_mm": 10.0, "recess_mm": 1.0}


@pytest.mark.parametrize(
    ("arrangement", "names", "bodies"),
    [
        (unmounted(3.0, {"type": "electrode", "width_mm": 40.0, "length_mm": 40.0}, width=50.0), {"upper head"}, 2),
        (unmounted(1.1, COIL, width=30.0, access="one-side"), {"lower head"}, 1),
        (unmounted(0.0, {"type": "roller"}, width=40.0, bed_needed=True), {"roller", "bed"}, 1),
        (unmounted(0.0, None), {"lower head", "upper head"}, 2),
    ],
    ids=["electrodes", "coils on one side", "roller", "unknown head"],
)
def test_heads_that_touch_or_guide_the_sheet_are_drawn_too(arrangement, names, bodies):
    svg = drawn(arrangement)
    assert names <= set(texts(svg))
    assert len(corners(svg)) == bodies
    # A clearance of 100 mm above the sheet is to the scale of the body, 60 mm long.
    (frame,) = [line for line in svg.iter(f"{SVG}line") if line.get("stroke-dasharray") == "4 3"]
    sheet = next(line for line in svg.iter(f"{SVG}line") if line.get("x1") == "4.0" and line.get("stroke") == INK)
    length = abs(corners(svg)[0][1] - corners(svg)[0][2]).max()
    scaled = float(sheet.get("y1")) - float(frame.get("y1"))
    assert scaled == pytest.approx(length * 100.0 / 60.0, abs=0.3)


def test_coils_and_electrodes_are_to_scale():
    svg = drawn(unmounted(1.1, COIL, width=30.0, access="one-side"))
    (body,) = corners(svg)
    scale = abs(body[1][0] - body[0][0]) / 30.0
    coils = [
        p.get("points")
        for p in svg.iter(f"{SVG}polygon")
        if p.get("fill") == ACCENT and p.get("points").count(",") == 4
    ]
    for points in coils:
        places = np.array([[float(v) for v in place.split(",")] for place in points.split()])
        assert np.ptp(places, axis=0) == pytest.approx([7.0 * scale, 10.0 * scale], abs=0.2)
    assert len(coils) == 2


def test_its_text_is_of_eight_points():
    svg = drawn(mounted(45.0, 35.0))
    assert float(svg.get("font-size")) == 8
    assert not [element for element in svg.iter(f"{SVG}text") if "font-size" in element.attrib]
    assert (svg.get("width"), svg.get("height")) == (f"{WIDTH}pt", f"{HEIGHT}pt")


def test_upright_there_is_no_angle():
    for tilt in (0.0, None):
        assert not [text for text in texts(drawn(mounted(45.0, tilt))) if "°" in text]


def test_nothing_that_a_strict_policy_drops():
    svg = drawn(mounted(45.0, 35.0))
    for element in svg.iter():
        assert element.tag.removeprefix(SVG) in {"svg", "title", "desc", "line", "polygon", "path", "text"}
        assert "style" not in element.attrib
        assert not [name for name in element.attrib if name.startswith("on")]


def test_the_faces_are_the_thick_ends():
    svg = drawn(mounted(45.0, 20.0))
    faces = [line for line in svg.iter(f"{SVG}line") if line.get("stroke") == INK and line.get("stroke-width") == "2"]
    emitter, receiver = corners(svg)
    for face, body in zip(faces, (emitter, receiver), strict=True):
        ends = [[float(face.get(f"{axis}{end}")) for axis in "xy"] for end in "12"]
        assert ends == body[:2].tolist()
