"""A sheet from one line of text, as people order it: "80 gsm copy paper", "Hart-PVC 0,76 mm", "PET 12 / PE 75"."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any, Literal

from sheetmargin.contract.job import Corrugated, Gauge, Layer, Wall
from sheetmargin.contract.job import Sheet as SheetSpec

from sheetmargin_service.errors import QuestionError
from sheetmargin_service.materials.constructions import Construction, load_constructions
from sheetmargin_service.materials.corrugated import load_flutes
from sheetmargin_service.materials.library import Library
from sheetmargin_service.materials.material import Material
from sheetmargin_service.materials.names import NameIndex, normalise
from sheetmargin_service.materials.resolve import resolve_sheet
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.materials.sizes import GAUGES, UM_PER_INCH, UM_PER_POINT, basis_names, gsm_per_pound
from sheetmargin_service.tables import load_table

MOST_READINGS = 8
NEAR_PCT = 10.0
"""A size beside a construction, which has its own, is taken as said again where it is this near."""
NEARLY = 97.0
"""Likeness, of 100, from which a name that is no name of the library is taken for the likest one."""
OTHERS = 70.0
"""Likeness from which other names stand beside one that is a name of the library."""
MASS_FAMILIES = frozenset({"paper", "board", "textile", "nonwoven"})
"""What is ordered by its mass per area, where a number comes without a unit."""

_NUMBER = r"\d{1,3}(?:[ '\u2019\u00a0\u202f]\d{3})+(?![\d])(?:[.,]\d+)?|\d+(?:[.,]\d+)*|[.,]\d+"
_FRACTION = r"(?:\d+[ -])?\d{1,2}/\d{1,2}"
_BARE = re.compile(rf"(?<![\w.,])({_NUMBER})(?![\w])")
_PARTS = re.compile(r"\s*[/+]\s*")
_LETTERS = str.maketrans({"\u00b5": "u", "\u03bc": "u", "\u00b2": "2", "\u2033": '"', "\u201d": '"', "\u2013": "-"})
Sizes = dict[str, Any]
Mark = Literal[".", ","]
Language = Literal["en", "de"]


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One way to read a text: of what materials or construction, and as what sheet.

    `certain`: meant without a doubt. `sheet` is None while its size is missing or cannot be right; `fault` says the
    latter.
    """

    ids: tuple[str, ...]
    spec: SheetSpec
    certain: bool
    sheet: Sheet | None
    fault: QuestionError | None = None


def read_sheet(text: str, *, library: Library, decimal_mark: Mark) -> tuple[Reading, ...]:
    """The sheets that a text may mean, best first; empty where nothing in it is known.

    `decimal_mark` decides what "1,200" is; "1.200,5" and "0,76" are what they are in either convention.
    """
    line = " ".join(text.translate(_LETTERS).split())
    for read in (_corrugated, _laminate, _plain):
        if found := tuple(read(line, library, decimal_mark)):
            # What was not meant without a doubt, and cannot be, is not offered.
            return tuple(one for index, one in enumerate(found) if index == 0 or one.fault is None)[:MOST_READINGS]
    return ()


def written(reading: Reading, *, library: Library, language: Language) -> str:
    """A reading as a text that is read as the same again, in the reader's language.

    One material's size stands before its English name and behind its German one.
    """
    spec = reading.spec
    plies = f"{spec.plies}{'-ply' if language == 'en' else '-lagig'}" if spec.plies > 1 else ""
    if spec.corrugated is not None:
        board = spec.corrugated
        masses = [board.liners_gsm[0]]
        for wall, liner in zip(board.walls, board.liners_gsm[1:], strict=True):
            masses += [wall.medium_gsm, liner]
        flute = "".join(wall.flute for wall in board.walls) + (" flute" if language == "en" else "-Welle")
        return f"{flute} {'/'.join(f'{mass:g}' for mass in masses)}"
    if spec.layers is not None:
        layers = (_sized_name(library.get(layer.material).name[language], layer, language, "") for layer in spec.layers)
        return " / ".join(layers)
    (item,) = reading.ids
    names = load_constructions()[item].name if item in load_constructions() else library.get(item).name
    return _sized_name(names[language], spec, language, plies)


