"""What is checked and said when the service starts under gunicorn."""

from __future__ import annotations

import ipaddress
import logging
import sys
from collections.abc import Mapping, Sequence

from sheetmargin_service.config import workers_from, wrong_setting
from sheetmargin_service.errors import FieldError

log = logging.getLogger(__name__)

Address = tuple[str, int] | str | bytes | int
"""As gunicorn has it: host and port, the path of a socket, or the number of an open one."""


def check_access(addresses: Sequence[Address], environment: Mapping[str, str]) -> None:
    """FieldError where others than this machine can ask and nobody has said who may."""
    beyond = [address for address in addresses if not is_local(address)]
    if beyond and "SHEETMARGIN_ACCESS" not in environment:
        detail = f"must be set (open or keys) where the service listens beyond this machine, as at {beyond[0]!r}"
        raise wrong_setting("SHEETMARGIN_ACCESS", detail)


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
