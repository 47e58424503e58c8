"""The steps of the set-up sheet, in the order of work, and what to know beside them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from sheetmargin_service.web.drawing import Arrangement
from sheetmargin_service.web.words import Words

ALIGNING = ("align-by-eye", "align-sideways", "align-turn", "align-lock")
"""Steps of the answer's alignment that the sheet's own do not say: the others are steps of their own here."""
TURNED = "turn-over-by-hand"
"""A note on mounting that is a step."""
ABOUT_THE_JOB = ("not-given", "pitch-not-used")
"""Notes on times that whoever mounts the detector can do nothing about."""
DRAWN = "clearance-unknown"
"""A note on mounting that the drawing tells."""
IN_THE_STEPS = ("read-levels", "read-stream-levels", "accept-levels", "accept-stream-levels", "trial-safely")
"""Steps of a trial that the sheet's own steps are."""
TRIED = (
    "trial-singles",
    "trial-singles-short",
    "trial-doubles",
    "trial-doubles-short",
    "trial-lay-doubles",
    "trial-pass",
)
"""Steps of a trial that say what is run and what passes: the sheet has them; the answer has the rest."""


def steps(
    setup: Mapping[str, Any],
    *,
    arrangement: Arrangement,
    served: Sequence[Mapping[str, Any]],
    own_places: bool,
    unit: str,
    words: Words,
) -> Iterator[str]:
    """What to do and tick: isolate, mount, supply the detector alone, gap, tilt, align, teach, set the band, accept.

    `own_places`: the sheets that are `served` have gaps and tilts of their own.
    """
    geometry, mounting, alignment = setup["geometry"], setup["mounting"], setup["alignment"]
    open_path, several = served[0]["signal"]["no_sheet"], len(served) > 1
    yield words("step-isolate")
    yield _mount(arrangement, words)
    yield words("step-supply")
    # What the clearances leave of the ranges, where that is known.
    gap, tilt = ((mounting or geometry)[name] for name in ("gap_mm", "tilt_deg"))
    if own_places:
        yield words("step-place-each")
    elif gap["nominal"]:
        fixed = gap["min"] == gap["max"]
        window = {"gap_mm": gap["nominal"], "gap_low_mm": gap["min"], "gap_high_mm": gap["max"]}
        yield words("step-gap-fixed" if fixed else "step-gap", **window)
    if tilt and not own_places:
        yield words("step-tilt", tilt_deg=tilt["nominal"], low_deg=tilt["min"], high_deg=tilt["max"])
    near = words.range(open_path["p1"], open_path["p99"], unit=unit)
    aligning = [note for note in alignment["steps"] if note["code"] in ALIGNING] if alignment else []
    yield from (words.told(note["text"]) for note in aligning)
    if not aligning:
        yield words("step-align", range=near)
    if mounting and any(note["code"] == TURNED for note in mounting["notes"]):
        yield words("step-turn")
    yield words("step-teach", range=near)
    yield words("step-read-each" if several else "step-read")
    band, hold = setup["profile"]["band"], setup["profile"]["hold_ms"]
    inside = words.range(band["low"], band["high"], unit=unit)
    setting = words("step-set-each") if several else words("step-set", range=inside)
    yield setting if hold is None else f"{setting} {words('step-hold', hold_ms=hold)}"
    yield words("step-accept-each") if several else words("step-accept", range=inside)


def _mount(arrangement: Arrangement, words: Words) -> str:
    a = arrangement
    if a.head["type"] == "roller":
        return words("step-mount-roller")
    if a.below_mm is None or a.above_mm is None:
        return words("step-mount-one")
    kind = "pair" if a.head["type"] in ("sound", "light") else "heads"
    told = words(f"step-mount-{kind}", gap_below_mm=a.below_mm, gap_above_mm=a.above_mm)
    bracket = a.mounting["bracket"] if a.mounting else None
    if bracket and bracket["hole_mm"] is not None:
        told += " " + words("step-thread", thread=bracket["thread"], gap_hole_mm=bracket["hole_mm"])
    return told


def facts(setup: Mapping[str, Any], *, words: Words) -> list[str]:
    """What mounting and line speed ask to be known."""
    mounting, timing = setup["mounting"], setup["timing"]
    notes = [note for note in (mounting["notes"] if mounting else ()) if note["code"] not in (TURNED, DRAWN)]
    notes += [note for note in (timing["notes"] if timing else ()) if note["code"] not in ABOUT_THE_JOB]
    return [words.told(note["text"]) for note in notes]


def trial(answer: Mapping[str, Any], *, own: Sequence[int], words: Words) -> tuple[list[str], int]:
    """What is run in the trial and what passes, and how many steps more the answer has, of these set-ups or of all."""
    notes = [
        note
        for note in answer["trial"]
        if note["code"] not in IN_THE_STEPS and note["values"].get("setup", own[0]) in own
    ]
    told = [words.told(note["text"]) for note in notes if note["code"] in TRIED]
    return told, len(notes) - len(told)
