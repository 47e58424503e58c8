"""The dimensioned drawing of the set-up sheet: where both heads stand about the sheet, to scale.

Seen across travel: x to the right along travel, y up, the origin where the beam meets the sheet. Every length is one of
the answer's numbers. Presentation attributes carry the look: a strict Content-Security-Policy drops style attributes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import cos, hypot, radians, sin
from typing import Any
from xml.etree import ElementTree

from sheetmargin_service.web.words import Words

WIDTH, HEIGHT = 320, 240
INK, SOFT, BODY, ACCENT, BEAM = "#16283a", "#56677a", "#e4e8ec", "#14508c", "#f3e3b0"
FONT = "Liberation Sans, Arial, Helvetica, sans-serif"
_CENTRE_X, _CENTRE_Y, _HALF_HEIGHT, _HALF_WIDTH = 160.0, 112.0, 92.0, 84.0
_SIDE = 22.0
"""Where the clearances are drawn, from either side."""
Place = tuple[float, float]


def draw(*, mounting: Mapping[str, Any], geometry: Mapping[str, Any], words: Words) -> str:
    """SVG of a mounted pair, from the answer's mounting and geometry as they go over the wire."""
    tilt = geometry["tilt_deg"]["nominal"] if geometry["tilt_deg"] else 0.0
    drawing = _Drawing(mounting=mounting, tilt_deg=tilt, gap_mm=geometry["gap_mm"]["nominal"], words=words)
    svg = ElementTree.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "viewBox": f"0 0 {WIDTH} {HEIGHT}",
            "role": "img",
            "direction": "ltr",
            "font-family": FONT,
            "font-size": "11",
            "fill": INK,
        },
    )
    svg.extend(drawing.elements())
    return ElementTree.tostring(svg, encoding="unicode")


