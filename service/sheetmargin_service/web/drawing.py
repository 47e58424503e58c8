"""The dimensioned drawing of the set-up sheet: the heads about the sheet and the machine's clearances, to scale.

Seen across travel: x to the right along travel, y up, the origin where the detector axis meets the sheet. Every length
is one of the answer's numbers or of the catalogue's. A unit of the drawing is a point on paper. Presentation attributes
carry the look: a strict Content-Security-Policy drops style attributes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import cos, hypot, radians, sin
from typing import Any
from xml.etree import ElementTree

from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.web.words import Words

WIDTH, HEIGHT, LOW, LOWEST = 258, 178, 128, 100
FONT_PT = 8
INK, SOFT, BODY, ACCENT, BEAM = "#16283a", "#56677a", "#e4e8ec", "#14508c", "#f3e3b0"
FONT = "Liberation Sans, Arial, Helvetica, sans-serif"
_CENTRE_X, _TOP, _HALF_WIDTH = 129.0, 10.0, 66.0
_FOOT = 22.0
"""Room below the heads, for travel and what is told in words."""
_SIDE = 14.0
"""Where the clearances are drawn, from either side."""
_SHARE = 2.0
"""A clearance of more than this share of what the heads reach is drawn as far as there is room, and broken."""
_LEAST = 14.0
"""Room on the side of the sheet where no head is."""
Place = tuple[float, float]
Element = ElementTree.Element


@dataclass(frozen=True, kw_only=True)
class Arrangement:
    """What is where, in mm from the sheet along the detector's axis; None on a side without a head."""

    below_mm: float | None
    above_mm: float | None
    length_mm: float
    width_mm: float
    gap_mm: float
    tilt_deg: float
    head: Mapping[str, Any]
    bed: bool
    clearance_mm: tuple[float | None, float | None]
    """Below and above."""
    mounting: Mapping[str, Any] | None

    def reach_mm(self, distance_mm: float | None) -> float:
        """Height that a head takes on its side of the sheet."""
        if distance_mm is None:
            return 0.0
        tilt = radians(self.tilt_deg)
        return (distance_mm + self.length_mm) * cos(tilt) + 0.5 * self.width_mm * sin(tilt)


def arrangement_of(setup: Mapping[str, Any], *, detector_class: DetectorClass, line: Mapping[str, Any]) -> Arrangement:
    """Where the heads of a set-up are: from its mounting, else by what kind of head it has."""
    mounting, geometry, head = setup["mounting"], setup["geometry"], setup["head"] or {"type": "other"}
    gap, demands = geometry["gap_mm"]["nominal"], detector_class.demands
    below = above = 0.5 * gap
    if mounting is not None:
        below, above = mounting["emitter_to_sheet_mm"], mounting["receiver_to_sheet_mm"]
    elif demands.bed_needed:
        below, above = None, gap
    elif demands.access == "one-side":
        below, above = gap, None
    return Arrangement(
        below_mm=below,
        above_mm=above,
        length_mm=detector_class.housing.length_mm,
        width_mm=detector_class.housing.width_mm,
        gap_mm=gap,
        tilt_deg=geometry["tilt_deg"]["nominal"] if geometry["tilt_deg"] else 0.0,
        head=head,
        bed=demands.bed_needed,
        clearance_mm=(line.get("clearance_below_mm"), line.get("clearance_above_mm")),
        mounting=mounting,
    )


def draw(arrangement: Arrangement, *, words: Words, height: int = HEIGHT) -> str:
    """SVG of an arrangement, as high as is told."""
    svg = _element(
        "svg",
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {WIDTH} {height}",
        width=f"{WIDTH}pt",
        height=f"{height}pt",
        role="img",
        direction="ltr",
        font_family=FONT,
        font_size=str(FONT_PT),
        fill=INK,
    )
    svg.extend(list(_Drawing(arrangement=arrangement, words=words, height=height).elements()))
    return ElementTree.tostring(svg, encoding="unicode")


