"""The image, as far as it can be tried without building it: linted, and its commands run in a clean folder."""

from __future__ import annotations

import io
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import urllib.request
from collections.abc import Iterator
from fnmatch import fnmatch
from pathlib import Path

import pytest
from dockerfile_parse import DockerfileParser
from support.servers import Server, free_port

ROOT = Path(__file__).parents[2]
DOCKERFILE = ROOT / "docker" / "Dockerfile"
USER = 10001

# What `docker run --read-only --cap-drop ALL --security-opt no-new-privileges` does, in a mount namespace of its own.
CONFINED = """\
mount --make-rprivate / && mount -o remount,bind,ro / && mount -t tmpfs -o size=64m,mode=1777 tmpfs /dev/shm || exit 70
exec setpriv --reuid=$USER_ID --regid=$USER_ID --clear-groups --inh-caps=-all --bounding-set=-all --no-new-privs -- "$@"
"""


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


@pytest.fixture
def folder() -> Iterator[Path]:
    """An empty folder that another user may read, which those of pytest are not."""
    with tempfile.TemporaryDirectory() as made:
        Path(made).chmod(0o755)
        yield Path(made)


def build(folder: Path) -> None:
    """Do what the first stage does, with `folder` for its root and a new environment for the base image's Python."""
    subprocess.run([sys.executable, "-m", "venv", folder / "base"], check=True)
    path = f"{folder}/base/bin:/usr/bin:/bin"
    at = folder
    for instruction, value in stages()[0]:
        if instruction == "WORKDIR":
            at = folder / value.removeprefix("/")
            at.mkdir()
        elif instruction == "COPY":
            *sources, target = value.split()
            for source in sources:
                if (ROOT / source).is_dir():
                    shutil.copytree(ROOT / source, at / target, ignore=shutil.ignore_patterns("__pycache__"))
                else:
                    shutil.copy(ROOT / source, at / target)
        elif instruction == "RUN":
            command = re.sub(r"(?<= )/(venv|wheels)\b", rf"{folder}/\1", value)
            subprocess.run(["sh", "-ec", command], cwd=at, env=os.environ | {"PATH": path}, check=True)
        else:
            assert instruction == "FROM"


@pytest.mark.long
def test_the_image_s_commands_in_a_clean_folder(folder: Path, tmp_path: Path) -> None:
    """Also without capabilities, as the image's user and on a read-only root, where this process may arrange that."""
    build(folder)
    python = folder / "venv" / "bin" / "python"
    subprocess.run([folder / "base" / "bin" / "pip", "--python", python, "check"], check=True)
    assert not python.with_name("pip").exists()
    # The extras that settings may ask for are in it: a setting whose extra is absent is refused.
    asks = "{'SHEETMARGIN_REDIS_URL': 'redis://redis', 'SHEETMARGIN_TELEMETRY': 'on'}"
    check = f"from sheetmargin_service.config import settings_from; settings_from({asks})"
    subprocess.run([python, "-c", check], cwd=folder, check=True)

    last = stages()[-1]
    port = free_port()
    (command,) = (json.loads(value) for value in values(last, "CMD"))
    command = [word.replace("0.0.0.0:8080", f"127.0.0.1:{port}") for word in command]
    assert f"127.0.0.1:{port}" in command
    confined = subprocess.run(["unshare", "--mount", "mount", "--make-rprivate", "/"], check=False).returncode == 0
    prefix = ["unshare", "--mount", "--", "sh", "-c", CONFINED.replace("$USER_ID", str(USER)), "sh"] if confined else []
    environment = {
        "PATH": f"{python.parent}:/usr/bin:/bin",
        "HOME": "/nonexistent",
        "PYTHONDONTWRITEBYTECODE": "1",
        "SHEETMARGIN_ACCESS": "open",
        "WEB_CONCURRENCY": "2",
    }
    server = Server([*prefix, *command], port=port, log=tmp_path / "log", environment=environment)
    try:
        server.wait("/readyz")
        (health,) = re.findall(r"CMD (\[.+\])$", *values(last, "HEALTHCHECK"))
        words = [word.replace("8080", str(port)) for word in json.loads(health)]
        subprocess.run([python, *words[1:]], check=True)
        question = "/v1/recommendations?material=copy-paper&grammage_gsm=80&limit=1"
        with urllib.request.urlopen(server.url + question) as answer:
            assert json.load(answer)["verdict"] == "suitable"
        jobs = json.dumps([{"sheets": [{"material": "pet", "thickness_um": 50}], "limit": 1}] * 2).encode()
        batch = urllib.request.Request(f"{server.url}/v1/recommendations/batch", jobs)
        batch.add_header("Content-Type", "application/json")
        with urllib.request.urlopen(batch) as answer:
            assert len(json.load(answer)) == 2
        status = dict(
            line.split(":\t", 1) for line in Path(f"/proc/{server.process.pid}/status").read_text().splitlines()
        )
        assert status["Threads"] == "1"
        if confined:
            assert status["Uid"].split() == [str(USER)] * 4
            assert {int(status[name], 16) for name in ("CapPrm", "CapEff", "CapBnd", "CapAmb")} == {0}
            assert status["NoNewPrivs"] == "1"
            mounts = Path(f"/proc/{server.process.pid}/mounts").read_text()
            assert re.search(r"^\S+ / \S+ ro\b", mounts, re.M)
    finally:
        code = server.stop()
    assert code == 0, server.log.read_text()
