"""How an answer is printed: short, by sections, in a line, as JSON, CSV or Markdown."""

from __future__ import annotations

import argparse
import contextlib
import sys
from typing import Any

from sheetmargin.cli.names import named_input
from sheetmargin.cli.parser import nearest
from sheetmargin.cli.settings import FORMATS
from sheetmargin.cli.speech import known_language, say
from sheetmargin.cli.terminal import page
from sheetmargin.contract.answer import Answer
from sheetmargin.errors import InvalidJob
from sheetmargin.report.records import as_csv, as_markdown, records_of
from sheetmargin.report.render import SECTIONS, render
from sheetmargin.report.view import View, field_of


def add_output_options(parser: argparse.ArgumentParser, *, of: type | None = None) -> None:
    """`of`: the kind of answer, where it has sections to show."""
    group = parser.add_argument_group("the output")
    group.add_argument("--format", choices=FORMATS, help="table (default), json, csv or md")
    group.add_argument("--json", action="store_const", const="json", dest="format", help="the same as --format json")
    group.add_argument("--quiet", action="store_true", help="one line, and nothing beside it")
    sections = SECTIONS.get(of, {}) if of else {}
    parser.set_defaults(sections=tuple(sections))
    if sections:
        words = ",".join(sections)
        group.add_argument(
            "--show", metavar="SECTIONS", help=f"in place of the short answer, with commas: {words}; or all"
        )
        group.add_argument("--explain", action="store_const", const="all", dest="show", help="the same as --show all")


def view_of(arguments: argparse.Namespace) -> View:
    """For this terminal. Inputs are called by their options, or as the job file that describes the job has them."""
    from_file = getattr(arguments, "job", None) is not None
    hint = f"sheetmargin {arguments.command}" + (f" --job {arguments.job}" if from_file else " ...")
    more = "" if not arguments.sections else "   " + say("other-sections")

    def next_step(section: str) -> str:
        return f"{hint} --show {section}{more}" if section in arguments.sections else ""

    return View(page=page(), name_input=field_of if from_file else named_input, next_step=next_step)


def shown_sections(arguments: argparse.Namespace) -> tuple[str, ...]:
    """The sections asked for. InvalidJob, naming the likest, for one that there is not."""
    known, asked = arguments.sections, (getattr(arguments, "show", None) or "").split(",")
    if asked == ["all"]:
        return tuple(known)
    for name in filter(None, asked):
        if name not in known:
            told = say("no-section", section=name, known=", ".join((*known, "all")))
            raise InvalidJob(told + nearest(name, known))
    return tuple(filter(None, asked))


def print_answer(answer: Any, content: bytes, arguments: argparse.Namespace) -> None:
    """In the format asked for; `content` is the JSON as it came."""
    view = view_of(arguments)
    match arguments.format:
        case "json":
            print_text(content.decode())
        case "csv":
            print_text(as_csv(records_of(answer)))
        case "md":
            print_text(as_markdown(records_of(answer), view.reading(answer)))
        case _ if arguments.quiet:
            first, *_ = render(answer, view).split("\n")
            print_text(_in_a_line(answer, view.reading(answer)) if isinstance(answer, Answer) else first)
        case _:
            print_text(render(answer, view, show=shown_sections(arguments)))


def print_records(found: Any, content: bytes, arguments: argparse.Namespace, *, text: str) -> None:
    """A list in the format asked for."""
    view = View(language=known_language(arguments.language), page=page())
    match arguments.format:
        case "json":
            print_text(content.decode())
        case "csv":
            print_text(as_csv(records_of(found)))
        case "md":
            print_text(as_markdown(records_of(found), view))
        case _:
            print_text(text)


def _in_a_line(answer: Answer, view: View) -> str:
    """Verdict, class, gap and band of the first set-up."""
    told = [view.words.of("verdict", answer.verdict)]
    if answer.best and answer.best.setups:
        setup = answer.best.setups[0]
        gap = f"{view.figures.gap(setup.geometry.gap_mm.nominal)} mm"
        told += [setup.detector_class.id, gap, str(setup.profile.band)]
    return view.page.plain("; ".join(told))


def print_text(text: str) -> None:
    # A terminal that cannot show a letter shows a question mark, rather than a traceback.
    with contextlib.suppress(AttributeError):
        sys.stdout.reconfigure(errors="replace")  # type: ignore[union-attr]
    print(text)
    sys.stdout.flush()
