"""Parser, dispatch, and what each outcome means to the shell."""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from sheetmargin.cli.batch import add_batch_options, batch
from sheetmargin.cli.characterise import add_characterise_options, characterise
from sheetmargin.cli.keys import add_keys_options, keys
from sheetmargin.cli.lists import classes, materials
from sheetmargin.cli.measurement import (
    add_diagnose_options,
    add_fit_options,
    add_predict_options,
    diagnose,
    fit,
    predict,
)
from sheetmargin.cli.options import add_job_options, given_options, job_from, named_by_option, positive
from sheetmargin.cli.serve import add_serve_options, serve
from sheetmargin.client import Client
from sheetmargin.contract.answer import Answer, Comparison
from sheetmargin.decode import decode
from sheetmargin.encode import job_to_json
from sheetmargin.errors import InvalidJob, SheetmarginError, UnusableKeyFile
from sheetmargin.report.recommendation import comparison_report, report

SERVES, BAD_INPUT, NOTHING_SERVES, NO_ANSWER, INTERRUPTED = 0, 2, 3, 4, 130

EXIT_CODES = """\
exit codes:
  0    answered; for `recommend`: at least one set-up serves, or may after a trial
  2    the question or the command line is wrong; the message says where and what would be right
  3    answered: nothing admitted serves this job, or not all of its sheets
  4    no answer: not reachable, overloaded, not authorised, not installed, or not a sheetmargin service
  5    `batch`: every row was asked about, and some of them are bad; the output and the messages say which and why
  130  interrupted
`serve` ends with the code of gunicorn: 0 when it was stopped, 1 where a setting is wrong or the address is taken.
"""


