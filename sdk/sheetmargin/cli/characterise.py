"""`sheetmargin characterise readings.csv`: an entry for a catalogue file from bench readings of a pair."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from sheetmargin.cli.fields import number, positive
from sheetmargin.cli.speech import say
from sheetmargin.errors import InvalidJob
from sheetmargin.local import load_characterise
from sheetmargin.readings_file import read_readings
from sheetmargin.report.page import Page

DONE = 0
NUMBERS = ("level_db", "gap_mm", "tilt_deg", "grammage_gsm", "thickness_um")
TEXTS = ("state", "gain", "limit", "material")


def add_characterise_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("readings", metavar="READINGS.csv", help="a table; its first line names the columns")
    parser.add_argument("-o", "--output", type=Path, metavar="FILE", help="where the entry goes; else it is printed")
    parser.add_argument("--language", metavar="TAG", help="language of the heads: en or de")
    group = parser.add_argument_group("what is known of the class: a draft, or the least that is needed")
    group.add_argument("--draft", metavar="FILE", help="a catalogue file (TOML) with one class and what is known of it")
    group.add_argument("--id", metavar="ID", help="the name that the class shall have")
    group.add_argument("--frequency-khz", type=positive, metavar="N", help="of the sound")
    group.add_argument("--face-radius-mm", type=positive, metavar="N", help="of the sounding face, if it is known")
    group = parser.add_argument_group("the air of the bench")
    group.add_argument("--temperature-c", type=number, default=20.0, metavar="N", help="default %(default)s")
    group.add_argument("--relative-humidity-pct", type=number, default=50.0, metavar="N", help="default %(default)s")


def characterise(arguments: argparse.Namespace) -> int:
    """Write the entry; tell on standard error how each parameter came about."""
    derive = load_characterise()
    found = read_readings(Path(arguments.readings), numbers=NUMBERS, texts=TEXTS)
    try:
        entry = derive(
            found.readings,
            [f"Line {line}" for line in found.lines],
            draft=None if arguments.draft is None else _read(arguments.draft),
            class_id=arguments.id,
            frequency_hz=None if arguments.frequency_khz is None else 1e3 * arguments.frequency_khz,
            face_radius_mm=arguments.face_radius_mm,
            temperature_c=arguments.temperature_c,
            relative_humidity_pct=arguments.relative_humidity_pct,
            source=f"bench readings, {Path(arguments.readings).name}",
        )
    except ValueError as error:
        raise InvalidJob(str(error)) from error
    rows = [[name, f"{value}", origin] for name, (value, origin) in entry.origins.items()]
    if arguments.output is None:
        print(entry.catalogue, end="")
    else:
        _write(arguments.output, entry.catalogue)
        head = [say(f"head.{name}") for name in ("parameter", "value", "known")]
        print(*Page().table([head, *rows], right=(1,)), sep="\n", file=sys.stderr)
    return DONE


def _read(name: str) -> str:
    try:
        return Path(name).read_text(encoding="utf-8")
    except OSError as error:
        raise InvalidJob(f"{name} cannot be read: {error.strerror}.") from error
    except UnicodeDecodeError as error:
        raise InvalidJob(f"{name} is not UTF-8 text.") from error


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise InvalidJob(f"{path} cannot be written: {error.strerror}.") from error
