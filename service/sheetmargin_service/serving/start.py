"""What is checked and said when the service starts under gunicorn."""

from __future__ import annotations

import ipaddress
import logging
import resource
import sys
from collections.abc import Mapping, Sequence

from sheetmargin_service.config import workers_from, wrong_setting
from sheetmargin_service.errors import FieldError

log = logging.getLogger(__name__)

Address = tuple[str, int] | str | bytes | int
"""As gunicorn has it: host and port, the path of a socket, or the number of an open one."""


NEEDED_BEYOND = {
    "SHEETMARGIN_ACCESS": "open or keys",
    "SHEETMARGIN_HOSTS": "the names under which it is asked",
    "SHEETMARGIN_PROXIES": "how many proxies are in front. Slow clients take its threads without one",
}
"""Settings whose defaults are for this machine alone, and what they are."""


def check_access(addresses: Sequence[Address], environment: Mapping[str, str]) -> None:
    """FieldError where others than this machine can ask and nobody has said who may, under which name, through what."""
    beyond = [address for address in addresses if not is_local(address)]
    for name, what in NEEDED_BEYOND.items():
        if beyond and name not in environment:
            raise wrong_setting(
                name, f"must be set where the service listens beyond this machine, as at {beyond[0]!r}: {what}"
            )


def refuse_unset_access(addresses: Sequence[Address], environment: Mapping[str, str]) -> None:
    """End the process with a plain message where `check_access` raises."""
    try:
        check_access(addresses, environment)
    except FieldError as error:
        sys.exit(f"Error: {error}")


def worker_processes(environment: Mapping[str, str]) -> int:
    """How many worker processes to start; ends the process with a plain message where that is set wrong."""
    try:
        return workers_from(environment)
    except FieldError as error:
        sys.exit(f"Error: {error}")


def enough_files(number: int) -> None:
    """Let each process have so many files open, connections among them; ends the process where it may not."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if hard != resource.RLIM_INFINITY and hard < number:
        sys.exit(f"Error: a process may have {hard} files open (ulimit -n); the service needs {number}")
    if soft != resource.RLIM_INFINITY and soft < number:
        resource.setrlimit(resource.RLIMIT_NOFILE, (number, hard))


def is_local(address: Address) -> bool:
    """Whether only this machine reaches an address: loopback, or a socket in the file system."""
    if isinstance(address, str | bytes):
        return True
    host = "" if isinstance(address, int) else address[0]
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def report(*, seconds: float) -> None:
    """Log how long the start took."""
    log.info("ready to fork workers", extra={"fields": {"seconds": round(seconds, 3)}})
