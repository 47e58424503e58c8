"""Degrees of protection against dust and water (IEC 60529:1989+A1:1999+A2:2013; the letter K after 9: ISO 20653)."""

from __future__ import annotations

import re

_CODE = re.compile(r"IP([0-6])([0-9])K?")
RATING = "IP[0-6][0-9]K?(/IP[0-6][0-9]K?){0,3}"
"""Pattern of one code, or of several of one enclosure."""
JETS = 6
"""The last second numeral that implies all lower ones (IEC 60529, clause 6)."""


def is_rating(text: str) -> bool:
    """Whether a text is a code such as IP65, or several such as IP66/IP67."""
    return re.fullmatch(RATING, text) is not None


def protects(rating: str, *, wanted: str) -> bool:
    """Whether a rating meets each code of the wanted one.

    The first numeral, and the second up to 6, imply all lower ones. Immersion (7, 8) and steam (9) do not imply jets
    (5, 6): only a multiple code such as IP66/IP67 claims both.

    >>> protects("IP67", wanted="IP65"), protects("IP66/IP67", wanted="IP65"), protects("IP67", wanted="IP54")
    (False, True, False)
    """
    return all(any(_meets(code, one) for code in _codes(rating)) for one in _codes(wanted))


def _codes(rating: str) -> list[tuple[int, int]]:
    return [(int(match[1]), int(match[2])) for match in _CODE.finditer(rating)]


def _meets(code: tuple[int, int], wanted: tuple[int, int]) -> bool:
    (solids, water), (wanted_solids, wanted_water) = code, wanted
    if solids < wanted_solids:
        return False
    if water <= JETS or wanted_water > JETS:
        # Steam (9) does not imply immersion, and immersion for long (8) implies immersion for a short time (7).
        return water == wanted_water or (wanted_water < water < 9)
    return wanted_water <= 4