def _sized_name(name: str, sheet: SheetSpec | Layer, language: Language, plies: str) -> str:
    size = " ".join(each for each in (_written_size(sheet, language), plies) if each)
    return f"{size} {name}".strip() if language == "en" else f"{name} {size}".strip()


def _written_size(sheet: SheetSpec | Layer, language: Language) -> str:
    """The sizes of a sheet or a layer; empty where it has none."""
    parts: list[tuple[float, str]] = []
    if sheet.grammage_gsm is not None:
        parts.append((sheet.grammage_gsm, "g/m\u00b2"))
    if sheet.thickness_um is not None:
        thick = sheet.thickness_um >= 1000
        parts.append((sheet.thickness_um / 1000, "mm") if thick else (sheet.thickness_um, "\u00b5m"))
    if isinstance(sheet, SheetSpec):
        others = (
            (sheet.basis_weight_lb, f"lb {sheet.basis or ''}".strip()),
            (sheet.caliper_pt, "pt"),
            (sheet.thickness_in, "in"),
            (sheet.sheet_gauge.number if sheet.sheet_gauge else None, "gauge"),
        )
        parts += [(value, unit) for value, unit in others if value is not None]
    text = " ".join(f"{value:.9g} {unit}" for value, unit in parts)
    return text.replace(".", ",") if language == "de" else text


def number(text: str, decimal_mark: Mark) -> float:
    """A number as people type it.

    >>> number("1,200", "."), number("1,200", ","), number("0,76", "."), number("1.200,5", "."), number("1 200", ",")
    (1200.0, 1.2, 0.76, 1200.5, 1200.0)
    >>> number("3/16", "."), number("1 1/4", ".")
    (0.1875, 1.25)
    """
    if "/" in text:
        *whole, over, under = (int(each) for each in re.split("[ /-]", text))
        return sum(whole) + over / under if under else float(over)
    plain = re.sub(r"[ '\u2019\u00a0\u202f]", "", text)
    marks = [mark for mark in plain if mark in ".,"]
    if len(set(marks)) == 2:
        last = marks[-1]
        return float(plain.replace("." if last == "," else ",", "").replace(",", "."))
    if not marks:
        return float(plain)
    mark = marks[0]
    grouped = re.fullmatch(r"[1-9]\d{0,2}([.,]\d{3})+", plain) is not None
    if grouped and (mark != decimal_mark or len(marks) > 1):
        return float(plain.replace(mark, ""))
    return float(plain.replace(",", ".", 1))


def _plain(line: str, library: Library, mark: Mark) -> Iterator[Reading]:
    """A material or a construction, and its sizes."""
    sizes, name = _sizes(line, mark)
    ids, certain = _named(name, library)
    bare = None
    if not certain and not sizes.keys() - {"plies"} and (found := _bare(name)):
        bare, name = number(found[1], mark), f"{name[: found.start()]} {name[found.end() :]}"
        ids, certain = _named(name, library)
    if not ids and not _words(name):
        if (basis := sizes.get("basis")) is not None:
            ids, certain = (_table()["of_basis"][basis],), True
        elif "grammage_gsm" in sizes:
            ids = tuple(_table()["several"]["paper"])
    for each in ids:
        yield from _sized(each, sizes, bare, certain and each == ids[0], library)


def _sized(item: str, sizes: Sizes, bare: float | None, certain: bool, library: Library) -> Iterator[Reading]:
    """The readings of one material: one, unless a number has no unit or a basis weight no basis."""
    plies = {"plies": sizes["plies"]} if "plies" in sizes else {}
    if item in load_constructions():
        yield _checked(
            (item,), _without_its_own(SheetSpec(construction=item, **plies), sizes, library), certain, library
        )
        return
    material = library.get(item)
    fields = {name: value for name, value in sizes.items() if name != "plies"}
    if bare is not None:
        ways = _ways(bare, material)
    elif "basis_weight_lb" in fields and "basis" not in fields:
        ways = [fields | {"basis": basis} for basis in basis_names()]
    elif "sheet_gauge" in fields:
        ways = [fields | {"sheet_gauge": Gauge(system=system, number=fields["sheet_gauge"])} for system in GAUGES]
    else:
        ways = [fields]
    readings = [_checked((item,), SheetSpec(material=item, **way, **plies), certain, library) for way in ways]
    possible = [reading for reading in readings if reading.sheet is not None]
    sure = len(possible) <= 1 or bare is not None
    for index, reading in enumerate(possible or readings[:1]):
        yield replace(reading, certain=reading.certain and sure and index == 0)