@dataclass(frozen=True, kw_only=True)
class _Drawing:
    """One arrangement on the page."""

    arrangement: Arrangement
    words: Words
    height: int

    @property
    def _bottom(self) -> float:
        return self.height - _FOOT

    @property
    def _extents_mm(self) -> tuple[float, float]:
        """What is drawn below and above the sheet."""
        a = self.arrangement
        heads = (a.reach_mm(a.below_mm), a.reach_mm(a.above_mm))
        largest = max(heads)
        below, above = (
            max(head, free) if free is not None and free <= _SHARE * largest else head
            for head, free in zip(heads, a.clearance_mm, strict=True)
        )
        return below, above

    @property
    def _scale(self) -> float:
        """Points a millimetre: as large as all has room."""
        a, (below, above) = self.arrangement, self._extents_mm
        tilt, rim = radians(a.tilt_deg), 0.5 * a.width_mm
        rear = max(a.below_mm or 0.0, a.above_mm or 0.0) + a.length_mm
        room = self._bottom - _TOP - _LEAST * ((below == 0.0) + (above == 0.0))
        return float(min(room / (below + above), _HALF_WIDTH / (rear * sin(tilt) + rim * cos(tilt))))

    @property
    def _sheet_y(self) -> float:
        """Height of the sheet on the page: what is drawn stands in the middle."""
        below, above = (extent * self._scale or _LEAST for extent in self._extents_mm)
        return _TOP + above + 0.5 * (self._bottom - _TOP - above - below)

    def _at(self, along_mm: float, across_mm: float = 0.0, *, aside: float = 0.0) -> Place:
        """A point of the page: `along_mm` up the axis, `across_mm` and then `aside` points across it."""
        tilt, along = radians(self.arrangement.tilt_deg), along_mm * self._scale
        across = across_mm * self._scale + aside
        return _CENTRE_X + along * sin(tilt) + across * cos(tilt), self._sheet_y - along * cos(tilt) + across * sin(
            tilt
        )

    def _heads(self) -> Iterator[tuple[str, float, float]]:
        """Name, place of the face along the axis, and the way that the body goes from there."""
        a = self.arrangement
        beam = a.head["type"] in ("sound", "light")
        if a.below_mm is not None:
            yield "emitter" if beam else "head-below", -a.below_mm, -1.0
        if a.above_mm is not None:
            yield "receiver" if beam else "roller" if a.head["type"] == "roller" else "head-above", a.above_mm, 1.0

    def elements(self) -> Iterator[Element]:
        yield from self._told()
        yield from self._beam()
        for name, face, way in self._heads():
            yield from self._head(name, face, way)
        yield from self._sheet()
        yield from self._gap()
        yield from self._tilt()
        yield from self._clearance(1, up=True)
        yield from self._clearance(0, up=False)
        yield self._text((_CENTRE_X, self.height - 3), self._foot(), fill=SOFT, anchor="middle")

    def _told(self) -> Iterator[Element]:
        """What the drawing shows, for whoever does not see it."""
        a, words = self.arrangement, self.words
        sentences = [words("drawn-gap", gap_mm=a.gap_mm) if a.gap_mm else words("drawn-contact")]
        if a.tilt_deg:
            sentences.append(words("drawn-tilt", tilt_deg=a.tilt_deg))
        for name, face, way in self._heads():
            side = words("side-above" if way > 0 else "side-below")
            sentences.append(words("drawn-head", head=words(name), gap_distance_mm=abs(face), side=side))
        for side, free in zip(("below", "above"), a.clearance_mm, strict=True):
            key = "drawn-clearance-unknown" if free is None else "drawn-clearance"
            sentences.append(words(key, side=words(f"side-{side}"), gap_free_mm=free or 0.0))
        title, description = _element("title"), _element("desc")
        title.text = words("drawing")
        description.text = " ".join([*sentences, self._foot() + "."])
        yield title
        yield description

    def _beam(self) -> Iterator[Element]:
        """What goes from face to face."""
        a = self.arrangement
        if a.below_mm is None or a.above_mm is None:
            return
        widths = {"sound": "face_radius_mm", "light": "spot_diameter_mm", "laser": "spot_diameter_mm"}
        name = widths.get(a.head["type"])
        if name is None:
            return
        half = (a.head[name] or 0.0) * (1.0 if a.head["type"] == "sound" else 0.5)
        corners = [self._at(y, x) for y, x in ((-a.below_mm, -half), (a.above_mm, -half))]
        corners += [self._at(y, x) for y, x in ((a.above_mm, half), (-a.below_mm, half))]
        yield _polygon(corners, fill=BEAM, stroke=BEAM)
        if a.tilt_deg:
            yield _line((_CENTRE_X, _TOP), (_CENTRE_X, self._bottom), stroke=SOFT, dashes="8 3 2 3", width=0.7)

    def _head(self, name: str, face: float, way: float) -> Iterator[Element]:
        """A body to scale, what it senses with, and its name with the place of its face."""
        a = self.arrangement
        half, rear = 0.5 * a.width_mm, face + way * a.length_mm
        yield _polygon([self._at(face, -half), self._at(face, half), self._at(rear, half), self._at(rear, -half)])
        yield _line(self._at(face), self._at(rear), stroke=SOFT, dashes="8 3 2 3", width=0.7)
        if a.head["type"] == "roller":
            radius = 0.3 * a.width_mm
            (x, y), r = self._at(face + way * radius), radius * self._scale
            yield _element("circle", cx=f"{x:.1f}", cy=f"{y:.1f}", r=f"{r:.1f}", fill="#ffffff", stroke=INK)
        else:
            yield _line(self._at(face, -half), self._at(face, half), width=2)
        if a.head["type"] == "coil":
            inner, outer, near = (a.head[f"{name}_mm"] for name in ("inner_radius", "outer_radius", "recess"))
            front, back = face + way * near, face + way * (near + a.head["length_mm"])
            for side in (-1.0, 1.0):
                corners = [(front, inner), (front, outer), (back, outer), (back, inner)]
                yield _polygon([self._at(y, side * x) for y, x in corners], fill=ACCENT, stroke="none")
        if a.head["type"] == "electrode":
            ends = (self._at(face, -0.5 * a.head["length_mm"]), self._at(face, 0.5 * a.head["length_mm"]))
            yield _line(*ends, stroke=ACCENT, width=3.5)
        yield from self._label(name, face, way)

    def _label(self, name: str, face: float, way: float) -> Iterator[Element]:
        """Name and place of a head beside its body, on the side from which it leans away."""
        a, words = self.arrangement, self.words
        place = 0.95 if a.tilt_deg else 0.6
        x, y = self._at(face + place * way * a.length_mm, way * 0.5 * a.width_mm, aside=way * 5)
        anchor = "start" if way > 0 else "end"
        if a.tilt_deg and a.mounting is not None:
            point = a.mounting["emitter" if way < 0 else "receiver"]
            rows = [words("face-at", axis=axis, gap_place_mm=point[f"{axis}_mm"]) for axis in ("x", "y")]
        else:
            rows = [words("face-from-sheet", gap_distance_mm=abs(face))] if face else [words("contact")]
        top = y - 4.5 * len(rows) + 2
        if a.tilt_deg:  # below a body that leans to the right, above one that leans to the left
            top = y + 7 if way > 0 else y - 1 - 9.5 * len(rows)
        yield self._text((x, top), words(name), bold=True, anchor=anchor)
        for row, told in enumerate(rows, start=1):
            yield self._text((x, top + 9.5 * row), told, anchor=anchor)

    def _sheet(self) -> Iterator[Element]:
        y = self._sheet_y
        if self.arrangement.bed:
            yield _element("rect", x="50", y=f"{y:.1f}", width=str(WIDTH - 100), height="12", fill=BODY, stroke=SOFT)
            yield self._text((_CENTRE_X, y + 9), self.words("bed"), fill=SOFT, anchor="middle")
        yield _line((4, y), (WIDTH - 4, y), width=1.6)
        mounting = self.arrangement.mounting
        if mounting is not None and mounting["footprint"]:
            footprint = mounting["footprint"]
            middle, half = footprint["centre_x_mm"] * self._scale, 0.5 * footprint["along_mm"] * self._scale
            yield _line((_CENTRE_X + middle - half, y), (_CENTRE_X + middle + half, y), stroke=ACCENT, width=3)
        yield self._text((4, self._bottom + 4), self.words("travel"), fill=SOFT)
        yield _line((4, self._bottom + 9), (44, self._bottom + 9), stroke=SOFT)
        yield _arrow((44, self._bottom + 9), (1, 0), fill=SOFT)

    def _gap(self) -> Iterator[Element]:
        """Dimension line beside the faces, on the left; outside of a gap too narrow for it."""
        a = self.arrangement
        if not a.gap_mm:
            return
        half = -0.5 * a.width_mm
        low, high = -(a.below_mm or 0.0), a.above_mm or 0.0
        for face in (low, high):
            yield _line(self._at(face, half, aside=-2), self._at(face, half, aside=-15), stroke=ACCENT, width=0.7)
        ends = self._at(low, half, aside=-11), self._at(high, half, aside=-11)
        if (high - low) * self._scale > 18:
            yield from _dimension(*ends)
        else:
            tilt = radians(a.tilt_deg)
            for (x, y), way in zip(ends, (-1.0, 1.0), strict=True):
                ux, uy = way * sin(tilt), -way * cos(tilt)
                yield _line((x + 12 * ux, y + 12 * uy), (x, y), stroke=ACCENT)
                yield _arrow((x, y), (-ux, -uy), fill=ACCENT)
        wide = (high - low) * self._scale > 40
        x, y = self._at(0.5 * (high if wide else high + low), half, aside=-16)
        told = self.words("millimetres", gap_value_mm=a.gap_mm)
        yield self._text((x, y + 3 if wide else y - 4), told, bold=True, fill=ACCENT, anchor="end")

    def _tilt(self) -> Iterator[Element]:
        """Arc from the sheet's normal to the axis, and its angle on the free side."""
        a = self.arrangement
        if not a.tilt_deg:
            return
        radius, tilt = 0.9 * (self._sheet_y - _TOP), radians(a.tilt_deg)
        x, y, top = _CENTRE_X + radius * sin(tilt), self._sheet_y - radius * cos(tilt), self._sheet_y - radius
        path = f"M{_CENTRE_X:.1f} {top:.1f} A{radius:.1f} {radius:.1f} 0 0 1 {x:.1f} {y:.1f}"
        yield _element("path", d=path, fill="none", stroke=ACCENT)
        yield _arrow((x, y), (cos(tilt), sin(tilt)), fill=ACCENT)
        told = self.words("degrees", value_deg=a.tilt_deg)
        yield self._text((_CENTRE_X - 4, top + 4), told, bold=True, fill=ACCENT, anchor="end")

    def _clearance(self, side: int, *, up: bool) -> Iterator[Element]:
        """Machine space on one side: above on the left, below on the right.

        One that reaches beyond the drawing ends there without an arrow.
        """
        free, words = self.arrangement.clearance_mm[side], self.words
        way, sheet = (-1.0, self._sheet_y) if up else (1.0, self._sheet_y)
        x, edge, anchor = (_SIDE, 4.0, "start") if up else (WIDTH - _SIDE, WIDTH - 4.0, "end")
        room = sheet - _TOP if up else self._bottom - sheet
        if free is None and self.arrangement.bed and not up:
            return
        if free is None:
            place = (edge, _TOP - 1 if up else self._bottom + 4)
            yield self._text(place, words("clearance-open"), fill=SOFT, anchor=anchor)
            return
        length = free * self._scale
        whole = length <= room + 0.1
        frame = sheet + way * min(length, room)
        if whole:
            yield _line((edge, frame), (edge + way * -46, frame), dashes="4 3", stroke=SOFT)
            yield from _dimension((x, sheet), (x, frame), colour=SOFT)
        else:
            yield _line((x, sheet), (x, frame), stroke=SOFT)
            yield _arrow((x, sheet), (0, -way), fill=SOFT)
        label = frame - 2 if up else frame + 8
        yield self._text((edge, label), words("clearance", gap_free_mm=free), fill=SOFT, anchor=anchor)

    def _foot(self) -> str:
        a, words = self.arrangement, self.words
        if a.mounting is None:
            return words("drawn-body", length_mm=a.length_mm, width_mm=a.width_mm)
        height = words("drawn-height", height_mm=a.mounting["height_mm"])
        spot = a.mounting["footprint"]
        return (
            f"{height}; {words('drawn-spot', along_mm=spot['along_mm'], across_mm=spot['across_mm'])}"
            if spot
            else height
        )

    def _text(self, place: Place, text: str, *, fill: str = INK, bold: bool = False, anchor: str = "start") -> Element:
        x, y = place
        look = {"fill": fill, "font_weight": "700" if bold else "400", "text_anchor": anchor}
        element = _element("text", x=f"{x:.1f}", y=f"{y:.1f}", **look)
        element.text = text
        return element


