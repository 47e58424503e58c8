"""Writes what is generated in the repository, all of it or what is named.

With --check nothing is written: what differs is printed, and the exit code is 1 where anything does. Computed numbers
of examples differ with the processor in their last digits, misreads by up to 0.3 % (seen): that is no drift.
"""

from __future__ import annotations

import argparse
import difflib
import json
import re
import runpy
import sys
from collections.abc import Callable, Mapping, Sequence
from math import isclose
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
Generator = Callable[[], Mapping[Path, str]]
"""The files that it makes, with their texts."""
ROUNDING = 0.01
"""Relative difference of two numbers with decimals that other processors may make."""
_DECIMAL = re.compile(r"(?<![\w.])(-?\d+\.\d+)(?![\w.])")


def description() -> Mapping[Path, str]:
    """OpenAPI of a service with the reference catalogue and nothing set."""
    from sheetmargin_service.api.openapi import description
    from sheetmargin_service.app import create_app
    from sheetmargin_service.config import Settings

    with create_app(Settings()).app_context():
        text = json.dumps(description(), indent=1, sort_keys=True, ensure_ascii=False) + "\n"
    return {ROOT / "openapi" / "openapi.json": text}


def catalogue_schema() -> Mapping[Path, str]:
    """JSON Schema of a catalogue file, which ships with the package."""
    from sheetmargin_service.detectors import schema
    from sheetmargin_service.principles import principles

    return {Path(schema.__file__).parent / "data" / schema.FILE: schema.written(principles())}


def draws() -> Mapping[Path, str]:
    """The points of which what is not known of a job is drawn, which ship with the package."""
    from sheetmargin_service.principles import draws

    return {Path(draws.__file__).parent / draws.POINTS: draws.points_written()}


def settings() -> Mapping[Path, str]:
    """The table of settings in the guide of those who run the service."""
    from sheetmargin_service.config import settings_table

    guide = ROOT / "docs" / "running.md"
    head, start, rest = guide.read_text(encoding="utf-8").partition("<!-- settings -->\n")
    _, end, tail = rest.partition("<!-- end of settings -->")
    if not end:
        raise ValueError(f"{guide} has no place for the settings")
    return {guide: head + start + settings_table() + end + tail}


def principles() -> Mapping[Path, str]:
    """The page that tells which principle senses which sheet."""
    return {ROOT / "docs" / "principles.md": _program("docs/principles.py")["document"]()}


def guides() -> Mapping[Path, str]:
    """What the commands in the guides print."""
    filled: Mapping[Path, str] = _program("docs/outputs.py")["filled"]()
    return filled


def pictures() -> Mapping[Path, str]:
    """The pictures of the guides."""
    drawn: Mapping[Path, str] = _program("docs/pictures.py")["drawn"]()
    return drawn


def materials() -> Mapping[Path, str]:
    """The page of the library's names."""
    return {ROOT / "docs" / "materials.md": _program("docs/library.py")["document"]()}


def glossary() -> Mapping[Path, str]:
    """The words, in English and in German."""
    from sheetmargin_service.web.docs import glossary

    rows = [
        f"| {term['name']['en']} | {term['means']['en']} | {term['name']['de']} | {term['means']['de']} "
        f"| {', '.join(term['avoid'])} |"
        for term in glossary()
    ]
    head = [
        "# Glossary\n\nOne word for each thing, in code, JSON, commands, pages and prose. Generated from",
        "`messages/glossary.toml`, as `/docs/glossary` of a running service is.\n",
        "| English | meaning | Deutsch | Bedeutung | not |\n| --- | --- | --- | --- | --- |",
    ]
    return {ROOT / "docs" / "glossary.md": "\n".join([*head, *rows]) + "\n"}


def results() -> Mapping[Path, str]:
    """What moved results, by version of the package, as the service tells it."""
    from sheetmargin_service.web import docs

    changes = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    told = [
        f"## {version}\n{moved}"
        for version, text in re.findall(r"^## (.+)\n((?:(?!## ).*\n)*)", changes, re.MULTILINE)
        for moved in re.findall(r"^### Results\n((?:(?!### ).*\n)*)", text, re.MULTILINE)
    ]
    return {Path(docs.__file__).parent / docs.RESULTS: "\n".join(part.rstrip("\n") + "\n" for part in told)}


def image() -> Mapping[Path, str]:
    """Lock files, bill of materials and licences of what the image installs, in the versions that are locked."""
    supplied: Mapping[Path, str] = _program("docker/supply.py")["supplied"]()
    return supplied


GENERATORS: Mapping[str, Generator] = {
    "description": description,
    "catalogue-schema": catalogue_schema,
    "draws": draws,
    "settings": settings,
    "principles": principles,
    "guides": guides,
    "pictures": pictures,
    "materials": materials,
    "glossary": glossary,
    "results": results,
    "image": image,
}


def alike(old: str, new: str) -> bool:
    """Whether two texts are the same but for the rounding of their decimals."""
    before, after = _DECIMAL.split(old), _DECIMAL.split(new)
    return before[::2] == after[::2] and all(
        isclose(float(a), float(b), rel_tol=ROUNDING) for a, b in zip(before[1::2], after[1::2], strict=True)
    )


def _program(name: str) -> dict[str, Any]:
    return runpy.run_path(str(ROOT / name))


def main(arguments: Sequence[str] | None = None, *, generators: Mapping[str, Generator] = GENERATORS) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--check", action="store_true", help="write nothing; fail where a file differs")
    told = ", ".join(generators)
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"what to generate: {told} (default: all)")
    options = parser.parse_args(arguments)
    if unknown := set(options.names) - set(generators):
        parser.error(f"nothing is generated by the name of {', '.join(sorted(unknown))}; there are {told}")
    drifted = False
    for name in options.names or generators:
        for file, new in generators[name]().items():
            old = file.read_text(encoding="utf-8") if file.is_file() else ""
            if alike(old, new):
                continue
            if options.check:
                lines = difflib.unified_diff(
                    old.splitlines(), new.splitlines(), str(file), "as it would be", lineterm=""
                )
                print(*list(lines)[:200], sep="\n")
                drifted = True
            else:
                file.write_text(new, encoding="utf-8")
                print(f"{name}: {file}")
    if drifted:
        print(f"run `python {Path(__file__).relative_to(ROOT)}`", file=sys.stderr)
    return int(drifted)


if __name__ == "__main__":
    sys.exit(main())