def _ways(value: float, material: Material) -> list[Sizes]:
    """What a number without a unit may be of a material: the usual quantity first, then what it is made in."""
    mass: Sizes = {"grammage_gsm": value}
    usual = material.thickness_um.range[0] <= value <= material.thickness_um.range[1]
    lengths: list[Sizes] = [{"thickness_um": value if usual else 1000 * value}]
    return [mass, *lengths] if material.family in MASS_FAMILIES else [*lengths, mass]


def _without_its_own(spec: SheetSpec, sizes: Sizes, library: Library) -> SheetSpec:
    """A construction with the sizes that it does not have itself: those are kept as a fault."""
    own = resolve_sheet(spec, library)
    gsm, um = _metric(sizes)
    near = [
        abs(value / has - 1) <= NEAR_PCT / 100
        for value, has in ((gsm, own.grammage_gsm), (um, own.thickness_um))
        if value
    ]
    return spec if all(near) else replace(spec, grammage_gsm=gsm, thickness_um=um)


def _corrugated(line: str, library: Library, mark: Mark) -> Iterator[Reading]:
    """A flute with the grammages of its papers, from liner to liner: "E flute 140/110/140"."""
    papers = re.search(r"\d{2,4}(?:\s*/\s*\d{2,4}){2,6}", line)
    flutes = re.search(r"\b([a-z]{1,3})[ -]?(?:flute|welle)", line, re.IGNORECASE)
    if papers is None or flutes is None or not set(flutes[1].upper()) <= set(load_flutes()):
        return
    masses = [float(each) for each in papers[0].split("/")]
    walls = tuple(
        Wall(flute=flute, medium_gsm=mass) for flute, mass in zip(flutes[1].upper(), masses[1::2], strict=False)
    )
    if len(masses) == 2 * len(flutes[1]) + 1:
        board = Corrugated(liners_gsm=tuple(masses[::2]), walls=walls)
        yield _checked(("corrugated",), SheetSpec(corrugated=board), True, library)


def _laminate(line: str, library: Library, mark: Mark) -> Iterator[Reading]:
    """Layers between slashes or plus signs, each with its size; without a unit it is in micrometres."""
    units = re.sub(r"(?i)\bg\s?/\s?(?:m2|qm|m\^2)", "gsm", line)
    parts = _PARTS.split(re.sub(r"(?i)\blb\s?/\s?msf", "lb per msf", units))
    if len(parts) < 2 or not all(re.search(r"\d", part) for part in parts):
        return
    layers: list[Layer] = []
    for part in parts:
        sizes, name = _sizes(part, mark)
        if not sizes and (found := _bare(name)):
            sizes = {"thickness_um": number(found[1], mark)}
            name = f"{name[: found.start()]} {name[found.end() :]}"
        ids, certain = _named(name, library)
        gsm, um = _metric(sizes)
        if not ids or ids[0] in load_constructions() or not certain or not (gsm or um):
            return
        layers.append(Layer(material=ids[0], grammage_gsm=gsm, thickness_um=um))
    yield _checked(tuple(layer.material for layer in layers), SheetSpec(layers=tuple(layers)), True, library)


def _metric(sizes: Sizes) -> tuple[float | None, float | None]:
    """Grammage in g/m2 and thickness in um, as far as sizes give them by themselves."""
    gsm = sizes.get("grammage_gsm")
    if "basis" in sizes:
        gsm = sizes["basis_weight_lb"] * gsm_per_pound(sizes["basis"])
    factors = {"thickness_um": 1.0, "caliper_pt": UM_PER_POINT, "thickness_in": UM_PER_INCH}
    return gsm, next((sizes[name] * factor for name, factor in factors.items() if name in sizes), None)