def main(argv: Sequence[str] | None = None) -> int:
    """Runs one command; returns its exit code. A wrong command line exits with 2, as argparse does."""
    arguments = _parser().parse_args(argv)
    run: Callable[[argparse.Namespace], int] = arguments.run
    try:
        return run(arguments)
    except SheetmarginError as error:
        print(f"sheetmargin: {_in_words(error, arguments)}", file=sys.stderr)
        return BAD_INPUT if isinstance(error, InvalidJob | UnusableKeyFile) else NO_ANSWER
    except BrokenPipeError:
        # The reader, `head` say, has seen enough. Python flushes stdout once more at exit: give it somewhere to go.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return SERVES
    except KeyboardInterrupt:
        return INTERRUPTED


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="sheetmargin",
        description="Which double-sheet detector, how far apart, tilted how much, set to what, and will it work.",
        epilog=EXIT_CODES
        + "\nWhat the words mean: /docs/glossary of a running service, docs/glossary.md of the project."
        + "\nA double-sheet detector is no safety device. Lock out the machine before work on it.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")

    def command(name: str, run: Callable[[argparse.Namespace], int], text: str) -> argparse.ArgumentParser:
        made = commands.add_parser(
            name,
            help=text,
            description=text,
            epilog=EXIT_CODES,
            allow_abbrev=False,
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        made.set_defaults(run=run)
        return made

    made = command("recommend", _recommend, "rank the set-ups for a sheet, or for a job file")
    made.add_argument(
        "--job", metavar="FILE", help="a job as JSON; - reads standard input; then no option describes the job"
    )
    add_job_options(made)
    _add_client_options(made)
    made = command("compare", _compare, "two detector classes for a job side by side, the deciding step first")
    made.add_argument("between", nargs=2, metavar="CLASS", help="ids of the two classes")
    made.add_argument(
        "--job", metavar="FILE", help="a job as JSON; - reads standard input; then no option describes the job"
    )
    add_job_options(made)
    _add_client_options(made)
    made = command("predict", _asking(predict), "what a set-up would read of a sheet, and how often wrongly")
    add_predict_options(made)
    _add_client_options(made)
    made = command("fit", _asking(fit), "the sheet that readings of a sample speak for, and what it changes")
    add_fit_options(made)
    _add_client_options(made)
    made = command("diagnose", _asking(diagnose), "what is wrong with an installed set-up")
    add_diagnose_options(made)
    _add_client_options(made)
    made = command("batch", _batch, "rank the set-ups for every row of a table")
    add_batch_options(made)
    _add_client_options(made, json=False)
    made = command("characterise", characterise, "make an entry of a catalogue file from bench readings of a pair")
    add_characterise_options(made)
    made = command("materials", _listing(materials), "list the materials, or those that a word finds")
    made.add_argument("query", nargs="?", help="part of a name, in any of the languages")
    _add_client_options(made)
    made = command("classes", _listing(classes), "list the detector classes of the catalogue")
    _add_client_options(made)
    made = command("serve", serve, "serve the API with gunicorn")
    add_serve_options(made)
    made = command("keys", keys, "make, list and revoke the keys of a service")
    add_keys_options(made)
    return parser


def _add_client_options(parser: argparse.ArgumentParser, *, json: bool = True) -> None:
    group = parser.add_argument_group("the service")
    group.add_argument(
        "--url", help="ask the service at this address; without it, the one installed here, in this process"
    )
    group.add_argument("--token", help="bearer token; better in SHEETMARGIN_TOKEN, where no process list shows it")
    group.add_argument(
        "--timeout", type=positive, default=30, metavar="S", help="seconds to wait (default %(default)s)"
    )
    group.add_argument("--language", metavar="TAG", help="language of the texts: en or de")
    if json:
        group.add_argument("--json", action="store_true", help="print the service's JSON as it came")


def _client(arguments: argparse.Namespace) -> Client:
    token = arguments.token or os.environ.get("SHEETMARGIN_TOKEN")
    catalogue = getattr(arguments, "catalogue", None)
    if arguments.url is None:
        return Client.in_process(catalogue=catalogue, token=token, language=arguments.language)
    if catalogue is not None:
        raise InvalidJob("A catalogue file is for the service in this process; a service at an address has its own.")
    retries = getattr(arguments, "retries", 3)
    return Client(arguments.url, token, arguments.timeout, retries=retries, language=arguments.language)


def _recommend(arguments: argparse.Namespace) -> int:
    body = _job(arguments)
    with _client(arguments) as client:
        reply = client.request("POST", "/v1/recommendations", body=body)
    answer = decode(Answer, reply.json())
    _print(reply.content.decode() if arguments.json else report(answer))
    return NOTHING_SERVES if answer.verdict == "unsuitable" else SERVES


def _compare(arguments: argparse.Namespace) -> int:
    first, second = arguments.between
    body = json.dumps(json.loads(_job(arguments)) | {"between": [first, second]}).encode()
    with _client(arguments) as client:
        reply = client.request("POST", "/v1/comparisons", body=body)
    comparison = decode(Comparison, reply.json())
    _print(reply.content.decode() if arguments.json else comparison_report(comparison))
    return SERVES if comparison.recommendations else NOTHING_SERVES


def _batch(arguments: argparse.Namespace) -> int:
    with _client(arguments) as client:
        return batch(client, arguments)


def _job(arguments: argparse.Namespace) -> bytes:
    given = given_options(arguments)
    if arguments.job is None:
        if not given:
            raise InvalidJob("No sheet is described: try --material copy-paper --grammage-gsm 80, or --job FILE.")
        return job_to_json(job_from(arguments))
    if given:
        raise InvalidJob(f"The job is described twice, by --job and by {', '.join(given)}: keep one of the two.")
    try:
        return sys.stdin.buffer.read() if arguments.job == "-" else Path(arguments.job).read_bytes()
    except OSError as error:
        raise InvalidJob(f"{arguments.job} cannot be read: {error.strerror}.") from error


def _listing(render: Callable[[Client, argparse.Namespace], str]) -> Callable[[argparse.Namespace], int]:
    def run(arguments: argparse.Namespace) -> int:
        with _client(arguments) as client:
            _print(render(client, arguments))
        return SERVES

    return run


def _asking(ask: Callable[[Client, argparse.Namespace], tuple[int, str]]) -> Callable[[argparse.Namespace], int]:
    def run(arguments: argparse.Namespace) -> int:
        with _client(arguments) as client:
            code, text = ask(client, arguments)
        _print(text)
        return code

    return run


def _print(text: str) -> None:
    # A terminal that cannot show a letter shows a question mark, rather than a traceback.
    with contextlib.suppress(AttributeError):
        sys.stdout.reconfigure(errors="replace")  # type: ignore[union-attr]
    print(text)
    sys.stdout.flush()


def _in_words(error: SheetmarginError, arguments: argparse.Namespace) -> str:
    """The error; where options described the job, each pointer into it is replaced by the option for that place."""
    if getattr(arguments, "job", None) is None:
        error.errors = tuple(named_by_option(fault) for fault in error.errors)
    return str(error)