@dataclass(frozen=True, kw_only=True)
class _Drawing:
    """One mounted pair on the page."""

    mounting: Mapping[str, Any]
    tilt_deg: float
    gap_mm: float
    words: Words

    @property
    def _scale(self) -> float:
        """Units a millimetre: as large as both bodies fit."""
        m, rim = self.mounting, 0.5 * self.mounting["body_diameter_mm"]
        tilt = radians(self.tilt_deg)
        rear = max(m["emitter_to_sheet_mm"], m["receiver_to_sheet_mm"]) + m["body_length_mm"]
        return float(
            min(
                _HALF_HEIGHT / (rear * cos(tilt) + rim * sin(tilt)),
                _HALF_WIDTH / (rear * sin(tilt) + rim * cos(tilt)),
            )
        )

    def _at(self, along_mm: float, across: float = 0.0) -> Place:
        """A point of the page: `along_mm` up the axis, and `across` it in units of the page."""
        tilt, along = radians(self.tilt_deg), along_mm * self._scale
        return (
            _CENTRE_X + along * sin(tilt) + across * cos(tilt),
            _CENTRE_Y - along * cos(tilt) + across * sin(tilt),
        )

    def elements(self) -> Iterator[ElementTree.Element]:
        yield from self._told()
        yield from self._axes()
        yield from self._heads()
        yield from self._line_of_sheet()
        yield from self._travel()
        yield from self._gap()
        yield from self._tilt()
        yield from self._clearance("above", up=True)
        yield from self._clearance("below", up=False)
        yield _text((_CENTRE_X, HEIGHT - 6), self._foot(), fill=SOFT, anchor="middle")

    def _told(self) -> Iterator[ElementTree.Element]:
        """What the drawing shows, for whoever does not see it."""
        m, words = self.mounting, self.words
        sentences = [
            words("drawn-gap", gap=self.gap_mm, tilt=self.tilt_deg),
            words("drawn-emitter", **m["emitter"]),
            words("drawn-receiver", **m["receiver"]),
        ]
        for side in ("above", "below"):
            room = m[side]
            known = "unknown" if room["available_mm"] is None else "known"
            sentences.append(
                words(f"drawn-{side}-{known}", available=room["available_mm"] or 0.0, needed=room["needed_mm"])
            )
        title, description = ElementTree.Element("title"), ElementTree.Element("desc")
        title.text = words("drawing")
        description.text = " ".join([*sentences, self._foot() + "."])
        yield title
        yield description

    def _axes(self) -> Iterator[ElementTree.Element]:
        half = 0.5 * self.mounting["body_diameter_mm"] * self._scale
        below, above = -self.mounting["emitter_to_sheet_mm"], self.mounting["receiver_to_sheet_mm"]
        corners = [self._at(below, -half), self._at(above, -half), self._at(above, half), self._at(below, half)]
        yield _polygon(corners, fill=BEAM, stroke="none")
        if self.tilt_deg:
            ends = (_CENTRE_X, _CENTRE_Y - _HALF_HEIGHT), (_CENTRE_X, _CENTRE_Y + _HALF_HEIGHT)
            yield _line(*ends, stroke=SOFT, dashes="8 3 2 3", width=0.7)

    def _heads(self) -> Iterator[ElementTree.Element]:
        m = self.mounting
        half, length = 0.5 * m["body_diameter_mm"] * self._scale, m["body_length_mm"]
        heads = (("emitter", -m["emitter_to_sheet_mm"], -1.0), ("receiver", m["receiver_to_sheet_mm"], 1.0))
        for name, face, way in heads:
            rear = face + way * length
            yield _polygon([self._at(face, -half), self._at(face, half), self._at(rear, half), self._at(rear, -half)])
            yield _line(self._at(face, -half), self._at(face, half), width=3)
            yield _line(self._at(face), self._at(rear), stroke=SOFT, dashes="8 3 2 3", width=0.7)
            yield from self._label(name, face + 0.65 * (rear - face), way * (half + 9))

    def _label(self, name: str, along_mm: float, across: float) -> Iterator[ElementTree.Element]:
        """Name and place of a head beside its body, on the side from which it leans away."""
        way = 1.0 if across > 0 else -1.0
        x, y = self._at(along_mm, across)
        top = y + 4 if way > 0 else y - 15
        anchor = "start" if way > 0 else "end"
        yield _text((x, top), self.words(name), bold=True, anchor=anchor)
        for row, axis in enumerate(("x", "y"), start=1):
            told = f"{axis} {self.words.number(self.mounting[name][f'{axis}_mm'])} mm"
            yield _text((x, top + 12.5 * row), told, anchor=anchor)

    def _line_of_sheet(self) -> Iterator[ElementTree.Element]:
        yield _line((4, _CENTRE_Y), (WIDTH - 4, _CENTRE_Y), width=2)
        footprint = self.mounting["footprint"]
        if footprint:
            middle, half = footprint["centre_x_mm"] * self._scale, 0.5 * footprint["along_mm"] * self._scale
            ends = (_CENTRE_X + middle - half, _CENTRE_Y), (_CENTRE_X + middle + half, _CENTRE_Y)
            yield _line(*ends, stroke=ACCENT, width=4)

    def _travel(self) -> Iterator[ElementTree.Element]:
        """In the corner that no tilt fills."""
        y = _CENTRE_Y + _HALF_HEIGHT + 16
        yield _text((8, y - 5), self.words("travel"), fill=SOFT)
        yield _line((8, y), (52, y), stroke=SOFT)
        yield _arrow((52, y), (1, 0), fill=SOFT)

    def _gap(self) -> Iterator[ElementTree.Element]:
        """Dimension line beside the beam, on the left."""
        m = self.mounting
        half = 0.5 * m["body_diameter_mm"] * self._scale
        aside = -half - 16
        for face in (-m["emitter_to_sheet_mm"], m["receiver_to_sheet_mm"]):
            yield _line(self._at(face, -half - 3), self._at(face, aside - 4), stroke=ACCENT, width=0.7)
        ends = self._at(-m["emitter_to_sheet_mm"], aside), self._at(m["receiver_to_sheet_mm"], aside)
        yield from _dimension(*ends)
        x, y = self._at(0.5 * m["receiver_to_sheet_mm"], aside - 5)
        yield _text((x, y + 4), f"{self.words.number(self.gap_mm)} mm", bold=True, fill=ACCENT, anchor="end")

    def _tilt(self) -> Iterator[ElementTree.Element]:
        """Arc from the sheet's normal to the axis, and its angle on the free side."""
        if not self.tilt_deg:
            return
        radius, tilt = 0.86 * _HALF_HEIGHT, radians(self.tilt_deg)
        x, y = _CENTRE_X + radius * sin(tilt), _CENTRE_Y - radius * cos(tilt)
        path = f"M{_CENTRE_X:.1f} {_CENTRE_Y - radius:.1f} A{radius:.1f} {radius:.1f} 0 0 1 {x:.1f} {y:.1f}"
        yield _element("path", d=path, fill="none", stroke=ACCENT)
        yield _arrow((x, y), (cos(tilt), sin(tilt)), fill=ACCENT)
        place = (_CENTRE_X - 5, _CENTRE_Y - radius + 4)
        yield _text(place, f"{self.words.number(self.tilt_deg)}°", bold=True, fill=ACCENT, anchor="end")

    def _clearance(self, side: str, *, up: bool) -> Iterator[ElementTree.Element]:
        """Free height on one side: above on the left, below on the right, where the heads leave room.

        One that reaches beyond the drawing ends there without an arrow.
        """
        available = self.mounting[side]["available_mm"]
        x, way = (_SIDE, -1.0) if up else (WIDTH - _SIDE, 1.0)
        anchor = "start" if up else "end"
        edge = 6 if up else WIDTH - 6
        words = self.words
        if available is None:
            yield _text((edge, _CENTRE_Y + way * 60), words("clearance-open"), fill=SOFT, anchor=anchor)
            return
        length = min(available * self._scale, _HALF_HEIGHT)
        frame = _CENTRE_Y + way * length
        label_y = frame - 5 if up else frame + 13
        if length == available * self._scale:
            yield _line((edge, frame), (edge - way * 58, frame), dashes="4 3", stroke=SOFT)
            yield from _dimension((x, _CENTRE_Y), (x, frame), colour=SOFT)
        else:
            yield _line((x, _CENTRE_Y), (x, frame), stroke=SOFT)
            yield _arrow((x, _CENTRE_Y), (0, -way), fill=SOFT)
        yield _text((edge, label_y), words("clearance", free=available), fill=SOFT, anchor=anchor)

    def _foot(self) -> str:
        m, words = self.mounting, self.words
        height = words("drawn-height", height=m["height_mm"])
        footprint = m["footprint"]
        if not footprint:
            return height
        return f"{height}; " + words("drawn-spot", along=footprint["along_mm"], across=footprint["across_mm"])


