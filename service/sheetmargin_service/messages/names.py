"""What sheets, materials, detectors and inputs are called, in the reader's language."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

from sheetmargin.contract.answer import ClassSummary, SheetSummary

from sheetmargin_service.cached import cached_property
from sheetmargin_service.materials.constructions import load_constructions
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.materials.sheet_text import MASS_FAMILIES
from sheetmargin_service.messages.languages import LANGUAGES, Language
from sheetmargin_service.messages.quantities import written
from sheetmargin_service.principles import principles
from sheetmargin_service.tables import load_table

TABLE = "texts.toml"
"""What a principle's folder has: `names` of it and its quantity, `detectors`, `texts` by code, and `words`."""
STIFF_FAMILIES = frozenset({"ceramic", "core", "foam", "glass", "plastic", "semiconductor", "wood"})
PLATE_UM = 1_000.0
"""From this thickness a sheet of a stiff family is called a plate in German."""
FOIL_UM = 50.0
"""Below this thickness metal is called as paper is."""


@dataclass(frozen=True, kw_only=True)
class Reader:
    """For whom a text is written: the language, and the sheets that the answer tells of."""

    language: Language
    sheets: Sequence[SheetSummary] = ()

    def sheet_name(self, index: int) -> str:
        """A sheet by its label, else by what it is made of; by its number where the answer does not tell the sheets."""
        if index >= len(self.sheets):
            return f"{'sheet' if self.language == 'en' else 'Bogen'} {index + 1}"
        return self._sheet_names[index]

    @cached_property
    def _sheet_names(self) -> tuple[str, ...]:
        return tuple(sheet.label or made_of(sheet, self.language) for sheet in self.sheets)

    @cached_property
    def noun(self) -> str:
        """What all the sheets are called in German: Bogen, Blech or Platte."""
        nouns = {_noun(sheet) for sheet in self.sheets}
        return nouns.pop() if len(nouns) == 1 else "Bogen"

    def in_trade_words(self, text: str) -> str:
        """A German text with the noun of these sheets in place of Bogen."""
        if self.language != "de" or self.noun == "Bogen" or "ogen" not in text:
            return text
        return _bogen().sub(lambda found: _in_place_of_bogen(found, self.noun), text)


def material_name(material: str, language: Language) -> str:
    """A material or a construction by its name; the id where the library has neither."""
    for known in (load_library().materials, load_constructions()):
        if material in known:
            return known[material].name[language]
    return _table("sheets.toml").get(material, {}).get(language, material)


def made_of(sheet: SheetSummary, language: Language) -> str:
    """A sheet by its material and its main size: grammage of paper and board, else thickness."""
    like, family = sheet.made_of, _family(sheet)
    name = material_name(like or sheet.material, language)
    if like:
        name = _table("sheets.toml")["own-values"][language].format(name)
    by_mass = family in MASS_FAMILIES
    size = ("grammage_gsm", sheet.grammage_gsm) if by_mass else ("thickness_um", sheet.thickness_um)
    return f"{name}, {written(*size, language)}"


def detector_name(detector: ClassSummary, language: Language) -> str:
    """A detector by how it senses and its frequency: "ultrasonic pair, 500 kHz"."""
    return detector_called(detector.name, detector.frequency_khz, language)


def detector_called(kind: str, frequency_khz: float | None, language: Language) -> str:
    """The same of a kind of detector as the texts of its principle's folder know it."""
    name = _detectors().get(kind, {}).get(language, kind)
    return name if frequency_khz is None else f"{name}, {written('frequency_khz', frequency_khz, language)}"


def principle_name(principle: str, language: Language) -> str:
    """A sensing principle; its id where no folder has it."""
    return names()[language]["principle"].get(principle, principle)


def field_name(pointer: str, language: Language) -> str:
    """An input by what the forms call it, from its JSON pointer."""
    parts = [part for part in pointer.split("/") if part and not part.isdigit()]
    table = _table("fields.toml")
    return next((table[part][language] for part in reversed(parts) if part in table), pointer)


def source_told(source: str, language: Language) -> str:
    """Where figures come from, in the reader's language; titles and names stay as they are."""
    if language == "en":
        return source
    return _sources().sub(lambda found: load_sources()[found[0]], source)


@cache
def names() -> Mapping[Language, Mapping[str, Mapping[str, str]]]:
    """What each principle and each quantity is called, by language and id."""
    told = [(p, load_table(p.folder, TABLE)["names"]) for p in principles().values()]
    return {
        language: {
            "principle": {p.id: table["principle"][language] for p, table in told},
            "quantity": {p.quantity: table["quantity"][language] for p, table in told},
        }
        for language in LANGUAGES
    }


def _family(sheet: SheetSummary) -> str:
    material = load_library().materials.get(sheet.made_of or sheet.material)
    return material.family if material else ""


def _noun(sheet: SheetSummary) -> str:
    family, thickness = _family(sheet), sheet.thickness_um
    if family == "metal" and thickness >= FOIL_UM:
        return "Blech"
    return "Platte" if family in STIFF_FAMILIES and thickness >= PLATE_UM else "Bogen"


@cache
def _detectors() -> Mapping[str, Mapping[str, str]]:
    found: dict[str, Mapping[str, str]] = {}
    for principle in principles().values():
        found |= load_table(principle.folder, TABLE).get("detectors", {})
    return found


@cache
def _table(name: str) -> Mapping[str, Mapping[str, str]]:
    return load_table(__package__, name)


@cache
def load_sources() -> Mapping[str, str]:
    """From an English source to a German one."""
    return load_table(__package__, "sources.toml")


@cache
def _sources() -> re.Pattern[str]:
    """Sources that stand alone or joined by semicolons, which some have themselves: the longest first."""
    known = "|".join(map(re.escape, sorted(load_sources(), key=len, reverse=True)))
    return re.compile(rf"(?:^|(?<=; ))(?:{known})(?=; |$)")


@cache
def _bogen() -> re.Pattern[str]:
    """The phrases of the table, the longest first, with Einzel- and Doppelbogen for Bogen."""
    phrases = sorted(_table("nouns.toml"), key=len, reverse=True)
    either = (re.escape(phrase).replace("Bogen", "(?:Bogen|(?:Einzel|Doppel)bogen)") for phrase in phrases)
    return re.compile(rf"(?<!\w)(?:{'|'.join(either)})(?!\w)", re.IGNORECASE)


def _in_place_of_bogen(found: re.Match[str], noun: str) -> str:
    said = found[0]
    prefix = next((each for each in ("Einzel", "Doppel") if f"{each}bogen" in said), "")
    phrase = said.replace(f"{prefix}bogen", "Bogen") if prefix else said
    table = _table("nouns.toml")
    instead = table[phrase if phrase in table else phrase[:1].lower() + phrase[1:]][noun]
    if prefix:
        instead = re.sub("Blech|Platte", lambda word: prefix + word[0].lower(), instead)
    return instead[:1].upper() + instead[1:] if said[:1].isupper() else instead