def _element(name: str, /, **attributes: str) -> Element:
    return Element(name, {key if key == "viewBox" else key.replace("_", "-"): v for key, v in attributes.items()})


def _line(a: Place, b: Place, *, stroke: str = INK, width: float = 1, dashes: str = "none") -> Element:
    (x1, y1), (x2, y2) = ((f"{x:.1f}", f"{y:.1f}") for x, y in (a, b))
    return _element(
        "line", x1=x1, y1=y1, x2=x2, y2=y2, stroke=stroke, stroke_width=f"{width:g}", stroke_dasharray=dashes
    )


def _polygon(corners: list[Place], *, fill: str = BODY, stroke: str = INK) -> Element:
    return _element("polygon", points=" ".join(f"{x:.1f},{y:.1f}" for x, y in corners), fill=fill, stroke=stroke)


def _dimension(a: Place, b: Place, *, colour: str = ACCENT) -> Iterator[Element]:
    """A line with an arrow at either end."""
    yield _line(a, b, stroke=colour)
    length = hypot(b[0] - a[0], b[1] - a[1]) or 1.0
    way = ((b[0] - a[0]) / length, (b[1] - a[1]) / length)
    yield _arrow(a, (-way[0], -way[1]), fill=colour)
    yield _arrow(b, way, fill=colour)


def _arrow(tip: Place, way: Place, *, fill: str = INK) -> Element:
    """A solid arrow head of length 5 that points along the unit vector `way`."""
    (x, y), (ux, uy) = tip, way
    corners = [(x, y), (x - 5 * ux - 2 * uy, y - 5 * uy + 2 * ux), (x - 5 * ux + 2 * uy, y - 5 * uy - 2 * ux)]
    return _polygon(corners, fill=fill, stroke="none")