def _checked(ids: tuple[str, ...], spec: SheetSpec, certain: bool, library: Library) -> Reading:
    try:
        return Reading(ids=ids, spec=spec, certain=certain, sheet=resolve_sheet(spec, library))
    except QuestionError as error:
        unsized = spec.material is not None and error.code == "missing-field" and error.field != "basis"
        return Reading(ids=ids, spec=spec, certain=certain, sheet=None, fault=None if unsized else error)


def _sizes(line: str, mark: Mark) -> tuple[Sizes, str]:
    """The sizes that stand in a text, as fields of a sheet, and what is left of it."""
    found: Sizes = {}

    def take(match: re.Match[str]) -> str:
        value, unit = number(match[1], mark), _units()[match[2].casefold()]
        if unit == "plies":
            found["plies"] = int(value)
        elif unit in ("thickness_mm", "thickness_mil"):
            # Nine digits: binary fractions leave more behind (3.9 x 25.4 = 99.05999...).
            found["thickness_um"] = float(f"{value * {'thickness_mm': 1000, 'thickness_mil': 25.4}[unit]:.9g}")
        else:
            found[unit] = value
        return " "

    rest = _size_pattern().sub(take, line)
    if "basis_weight_lb" in found and (basis := _basis_pattern().search(rest)):
        found["basis"] = _bases()[normalise(basis[1])]
        rest = f"{rest[: basis.start()]} {rest[basis.end() :]}"
    return found, rest


def _bare(name: str) -> re.Match[str] | None:
    """The last number without a unit."""
    return next(iter(reversed(list(_BARE.finditer(name)))), None)


def _named(name: str, library: Library) -> tuple[tuple[str, ...], bool]:
    """Ids that a name may stand for, best first, and whether the first is meant without a doubt."""
    words = _words(name)
    if not words:
        return (), False
    names = _names(library)
    for candidate in (normalise(name.strip(" ,;:")), " ".join(words)):
        several = _table()["several"].get(candidate, ())
        if several:
            return tuple(each.removeprefix("=") for each in several), several[0].startswith("=")
        if (exact := names.resolve(candidate)) is not None:
            matches = names.search(candidate, MOST_READINGS)
            return (exact, *(one.id for one in matches if one.id != exact and one.score >= OTHERS)), True
    found = names.search(" ".join(words), MOST_READINGS)
    return tuple(match.id for match in found), bool(found) and found[0].score >= NEARLY


def _words(name: str) -> list[str]:
    filler = _table()["filler"]["words"]
    return [word for word in normalise(re.sub(r"[,;:]", " ", name)).split() if word not in filler]


@cache
def _names(library: Library) -> NameIndex:
    """Names of materials and constructions together."""
    items: list[Material | Construction] = [*library.materials.values(), *load_constructions().values()]
    return NameIndex({item.id: item.names for item in items})


@cache
def _table() -> Mapping[str, Mapping[str, Any]]:
    return load_table(__package__, "data/sheet_words.toml")


@cache
def _units() -> Mapping[str, str]:
    return {word: field for field, words in _table()["units"].items() for word in words}


@cache
def _bases() -> Mapping[str, str]:
    own = {name: name for name in basis_names()}
    return own | {normalise(word): basis for basis, words in _table()["basis"].items() for word in words}


def _either(words: Sequence[str]) -> str:
    return "|".join(re.escape(word) for word in sorted(words, key=len, reverse=True))


@cache
def _size_pattern() -> re.Pattern[str]:
    # A unit that is a word ends where the word does; "80#cover" goes on.
    return re.compile(
        rf"(?<![\w.,])({_FRACTION}|{_NUMBER})[ \u00a0\u202f-]?({_either(list(_units()))})(?!(?<=\w)\w)\.?",
        re.IGNORECASE,
    )


@cache
def _basis_pattern() -> re.Pattern[str]:
    return re.compile(rf"(?<!\w)({_either(list(_bases()))})(?!\w)", re.IGNORECASE)
