"""The Dockerfile, as it is written."""

from __future__ import annotations

import io
import re
import subprocess
import sys
from fnmatch import fnmatch
from pathlib import Path

from dockerfile_parse import DockerfileParser

ROOT = Path(__file__).parents[2]
DOCKERFILE = ROOT / "docker" / "Dockerfile"
USER = 10001


def stages() -> list[list[tuple[str, str]]]:
    """Instruction and value of every line, by stage; what stands before the first stage is left out."""
    parser = DockerfileParser(fileobj=io.BytesIO(DOCKERFILE.read_bytes()))
    found: list[list[tuple[str, str]]] = []
    for line in parser.structure:
        if line["instruction"] == "FROM":
            found.append([])
        if found and line["instruction"] != "COMMENT":
            found[-1].append((line["instruction"], line["value"]))
    return found


def values(stage: list[tuple[str, str]], instruction: str) -> list[str]:
    return [value for name, value in stage if name == instruction]


def test_hadolint_has_nothing_to_say() -> None:
    hadolint = Path(sys.executable).with_name("hadolint")
    done = subprocess.run([hadolint, DOCKERFILE], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (0, "")


def test_the_base_can_be_fixed_by_its_digest() -> None:
    assert [values(stage, "FROM")[0].split()[0] for stage in stages()] == ["${PYTHON}"] * 2
    assert re.search(r"^ARG PYTHON=python:3\.11[\w.-]*$", DOCKERFILE.read_text(encoding="utf-8"), re.M)


def test_nothing_is_installed_without_its_hash() -> None:
    installs = re.findall(r"pip (?:--python \S+ )?install (.+?)(?: &&|$)", " && ".join(values(stages()[0], "RUN")))
    assert len(installs) == 3
    assert all("--require-hashes" in one or "--no-index" in one for one in installs)
    assert all("--no-build-isolation" in one for one in values(stages()[0], "RUN") if "pip wheel" in one)


def test_the_last_stage_only_copies_and_runs_as_a_number() -> None:
    last = stages()[-1]
    assert values(last, "RUN") == []
    assert values(last, "USER") == [f"{USER}:{USER}"]


def test_what_is_copied_is_there_and_not_ignored() -> None:
    let_in = [line[1:] for line in (ROOT / ".dockerignore").read_text(encoding="utf-8").splitlines() if line[:1] == "!"]
    copied = [source for value in values(stages()[0], "COPY") for source in value.split()[:-1]]
    assert {"docker/requirements.lock", "docker/build.lock", "service"} <= set(copied)
    for source in copied:
        assert (ROOT / source).exists()
        assert any(fnmatch(source, pattern) for pattern in let_in), source
