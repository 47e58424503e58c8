"""Settings: wrong ones end the start with their name; who may ask must be said where others can reach the service."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
import sheetmargin_service
from sheetmargin_service.config import OF_THE_CLIENT, SETTINGS, Settings, settings_from, settings_table, workers_from
from sheetmargin_service.errors import FieldError
from sheetmargin_service.serving.start import Address, check_access, is_local
from support.servers import Server, free_port

GUIDE = Path(__file__).parents[2] / "docs" / "running.md"


WRONG = [
    ("SHEETMARGIN_ACCESS", "yes"),
    ("SHEETMARGIN_KEYS_FILE", "/nowhere/keys.toml"),
    ("SHEETMARGIN_KEYS_FILE", __file__),  # which keeps nobody out by itself
    ("SHEETMARGIN_HOSTS", "localhost https://sheets.example"),
    ("SHEETMARGIN_HOSTS", "sheets.example:8080"),
    ("SHEETMARGIN_ORIGINS", "shop.example"),
    ("SHEETMARGIN_DEMO", "1"),
    ("SHEETMARGIN_RATE_PER_ADDRESS", "many"),
    ("SHEETMARGIN_RATE_PER_ADDRESS", "5/fortnight"),
    ("SHEETMARGIN_RATE_PER_KEY", "-1/second"),
    ("SHEETMARGIN_SECONDS_PER_ADDRESS", "60"),
    ("SHEETMARGIN_SECONDS_PER_KEY", "many/minute"),
    ("SHEETMARGIN_AT_ONCE", "0"),
    ("SHEETMARGIN_REDIS_URL", "redis"),
    ("SHEETMARGIN_REDIS_URL", "memcached://here"),
    ("SHEETMARGIN_PROXIES", "-1"),
    ("SHEETMARGIN_PROXIES", "6"),
    ("SHEETMARGIN_PROXIES", "one"),
    ("SHEETMARGIN_PROXIES", "9" * 5000),
    ("SHEETMARGIN_TIME_LIMIT_S", "0"),
    ("SHEETMARGIN_TIME_LIMIT_S", "nan"),
    ("SHEETMARGIN_TIME_LIMIT_S", "inf"),
    ("SHEETMARGIN_TIME_LIMIT_S", ""),
    ("SHEETMARGIN_BATCH_TIME_LIMIT_S", "-1"),
    ("SHEETMARGIN_BATCHES", "0"),
    ("SHEETMARGIN_BATCHES", "1.5"),
    ("SHEETMARGIN_TELEMETRY", "true"),
    ("SHEETMARGIN_CATALOGUE", "one=a.toml,one=b.toml"),
    ("SHEETMARGIN_STOCK", "one=a.csv,one=b.csv"),
]

MISSPELT = [("SHEETMARGIN_RATE_PER_ADRESS", "300/minute"), ("SHEETMARGIN_TIME_LIMIT", "5")]


@pytest.mark.parametrize(("name", "value"), [*WRONG, *MISSPELT])
def test_a_wrong_setting_is_named(name: str, value: str) -> None:
    with pytest.raises(FieldError, match=f"^{name}: ") as raised:
        settings_from({name: value})
    assert len(str(raised.value)) < 6000


def test_every_setting_can_be_wrong() -> None:
    assert {name for name, _ in WRONG} | {"WEB_CONCURRENCY", "GUNICORN_CMD_ARGS"} == set(SETTINGS)


@pytest.mark.parametrize("text", ["0", "-1", "two", "1.5", "", "9999"])
def test_a_wrong_number_of_workers_is_named(text: str) -> None:
    with pytest.raises(FieldError, match=r"^WEB_CONCURRENCY: "):
        workers_from({"WEB_CONCURRENCY": text})


def test_workers() -> None:
    assert workers_from({"WEB_CONCURRENCY": "3"}) == 3
    assert workers_from({}) == len(os.sched_getaffinity(0))


def test_the_service_reads_no_other_setting() -> None:
    """Every name that looks like a setting in its code is one, or one of the command's that it leaves alone."""
    code = "".join(file.read_text(encoding="utf-8") for file in Path(sheetmargin_service.__path__[0]).rglob("*.py"))
    assert set(re.findall(r"\bSHEETMARGIN_[A-Z_]+\b", code)) <= set(SETTINGS) | OF_THE_CLIENT


