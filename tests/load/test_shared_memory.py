"""Shared memory that is full or missing, catalogues that hang, too few files: what the master does."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable
from pathlib import Path

import pytest
from support.catalogues import OWN
from support.machine import children_of
from support.servers import Server, free_port, gunicorn

SERVE = (sys.executable, "-m", "gunicorn", "--config", "python:sheetmargin_service.gunicorn_conf", "--workers", "1")


def until(true: Callable[[], bool], server: Server) -> None:
    ends = time.monotonic() + 60.0
    while not true():
        assert time.monotonic() < ends, server.log.read_text()[-5000:]
        time.sleep(0.05)


def serves(server: Server) -> bool:
    with urllib.request.urlopen(f"{server.url}/v1/version", timeout=30) as answer:
        return bool(answer.status == 200)


def killed_and_replaced(server: Server) -> bool:
    """Whether the master replaces a worker that is killed, and the new one answers."""
    (before,) = children_of(server.process.pid)
    os.kill(before, signal.SIGKILL)
    until(lambda: bool(set(children_of(server.process.pid)) - {before}), server)
    return serves(server)


@pytest.mark.parametrize("harm", ["full", "gone", "full from the start", "missing from the start"])
def test_shared_memory_is_full_or_missing(tmp_path: Path, harm: str) -> None:
    """In a mount of its own; with 6 MB there is room for what a start needs, and for two workers' counts no more."""
    if subprocess.run(["unshare", "-m", "true"], check=False, capture_output=True).returncode:
        pytest.skip("needs the right to mount a file system")
    port, shared = free_port(), tmp_path / "shared"
    shared.mkdir()
    prepare = {
        "full from the start": "head -c 8m /dev/zero >/dev/shm/filler;",
        "missing from the start": "mount -t tmpfs -o ro,size=0 tmpfs /dev/shm;",
    }
    mount = f'mount -t tmpfs -o size=8m tmpfs /dev/shm; {prepare.get(harm, "")} exec "$@"'
    command = ["unshare", "-m", "sh", "-c", mount, "sh", *SERVE, "--bind", f"127.0.0.1:{port}"]
    server = Server(command, port=port, log=tmp_path / "log", environment={})
    try:
        server.wait()
        inside = Path(f"/proc/{server.process.pid}/root/dev/shm")
        if harm == "full":
            with pytest.raises(OSError, match="No space left"):
                (inside / "filler").write_bytes(bytes(8 << 20))
        elif harm == "gone":
            for file in inside.glob("*/*"):
                file.unlink()
            for folder in inside.iterdir():
                folder.rmdir()
        for _ in range(2):
            assert killed_and_replaced(server)
        assert server.process.poll() is None
    finally:
        code = server.stop()
    assert code == 0


@pytest.mark.parametrize("environment", [{"SHEETMARGIN_ACCESS": "yes"}, {"SHEETMARGIN_CATALOGUE": "/nowhere.toml"}])
def test_a_start_that_fails_leaves_no_folder_behind(environment: dict[str, str], tmp_path: Path) -> None:
    def folders() -> set[Path]:
        return {*Path("/dev/shm").glob("sheetmargin-*"), *tmp_path.iterdir()}

    before = folders()
    with subprocess.Popen(
        [*SERVE, "--bind", f"127.0.0.1:{free_port()}"],
        env={**os.environ, **environment, "TMPDIR": str(tmp_path)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        _, told = process.communicate(timeout=90)
    assert process.returncode == 1, told
    # Services of other tests begin meanwhile: in their folders others count.
    new = {folder: {file.stem.split("_")[-1] for file in folder.glob("*.db")} for folder in folders() - before}
    assert [folder for folder, counting in new.items() if not counting or str(process.pid) in counting] == []


def test_too_few_files_end_the_start_with_a_sentence() -> None:
    command = ["sh", "-c", 'ulimit -n 64; exec "$@"', "sh", *SERVE, "--bind", f"127.0.0.1:{free_port()}"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=90, check=False)
    assert done.returncode == 1
    assert done.stderr.splitlines()[-1].startswith("Error: a process may have 64 files open (ulimit -n)")
    assert "Traceback" not in done.stderr


def test_a_catalogue_that_hangs_keeps_nothing_else_waiting(tmp_path: Path) -> None:
    """And as many reloads as are asked for meanwhile become one."""
    file = tmp_path / "own.toml"
    file.write_text("[[class]]".join(OWN.split("[[class]]")[:2]))
    with gunicorn(tmp_path, environment={"SHEETMARGIN_CATALOGUE": str(file)}) as server:
        right = file.read_bytes()
        until(lambda: len(children_of(server.process.pid)) == 1, server)
        (before,) = children_of(server.process.pid)
        file.unlink()
        os.mkfifo(file)
        server.signal(signal.SIGHUP)
        until(lambda: len(children_of(server.process.pid)) == 2, server)
        os.kill(before, signal.SIGKILL)
        until(lambda: before not in children_of(server.process.pid), server)
        until(lambda: len(children_of(server.process.pid)) == 2, server)
        assert serves(server)
        for _ in range(5):
            server.signal(signal.SIGHUP)
            time.sleep(0.2)
        new = tmp_path / "new"
        new.write_bytes(right)
        end = os.open(file, os.O_WRONLY)
        new.replace(file)
        os.write(end, right)
        os.close(end)

        def taken_up() -> int:
            told = [json.loads(line)["message"] for line in server.log.read_text().splitlines()]
            return told.count("catalogues are taken up")

        until(lambda: taken_up() >= 2, server)
        time.sleep(2.0)
        assert taken_up() == 2
        assert serves(server)
    assert server.process.returncode == 0
