"""What the image is made of: `.ci/generate.py` renews it, `python docker/supply.py` takes the newest versions.

The lock files `requirements.lock` and `build.lock` hold every version with the hashes of its files. From an
installation of the first come the bill of materials `sbom.cdx.json` (CycloneDX) and `docs/licences.md`.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
LOCKS = ("requirements.lock", "build.lock")
BILL = ROOT / "docker" / "sbom.cdx.json"
LICENCES = ROOT / "docs" / "licences.md"
EXTRAS = ("service", "redis", "telemetry")
"""What the image can do: answer, count rates together with its replicas, send spans."""

IN_FILES = {"protobuf": "BSD-3-Clause"}
"""Licences that a package states in a file, not where machines look. Source: its LICENSE, version 7.36.2."""


def locked(folder: Path, *, upgrade: bool) -> None:
    """Write the lock files into a folder: of what the image runs, and of what builds the project's wheel in it.

    Versions stay as they are locked there, unless an `upgrade` is wanted or `pyproject.toml` asks for others.
    """
    build = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["build-system"]["requires"]
    extras = [word for extra in EXTRAS for word in ("--extra", extra)]
    sources = (["pyproject.toml", *extras], ""), (["-"], "\n".join(build))
    for name, (source, stdin) in zip(LOCKS, sources, strict=True):
        command = [sys.executable, "-m", "uv", "pip", "compile", "--quiet", "--generate-hashes", "--no-emit-index-url"]
        command += ["--python-version", "3.11", "--python-platform", "linux", "--output-file", str(folder / name)]
        command += ["--upgrade"] if upgrade else []
        comment = {"UV_CUSTOM_COMPILE_COMMAND": "python .ci/generate.py image"}
        subprocess.run([*command, *source], cwd=ROOT, input=stdin, text=True, env=os.environ | comment, check=True)


def bill(requirements: Path) -> dict[str, Any]:
    """The bill of materials of what a lock file installs."""
    with tempfile.TemporaryDirectory() as folder:
        python = Path(folder) / "venv" / "bin" / "python"
        for command in (
            ["venv", "--without-pip", python.parents[1]],
            ["pip", "--python", python, "install", "-q", "--require-hashes", "-r", requirements],
        ):
            subprocess.run([sys.executable, "-m", *command], cwd=ROOT, check=True)
        project = Path(folder) / "pyproject.toml"
        project.write_text(as_installed(), encoding="utf-8")
        command = ["cyclonedx_py", "environment", python, "--pyproject", project, "--output-reproducible"]
        done = subprocess.run([sys.executable, "-m", *command], cwd=ROOT, stdout=subprocess.PIPE, check=True)
    found: dict[str, Any] = json.loads(done.stdout)
    for part in found["components"]:
        if "licenses" not in part:
            part["licenses"] = [{"license": {"acknowledgement": "declared", "id": IN_FILES[part["name"]]}}]
    return without(found, "externalReferences")


def as_installed() -> str:
    """The project's own part of `pyproject.toml`, in which what the image installs is required and nothing else."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"], *(one for extra in EXTRAS for one in project["optional-dependencies"][extra])]
    lines = [f"{name} = {json.dumps(project[name])}" for name in ("name", "version", "description")]
    licence = f"license = {{ text = {json.dumps(project['license'])} }}"
    return "\n".join(["[project]", *lines, licence, f"dependencies = {json.dumps(wanted)}", ""])


def without(value: Any, name: str) -> Any:
    """JSON without a field, at any depth: here the addresses, which a bill does not need to name its parts."""
    if isinstance(value, dict):
        return {key: without(inner, name) for key, inner in value.items() if key != name}
    return [without(inner, name) for inner in value] if isinstance(value, list) else value


def licences_of(part: dict[str, Any]) -> str:
    """The licences of a component as its package declares them: the SPDX ones, and others where it has no such."""
    told = [one.get("expression") or one["license"].get("id") for one in part["licenses"]]
    spdx = [one for one in told if one]
    return ", ".join(spdx or [one["license"]["name"].rpartition(" :: ")[2] for one in part["licenses"]])


def licence_list(parts: list[dict[str, Any]]) -> str:
    """The page of licences, in Markdown."""
    rows = [f"| {part['name']} | {part['version']} | {licences_of(part)} |" for part in parts]
    return "\n".join(
        [
            "# Licences of what the image installs",
            "",
            "As the packages declare them; written by `python .ci/generate.py image`. The base image brings Python",
            "and the packages of Debian, with licences of their own.",
            "",
            "| package | version | licence |",
            "| --- | --- | --- |",
            *rows,
            "",
        ]
    )


def supplied(*, upgrade: bool = False) -> dict[Path, str]:
    """The lock files, and from an installation of the first the bill of materials and the page of licences."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for lock in LOCKS:
            shutil.copy(ROOT / "docker" / lock, folder)
        locked(folder, upgrade=upgrade)
        found = bill(folder / LOCKS[0])
        texts = {ROOT / "docker" / lock: (folder / lock).read_text(encoding="utf-8") for lock in LOCKS}
    texts[BILL] = json.dumps(found, indent=1, ensure_ascii=False) + "\n"
    return texts | {LICENCES: licence_list(found["components"])}


if __name__ == "__main__":
    for file, text in supplied(upgrade=True).items():
        file.write_text(text, encoding="utf-8")
