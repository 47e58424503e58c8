"""Parser, dispatch, and what each outcome means to the shell."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from importlib import metadata

from sheetmargin.cli.batch import add_batch_options, batch
from sheetmargin.cli.characterise import add_characterise_options, characterise
from sheetmargin.cli.completion import add_completion_options, completion
from sheetmargin.cli.keys import add_keys_options, keys
from sheetmargin.cli.lists import add_materials_options, classes, materials
from sheetmargin.cli.measurement import (
    add_diagnose_options,
    add_fit_options,
    add_predict_options,
    add_record_options,
    diagnose,
    fit,
    predict,
    record,
)
from sheetmargin.cli.names import named_by_option
from sheetmargin.cli.output import add_output_options, print_text
from sheetmargin.cli.parser import Parser
from sheetmargin.cli.recommend import add_compare_options, add_recommend_options, compare, recommend
from sheetmargin.cli.serve import add_serve_options, serve
from sheetmargin.cli.service import add_service_options, fill_from_settings
from sheetmargin.cli.settings import Settings, load_settings
from sheetmargin.cli.setup_sheet import add_setup_sheet_options, setup_sheet
from sheetmargin.cli.speech import known_language, language, say
from sheetmargin.contract.answer import Answer, Comparison
from sheetmargin.contract.measure import Diagnosis, Fit, Prediction
from sheetmargin.contract.problem import Fault
from sheetmargin.errors import InvalidJob, SheetmarginError, UnusableKeyFile

SERVES, BAD_INPUT, NO_ANSWER, INTERRUPTED = 0, 2, 4, 130

EXIT_CODES = """\
exit codes:
  0    answered; for `recommend`: at least one set-up serves, or may after a trial
  2    the job or the command line is wrong; the message says where and what would be right
  3    answered: nothing serves this job, or not all of its sheets
  4    no answer: not reachable, overloaded, not authorised, not installed, or not a sheetmargin service
  5    `batch`: every row was asked about, and some of them are bad; the output and the messages say which and why
  130  interrupted
`serve` ends with the code of gunicorn: 0 when it was stopped, 1 where a setting is wrong or the address is taken.
"""
Command = Callable[[argparse.Namespace], int]
Options = Callable[[argparse.ArgumentParser], None]


def main(argv: Sequence[str] | None = None) -> int:
    """Runs one command; returns its exit code. A wrong command line exits with 2, as argparse does."""
    given = list(sys.argv[1:] if argv is None else argv)
    language.set(known_language(_language_in(given)))
    arguments: argparse.Namespace | None = None
    try:
        settings = load_settings()
        if _language_in(given) is None:
            language.set(known_language(settings.language))
        parser = _parser()
        arguments = parser.parse_args(given)
        return _run(arguments, parser, settings)
    except SheetmarginError as error:
        for line in _in_words(error, arguments):
            print(f"sheetmargin: {line}", file=sys.stderr)
        return BAD_INPUT if isinstance(error, InvalidJob | UnusableKeyFile) else NO_ANSWER
    except BrokenPipeError:
        # The reader, `head` say, has seen enough. Python flushes stdout once more at exit: give it somewhere to go.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return SERVES
    except KeyboardInterrupt:
        return INTERRUPTED


def _run(arguments: argparse.Namespace, parser: argparse.ArgumentParser, settings: Settings) -> int:
    arguments.whole_parser = parser
    if hasattr(arguments, "url"):
        fill_from_settings(arguments, settings)
    run: Command = arguments.run
    return run(arguments)


def _language_in(given: Sequence[str]) -> str | None:
    """The language that a command line asks for, before it is known to be right."""
    for position, text in enumerate(given):
        if text.startswith("--language="):
            return text.partition("=")[2]
        if text == "--language":
            return given[position + 1] if position + 1 < len(given) else None
    return None


def _parser() -> argparse.ArgumentParser:
    parser = Parser(
        prog="sheetmargin",
        description="Choose and set up a double-sheet detector by calculation.",
        epilog=EXIT_CODES
        + "\nWhat the words mean: /docs/glossary of a running service, docs/glossary.md of the project."
        + "\nA double-sheet detector is not a safety device. Isolate and lock out the machine before work on it.",
    )
    parser.add_argument("--version", action=_Version, nargs=0, help="print the version of the package")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND", dest="command")

    def command(name: str, run: Command, text: str, options: Options | None = None) -> argparse.ArgumentParser:
        made = commands.add_parser(name, help=text, description=text, epilog=EXIT_CODES)
        made.set_defaults(run=run)
        if options is not None:
            options(made)
        return made

    def asking(name: str, run: Command, text: str, options: Options | None, *, of: type | None = None) -> None:
        made = command(name, run, text, options)
        add_service_options(made)
        add_output_options(made, of=of)

    asking("recommend", recommend, "rank the set-ups for a sheet, or for a job file", add_recommend_options, of=Answer)
    asking("compare", compare, "compare two detector classes or set-ups for a job", add_compare_options, of=Comparison)
    made = command("setup-sheet", setup_sheet, "write the set-up sheet of a recommendation", add_setup_sheet_options)
    add_service_options(made)
    asking("predict", predict, "tell what a set-up would read of a sheet", add_predict_options, of=Prediction)
    asking("fit", fit, "tell what readings say of a sheet, and what that changes", add_fit_options, of=Fit)
    asking("record", record, "note a trial of an article, and tell what it changes", add_record_options, of=Answer)
    asking("diagnose", diagnose, "tell what is wrong with an installed set-up", add_diagnose_options, of=Diagnosis)
    asking("materials", materials, "list the materials, or those that a word finds", add_materials_options)
    asking("classes", classes, "list the detector classes of the catalogue", None)
    made = command("batch", batch, "rank the set-ups for every row of a table", add_batch_options)
    add_service_options(made)
    command(
        "characterise", characterise, "make a catalogue entry from bench readings of a pair", add_characterise_options
    )
    command("serve", serve, "serve the API with gunicorn", add_serve_options)
    command("keys", keys, "make, list and revoke the keys of a service", add_keys_options)
    command("completion", completion, "print a completion script for a shell", add_completion_options)
    return parser


class _Version(argparse.Action):
    """Looked up only when it is asked for."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> None:
        print_text(f"sheetmargin {metadata.version('sheetmargin')}")
        parser.exit()


def _in_words(error: SheetmarginError, arguments: argparse.Namespace | None) -> list[str]:
    """A line for each thing that is wrong, by the option that says it where options described the job."""
    by_option = arguments is not None and getattr(arguments, "job", None) is None
    places: dict[Fault, list[str]] = {}
    for fault in error.errors:
        named = named_by_option(fault) if by_option else fault
        places.setdefault(replace(named, pointer=None), []).append(named.pointer or "")
    lines = [
        f"{', '.join(dict.fromkeys(filter(None, names)))}: {_sentence(fault)}" if any(names) else _sentence(fault)
        for fault, names in places.items()
    ]
    if not lines:
        lines = [error.message]
    if error.request_id and not isinstance(error, InvalidJob):
        lines.append(say("request", id=error.request_id))
    return lines


def _sentence(fault: Fault) -> str:
    """What is wrong, what would be right, what may have been meant."""
    text = fault.detail
    if fault.line is not None:
        text = say("at-line", line=fault.line, column=fault.column, text=text)
    if fault.expected and fault.expected.casefold() not in text.casefold():
        text = f"{text} {say('expected', expected=fault.expected)}"
    if fault.suggestions:
        text = f"{text} {say('did-you-mean', near=', '.join(fault.suggestions))}"
    return text
