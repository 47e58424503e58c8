"""`sheetmargin predict`, `fit`, `record` and `diagnose`."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any, TypeVar, get_args

from sheetmargin.cli.fields import number, plain_fields, whole
from sheetmargin.cli.names import option_of
from sheetmargin.cli.options import add_parts, add_wishes, circumstances_from, given, sheet_from
from sheetmargin.cli.output import print_answer, shown_sections
from sheetmargin.cli.service import client_of
from sheetmargin.cli.speech import say
from sheetmargin.cli.stock_entry import add_stock_options, check_entry, replace_file, with_trial, write_entry
from sheetmargin.contract.answer import Answer
from sheetmargin.contract.fields import field_texts
from sheetmargin.contract.job import Sheet, Surface
from sheetmargin.contract.measure import (
    BenchReading,
    Diagnosis,
    DiagnosisQuestion,
    Fit,
    FitQuestion,
    Grid,
    InstalledProfile,
    InstalledSetup,
    MachineReading,
    Prediction,
    PredictionQuestion,
    Symptom,
)
from sheetmargin.contract.trials import InstalledBand, Trial
from sheetmargin.decode import decode
from sheetmargin.encode import question_to_json
from sheetmargin.errors import InvalidJob
from sheetmargin.readings_file import ReadingsTable, read_readings

A = TypeVar("A")
SERVES, NOTHING_SERVES = 0, 3
SETUP = ("detector_class", "gap_mm")
"""What a trial cannot do without, beside the band."""


def add_predict_options(parser: argparse.ArgumentParser) -> None:
    _add_setup(parser, needed=True)
    grid = parser.add_argument_group("a grid, one of three")
    grid.add_argument("--map", action="store_true", help="margins over gap and tilt, as far as --gaps and --tilts say")
    grid.add_argument("--gaps", nargs="+", type=number, metavar="MM", help="gaps of the map, rising")
    grid.add_argument("--tilts", nargs="+", type=number, metavar="DEG", help="tilts of the map, rising")
    grid.add_argument("--positions", nargs="+", type=number, metavar="MM", help="positions of the sheet")
    grid.add_argument("--grammages", nargs="+", type=number, metavar="GSM", help="grammages of the sheet")
    add_parts(parser)
    _add_plot(parser)


def add_fit_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "readings", metavar="READINGS.csv", help="a table of readings; its first line names the columns"
    )
    _add_setup(parser, needed=False)
    add_parts(parser)
    add_wishes(parser)
    _add_plot(parser)
    add_stock_options(parser, what="the fitted sheet")


def add_record_options(parser: argparse.ArgumentParser) -> None:
    add_stock_options(parser, what="the trial", needed=True)
    group, texts = parser.add_argument_group("the trial"), field_texts(Trial)
    for name, read in plain_fields(Trial).items():
        how: dict[str, Any] = {"type": read, "metavar": "TEXT" if read is str else "N"}
        group.add_argument(option_of(name), required=name in SETUP, help=texts[name], **how)
    group.add_argument("--band", nargs=2, type=whole, required=True, metavar=("FROM", "TO"), help=texts["band"])
    add_parts(parser, leave_out=(Sheet, Surface))
    add_wishes(parser)


def add_diagnose_options(parser: argparse.ArgumentParser) -> None:
    _add_setup(parser, needed=True)
    parser.add_argument(
        "--symptom",
        action="append",
        default=[],
        choices=get_args(Symptom),
        dest="symptoms",
        help="what was noticed; may be repeated",
    )
    parser.add_argument("--readings", metavar="FILE.csv", help="readings at the set-up")
    add_parts(parser)


def predict(arguments: argparse.Namespace) -> int:
    grid = {
        "gap_mm": arguments.gaps or ([arguments.gap_mm] if arguments.map else None),
        "tilt_deg": arguments.tilts or ([0.0, 10.0, 20.0, 30.0, 40.0] if arguments.map or arguments.gaps else None),
        "position_mm": arguments.positions,
        "grammage_gsm": arguments.grammages,
    }
    grid = {name: values for name, values in grid.items() if values}
    question = PredictionQuestion(setup=_setup(arguments), grid=Grid(**grid) if grid else None, **_job(arguments))
    content, prediction = _ask(Prediction, "/v1/predictions", question, arguments)
    _draw(prediction, arguments)
    print_answer(prediction, content, arguments)
    return NOTHING_SERVES if prediction.predicted.verdict == "unsuitable" else SERVES


def fit(arguments: argparse.Namespace) -> int:
    check_entry(arguments)
    table = read_readings(Path(arguments.readings))
    usual = {
        name: value
        for name in ("detector_class", "gap_mm", "tilt_deg")
        if (value := getattr(arguments, name)) is not None
    }
    question = FitQuestion(
        readings=[
            _reading({**usual, **reading}, line) for reading, line in zip(table.readings, table.lines, strict=True)
        ],
        **_job(arguments),
    )
    content, found = _ask(Fit, "/v1/fits", question, arguments, table=table)
    write_entry(found, arguments, readings=len(table.readings))
    _draw(found, arguments)
    print_answer(found, content, arguments)
    return NOTHING_SERVES if found.fitted.verdict == "unsuitable" else SERVES


def record(arguments: argparse.Namespace) -> int:
    """What the trial changes is computed before it is written: what the service refuses is not."""
    low, high = arguments.band
    arguments.date = arguments.date or date.today().isoformat()
    trial = given(arguments, Trial, band=InstalledBand(low=low, high=high))
    sheet, stock = with_trial(arguments.into, arguments.as_article, trial)
    question = {"sheets": [sheet], **circumstances_from(arguments)}
    content, answer = _ask(Answer, "/v1/recommendations", question, arguments)
    replace_file(arguments.into, stock)
    arguments.command = "recommend"  # the next step is to ask for more, not to record it again
    print_answer(answer, content, arguments)
    return NOTHING_SERVES if answer.verdict == "unsuitable" else SERVES


def diagnose(arguments: argparse.Namespace) -> int:
    table = read_readings(Path(arguments.readings)) if arguments.readings else None
    readings = []
    if table is not None:
        names = MachineReading.__dataclass_fields__.keys()
        readings = [MachineReading(**{n: v for n, v in reading.items() if n in names}) for reading in table.readings]
    question = DiagnosisQuestion(
        setup=_setup(arguments), symptoms=arguments.symptoms, readings=readings, **_job(arguments)
    )
    content, diagnosis = _ask(Diagnosis, "/v1/diagnoses", question, arguments, table=table)
    print_answer(diagnosis, content, arguments)
    return SERVES


def _ask(
    kind: type[A], path: str, question: Any, arguments: argparse.Namespace, *, table: ReadingsTable | None = None
) -> tuple[bytes, A]:
    """The answer as it came and decoded; what is wrong with a reading is told by its line."""
    shown_sections(arguments)
    with client_of(arguments) as client:
        try:
            reply = client.request("POST", path, body=question_to_json(question))
        except InvalidJob as error:
            raise (_told_by_line(error, table) if table else error) from error
    return reply.content, decode(kind, reply.json())


def _add_setup(parser: argparse.ArgumentParser, *, needed: bool) -> None:
    group = parser.add_argument_group("the set-up" if needed else "the set-up, where the table does not say")
    group.add_argument("--detector-class", required=needed, metavar="ID", help="`sheetmargin classes` lists them")
    group.add_argument("--gap-mm", type=number, required=needed, metavar="N", help="from face to face")
    group.add_argument("--tilt-deg", type=number, metavar="N", help="of the pair's axis against the sheet's normal")
    if needed:
        group.add_argument(
            "--band", nargs=2, type=whole, metavar=("FROM", "TO"), help="attenuation that counts as one sheet"
        )
        group.add_argument("--hold-ms", type=number, metavar="N", help="how long the output is held")


def _add_plot(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--plot", metavar="FILE", help="draw the answer into this file (.png, .svg, .pdf); needs the extra `plot`"
    )


def _job(arguments: argparse.Namespace) -> dict[str, Any]:
    sheet = sheet_from(arguments)
    if sheet == Sheet():
        raise InvalidJob(say("no-sheet"))
    return {"sheet": sheet, **circumstances_from(arguments)}


def _setup(arguments: argparse.Namespace) -> InstalledSetup:
    band = InstalledBand(low=arguments.band[0], high=arguments.band[1]) if arguments.band else None
    return InstalledSetup(
        detector_class=arguments.detector_class,
        gap_mm=arguments.gap_mm,
        tilt_deg=arguments.tilt_deg or 0.0,
        profile=InstalledProfile(band=band, hold_ms=arguments.hold_ms),
    )


def _reading(values: Mapping[str, Any], line: int) -> BenchReading:
    missing = [name for name in ("detector_class", "gap_mm") if name not in values]
    if missing:
        options = ", ".join(option_of(name) for name in missing)
        raise InvalidJob(say("line-needs", line=line, columns=", ".join(missing), options=options))
    return BenchReading(**values)


def _told_by_line(error: InvalidJob, table: ReadingsTable) -> InvalidJob:
    faults = tuple(table.placed(fault) for fault in error.errors)
    return InvalidJob(error.message, status=error.status, request_id=error.request_id, errors=faults)


def _draw(answer: Prediction | Fit, arguments: argparse.Namespace) -> None:
    if arguments.plot is None:
        return
    from sheetmargin.report.plot import plot_of

    try:
        plot_of(answer).savefig(arguments.plot)
    except (OSError, ValueError) as error:
        raise InvalidJob(say("unwritable", file=arguments.plot, why=error)) from error