def test_a_password_in_an_address_is_not_repeated() -> None:
    with pytest.raises(FieldError) as raised:
        settings_from({"SHEETMARGIN_REDIS_URL": "redis//:secret@redis"})
    assert "secret" not in str(raised.value)


def test_right_settings() -> None:
    given = {
        "SHEETMARGIN_RATE_PER_ADDRESS": "10/second;300/minute",
        "SHEETMARGIN_RATE_PER_KEY": "5000/hour",
        "SHEETMARGIN_REDIS_URL": "redis://redis:6379/0",
        "SHEETMARGIN_PROXIES": "2",
        "SHEETMARGIN_HOSTS": "sheets.example [::1]",
        "SHEETMARGIN_TIME_LIMIT_S": "2.5",
        "SHEETMARGIN_BATCHES": "1",
        "SHEETMARGIN_TELEMETRY": "on",
    }
    assert settings_from(given) == Settings(
        rate_per_address="10/second;300/minute",
        rate_per_key="5000/hour",
        redis_url="redis://redis:6379/0",
        proxies=2,
        hosts=("sheets.example", "[::1]"),
        time_limit_s=2.5,
        batches=1,
        telemetry=True,
    )


def test_nothing_of_a_platform_s_own_is_taken_for_a_setting() -> None:
    """Kubernetes puts these into every container beside a service of that name."""
    assert (
        settings_from({"SHEETMARGIN_SERVICE_HOST": "10.0.0.1", "SHEETMARGIN_PORT": "tcp://10.0.0.1:80"}) == Settings()
    )


def test_the_guide_has_every_setting() -> None:
    assert settings_table() in GUIDE.read_text(encoding="utf-8")
    assert all(meaning for meaning, _ in SETTINGS.values())


@pytest.mark.parametrize(
    ("address", "local"),
    [
        (("127.0.0.1", 8080), True),
        (("127.8.9.1", 8080), True),
        (("::1", 8080), True),
        (("localhost", 8080), True),
        ("/run/sheetmargin.sock", True),
        (("0.0.0.0", 8080), False),
        (("::", 8080), False),
        (("", 8080), False),
        (("192.0.2.1", 8080), False),
        (("sheetmargin.example", 8080), False),
        (3, False),
    ],
)
def test_beyond_this_machine_who_how_and_through_what_must_be_said(address: Address, local: bool) -> None:
    assert is_local(address) == local
    told = {"SHEETMARGIN_ACCESS": "open", "SHEETMARGIN_HOSTS": "sheets.example", "SHEETMARGIN_PROXIES": "0"}
    check_access([address], told)
    for name in told:
        rest = {other: value for other, value in told.items() if other != name}
        if local:
            check_access([address], rest)
        else:
            with pytest.raises(FieldError, match=f"^{name}: must be set"):
                check_access([("127.0.0.1", 1), address], rest)


@pytest.mark.parametrize(
    ("options", "environment", "told"),
    [
        (["--host", "0.0.0.0"], {}, "Error: SHEETMARGIN_ACCESS: must be set"),
        ([], {"SHEETMARGIN_ACCESS": "keys"}, "Error: SHEETMARGIN_KEYS_FILE: is needed"),
        ([], {"SHEETMARGIN_CATALOGUE": "/nowhere/at-all.toml"}, "SHEETMARGIN_CATALOGUE"),
        ([], {"WEB_CONCURRENCY": "0"}, "Error: WEB_CONCURRENCY: '0' is not a whole number of 1 to"),
    ],
)
def test_the_start_ends_with_the_name(options: list[str], environment: dict[str, str], told: str) -> None:
    command = [sys.executable, "-m", "sheetmargin", "serve", "--port", str(free_port()), "--workers", "1", *options]
    done = subprocess.run(
        command, env=os.environ | environment, capture_output=True, text=True, timeout=90, check=False
    )
    assert done.returncode == 1
    assert told in done.stderr.splitlines()[-1]
    assert "Traceback" not in done.stderr


def test_loading_gunicorn_s_configuration_loads_no_numpy() -> None:
    """The threads of BLAS are set by what is in the environment when NumPy is loaded."""
    check = "import sys, sheetmargin_service.gunicorn_conf as c; print('numpy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", check], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


def test_blas_has_one_thread(server: Server) -> None:
    """OpenBLAS starts its threads when it is loaded, which the master does."""
    assert len(list(Path(f"/proc/{server.process.pid}/task").iterdir())) == 1
