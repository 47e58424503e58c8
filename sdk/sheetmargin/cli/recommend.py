"""`sheetmargin recommend` and `sheetmargin compare`."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from sheetmargin.cli.options import add_parts, add_wishes, given_options, job_from
from sheetmargin.cli.output import print_answer, shown_sections
from sheetmargin.cli.service import client_of
from sheetmargin.cli.speech import say
from sheetmargin.client import Client
from sheetmargin.contract.answer import Answer, Comparison
from sheetmargin.contract.job import Paper
from sheetmargin.decode import decode
from sheetmargin.encode import Question, job_to_json
from sheetmargin.errors import InvalidJob

SERVES, NOTHING_SERVES = 0, 3


def add_job_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--job", metavar="FILE", help="a job as JSON; - reads standard input; then no option describes the job"
    )
    add_parts(parser)
    add_wishes(parser)


def add_recommend_options(parser: argparse.ArgumentParser) -> None:
    add_job_options(parser)
    parser.add_argument(
        "--setup-sheet",
        type=Path,
        metavar="FILE",
        help="also write the set-up sheet of the first choice, to print: .pdf (extra pdf) or .html",
    )


def add_compare_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "between",
        nargs=2,
        metavar="CLASS[@GAP[,TILT[,LOW,HIGH]]]",
        help="ids of the two classes; with gap in mm, tilt in degrees and band, the set-ups as they are mounted",
    )
    add_job_options(parser)


def recommend(arguments: argparse.Namespace) -> int:
    body = job_body(arguments)
    shown_sections(arguments)
    with client_of(arguments) as client:
        reply = client.request("POST", "/v1/recommendations", body=body)
        answer = decode(Answer, reply.json())
        if arguments.setup_sheet is not None and answer.best:
            write_setup_sheet(client, answer.job, arguments.setup_sheet)
    print_answer(answer, reply.content, arguments)
    return NOTHING_SERVES if answer.verdict == "unsuitable" else SERVES


def write_setup_sheet(
    client: Client, job: Question, file: Path, *, rank: int = 1, setup: int = 0, paper: Paper = "a4"
) -> None:
    """The set-up sheet of a recommendation's set-up into a file, whose ending says in which form."""
    if file.suffix not in (".pdf", ".html"):
        raise InvalidJob(say("no-setup-sheet", file=file))
    content = client.setup_sheet(
        job, format="pdf" if file.suffix == ".pdf" else "html", rank=rank, setup=setup, paper=paper
    )
    try:
        file.write_bytes(content)
    except OSError as error:
        raise InvalidJob(say("unwritable", file=file, why=error.strerror)) from error


def compare(arguments: argparse.Namespace) -> int:
    pair = arguments.between
    compared = {"setups": list(map(_setup, pair))} if any("@" in one for one in pair) else {"between": pair}
    body = json.dumps(json.loads(job_body(arguments)) | compared).encode()
    with client_of(arguments) as client:
        reply = client.request("POST", "/v1/comparisons", body=body)
    comparison = decode(Comparison, reply.json())
    print_answer(comparison, reply.content, arguments)
    return SERVES if comparison.recommendations else NOTHING_SERVES


def _setup(text: str) -> dict[str, Any]:
    """A set-up as JSON has it: class@gap, then tilt, then both thresholds of the band, with commas."""
    name, _, numbers = text.partition("@")
    try:
        gap, tilt, *band = (*map(float, numbers.split(",")), 0.0)[: max(2, numbers.count(",") + 1)]
        low, high = map(round, band) if band else (None, None)
    except ValueError:
        raise InvalidJob(say("no-setup", text=text)) from None
    profile = {"band": {"low": low, "high": high}} if band else {}
    return {"detector_class": name, "gap_mm": gap, "tilt_deg": tilt, "profile": profile}


def job_body(arguments: argparse.Namespace) -> bytes:
    """The job that options or a file describe, as JSON."""
    given = given_options(arguments)
    if arguments.job is None:
        if not given:
            raise InvalidJob(say("no-sheet-or-job"))
        return job_to_json(job_from(arguments))
    if given:
        raise InvalidJob(say("job-twice", options=", ".join(given)))
    try:
        return sys.stdin.buffer.read() if arguments.job == "-" else Path(arguments.job).read_bytes()
    except OSError as error:
        raise InvalidJob(say("unreadable", file=arguments.job, why=error.strerror)) from error
