"""The reading of bodies under atheris: any bytes are read, or refused with what is wrong with them.

    PYTHONPATH=tests:service python -m support.parse_fuzz -atheris_runs=100000

is how a test starts it, in a process of its own: atheris ends with it.
"""

from __future__ import annotations

import sys

import atheris

with atheris.instrument_imports():
    from sheetmargin_service.api import strict_json


def read(body: bytes) -> None:
    try:
        _, faults = strict_json.parse(body)
    except strict_json.JsonError as error:
        faults = list(error.faults)
        assert faults
    for fault in faults:
        assert fault.code
        assert fault.detail


if __name__ == "__main__":
    atheris.Setup(sys.argv, read)
    atheris.Fuzz()
