"""What the commands in the guides print, so that no guide shows an answer that the code does not give.

A comment `<!-- output of: COMMAND -->` stands before a fenced block; the block is replaced by what the command prints.
Commands that name 127.0.0.1:8080 are answered by a service started for the purpose.
"""

from __future__ import annotations

import contextlib
import os
import re
import socket
import subprocess
import sys
import sysconfig
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

ROOT = Path(__file__).parent.parent
GUIDES = (
    "README.md",
    *(f"docs/{name}.md" for name in ("answers", "measurement", "catalogue", "quoting", "running")),
)
ADDRESS = "127.0.0.1:8080"
BLOCK = re.compile(
    r"(?P<head><!-- output of: (?P<command>.+?) -->\n```[a-z]*\n)(?P<body>.*?)(?P<tail>^```$)", re.S | re.M
)


def fill(text: str, *, address: str) -> str:
    """The text with every marked block replaced by its command's output. A command that fails raises."""
    environment = os.environ | {"PATH": f"{sysconfig.get_path('scripts')}{os.pathsep}{os.environ['PATH']}"}

    def output(match: re.Match[str]) -> str:
        command = match["command"].replace(ADDRESS, address)
        done = subprocess.run(
            ["bash", "-o", "pipefail", "-c", command],
            cwd=ROOT,
            env=environment,
            check=True,
            capture_output=True,
            text=True,
        )
        return match["head"] + done.stdout.rstrip("\n") + "\n" + match["tail"]

    return BLOCK.sub(output, text)


@contextlib.contextmanager
def service() -> Iterator[str]:
    """The address of a service of one worker, stopped at the end."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "sheetmargin", "serve", "--port", str(port), "--workers", "1"]
    process = subprocess.Popen(command, cwd=ROOT)
    try:
        wait_for(f"http://127.0.0.1:{port}/livez", process)
        yield f"127.0.0.1:{port}"
    finally:
        process.terminate()
        process.wait(timeout=30)


def wait_for(url: str, process: subprocess.Popen[bytes]) -> None:
    """Returns once the service answers. Raises RuntimeError when it ends instead, or after a minute."""
    end = time.monotonic() + 60
    while time.monotonic() < end and process.poll() is None:
        with contextlib.suppress(urllib.error.URLError, ConnectionError):
            urllib.request.urlopen(url, timeout=5).close()
            return
        time.sleep(0.1)
    raise RuntimeError(f"no service at {url}")


def filled() -> dict[Path, str]:
    """Every guide with its blocks filled in."""
    befores = {ROOT / name: (ROOT / name).read_text(encoding="utf-8") for name in GUIDES}
    # Commands of one guide build on one another; guides do not.
    with service() as address, ThreadPoolExecutor(os.cpu_count()) as guides:
        afters = guides.map(lambda before: fill(before, address=address), befores.values())
        return dict(zip(befores, afters, strict=True))