def _element(name: str, /, **attributes: str) -> ElementTree.Element:
    return ElementTree.Element(name, {key.replace("_", "-"): value for key, value in attributes.items()})


def _line(a: Place, b: Place, *, stroke: str = INK, width: float = 1, dashes: str = "none") -> ElementTree.Element:
    (x1, y1), (x2, y2) = ((f"{x:.1f}", f"{y:.1f}") for x, y in (a, b))
    return _element(
        "line", x1=x1, y1=y1, x2=x2, y2=y2, stroke=stroke, stroke_width=f"{width:g}", stroke_dasharray=dashes
    )


def _polygon(corners: list[Place], *, fill: str = BODY, stroke: str = INK) -> ElementTree.Element:
    return _element("polygon", points=" ".join(f"{x:.1f},{y:.1f}" for x, y in corners), fill=fill, stroke=stroke)


def _text(
    place: Place, text: str, *, fill: str = INK, bold: bool = False, anchor: str = "start"
) -> ElementTree.Element:
    x, y = place
    look = {"fill": fill, "font_weight": "700" if bold else "400", "text_anchor": anchor}
    element = _element("text", x=f"{x:.1f}", y=f"{y:.1f}", **look)
    element.text = text
    return element


def _dimension(a: Place, b: Place, *, colour: str = ACCENT) -> Iterator[ElementTree.Element]:
    """A line with an arrow at either end."""
    yield _line(a, b, stroke=colour)
    length = hypot(b[0] - a[0], b[1] - a[1]) or 1.0
    way = ((b[0] - a[0]) / length, (b[1] - a[1]) / length)
    yield _arrow(a, (-way[0], -way[1]), fill=colour)
    yield _arrow(b, way, fill=colour)


def _arrow(tip: Place, way: Place, *, fill: str = INK) -> ElementTree.Element:
    """A solid arrow head of length 6 that points along the unit vector `way`."""
    (x, y), (ux, uy) = tip, way
    corners = [(x, y), (x - 6 * ux - 2.4 * uy, y - 6 * uy + 2.4 * ux), (x - 6 * ux + 2.4 * uy, y - 6 * uy - 2.4 * ux)]
    return _polygon(corners, fill=fill, stroke="none")
