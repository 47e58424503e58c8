"""What the image installs: locked with hashes, within the bounds of the project, and told in bill and licences."""

from __future__ import annotations

import importlib.metadata
import json
import re
import runpy
import tomllib
from pathlib import Path
from typing import Any

import pytest
from cyclonedx.schema import SchemaVersion
from cyclonedx.validation.json import JsonStrictValidator
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

ROOT = Path(__file__).parents[2]
PROJECT: dict[str, Any] = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
SUPPLY = runpy.run_path(str(ROOT / "docker" / "supply.py"))
BILL: dict[str, Any] = json.loads(SUPPLY["BILL"].read_text(encoding="utf-8"))
LOCKS = SUPPLY["LOCKS"]
RENEW = "run `python .ci/generate.py image`"


def locked(name: str) -> dict[str, Version]:
    text = (ROOT / "docker" / name).read_text(encoding="utf-8")
    return {canonicalize_name(name): Version(version) for name, version in re.findall(r"^(\S+)==(\S+)", text, re.M)}


@pytest.mark.parametrize("name", LOCKS)
def test_a_lock_holds_versions_and_hashes_and_nothing_else(name: str) -> None:
    text = (ROOT / "docker" / name).read_text(encoding="utf-8")
    entries = re.sub(r"^ *#.*\n", "", text, flags=re.M)
    assert re.fullmatch(r"(\S+==\S+( \\\n    --hash=sha256:[0-9a-f]{64})+\n)+", entries)


@pytest.mark.parametrize(
    ("name", "wanted"),
    [
        (
            "requirements.lock",
            [
                *PROJECT["project"]["dependencies"],
                *(one for extra in SUPPLY["EXTRAS"] for one in PROJECT["project"]["optional-dependencies"][extra]),
            ],
        ),
        ("build.lock", PROJECT["build-system"]["requires"]),
    ],
    ids=LOCKS,
)
def test_a_lock_keeps_the_bounds_of_the_project(name: str, wanted: list[str]) -> None:
    versions = locked(name)
    for requirement in map(Requirement, wanted):
        version = versions.get(canonicalize_name(requirement.name))
        assert version is not None, f"{requirement.name} is not in {name}: {RENEW}"
        assert version in requirement.specifier, f"{requirement.name} {version} is out of bounds: {RENEW}"


def test_the_bill_is_cyclonedx() -> None:
    validator = JsonStrictValidator(SchemaVersion.from_version(BILL["specVersion"]))
    assert validator.validate_str(SUPPLY["BILL"].read_text(encoding="utf-8")) is None


def test_the_bill_has_what_is_locked() -> None:
    billed = {canonicalize_name(part["name"]): Version(part["version"]) for part in BILL["components"]}
    assert billed == locked("requirements.lock"), RENEW
    root = BILL["metadata"]["component"]
    assert (root["name"], root["version"]) == (PROJECT["project"]["name"], PROJECT["project"]["version"]), RENEW


def test_the_list_of_licences_is_that_of_the_bill() -> None:
    assert SUPPLY["LICENCES"].read_text(encoding="utf-8") == SUPPLY["licence_list"](BILL["components"]), RENEW


def test_licences_are_those_that_the_packages_declare() -> None:
    """By Python's own reading of the packages that are installed here in the locked version."""
    told = {canonicalize_name(part["name"]): (part["version"], part) for part in BILL["components"]}
    compared = 0
    for here in importlib.metadata.distributions():
        name, expression = canonicalize_name(here.metadata["Name"]), here.metadata.get("License-Expression")
        if expression and name in told and told[name][0] == here.version:
            assert SUPPLY["licences_of"](told[name][1]) == expression, name
            compared += 1
    assert compared > 10, f"hardly anything is installed in the locked version: {RENEW}"
