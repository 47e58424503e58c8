"""Debian's nginx before instances of the service, with the configuration that is shipped."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from support.servers import Server, free_port

SHIPPED = Path(__file__).parents[2] / "docker" / "nginx.conf"


def configuration(folder: Path, *, port: int, replicas: Sequence[int]) -> str:
    """The shipped text with the ports and folders of a test, and nothing else changed."""
    text = SHIPPED.read_text()
    (replica,) = re.findall(r"^ *server sheetmargin:8080.*;$", text, re.MULTILINE)
    servers = "\n".join(replica.replace("sheetmargin:8080", f"127.0.0.1:{replica_port}") for replica_port in replicas)
    for shipped, here in ((replica, servers), ("listen 8080;", f"listen 127.0.0.1:{port};"), (" /tmp/", f" {folder}/")):
        assert shipped in text
        text = text.replace(shipped, here)
    # Its workers would else run as another user, whom pytest's folders do not let in.
    return f"user root;\n{text}" if os.geteuid() == 0 else text


@contextmanager
def nginx(program: str, folder: Path, replicas: Sequence[int]) -> Iterator[Server]:
    """nginx before what listens on the ports of the replicas; stopped at the end."""
    folder.mkdir()
    port = free_port()
    file = folder / "nginx.conf"
    file.write_text(configuration(folder, port=port, replicas=replicas))
    command = [program, "-p", str(folder), "-c", str(file), "-g", "daemon off;"]
    server = Server(command, port=port, log=folder / "log", environment={})
    try:
        server.wait()
        yield server
    finally:
        server.stop()
