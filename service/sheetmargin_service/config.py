"""Settings of the service, from the environment, checked at start."""

from __future__ import annotations

import math
import os
import re
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Literal, cast, get_args

from limits import parse_many
from rapidfuzz import fuzz

from sheetmargin_service.detectors.files import named_paths
from sheetmargin_service.errors import FieldError

Access = Literal["open", "keys"]

# An origin as browsers send it (RFC 6454, section 6.2): lower case, no path, no slash at the end.
_ORIGIN = re.compile(r"https?://[a-z0-9.\[\]:-]+", re.ASCII)
_REDIS = re.compile(r"(?:rediss?|unix)://\S+", re.ASCII)

_HOST = re.compile(r"[a-z0-9.-]+|\[[0-9a-f:.]+\]", re.ASCII)

MAX_PROXIES = 5
MAX_BATCHES = 64
LONGEST_S = 3600.0
MAX_WORKERS = 512


def wrong_setting(name: str, detail: str) -> FieldError:
    """What is wrong with a setting; the message begins with its name."""
    return FieldError(f"{name}: {detail}", (name,))


@dataclass(frozen=True, kw_only=True)
class Settings:
    """What can be set; `SETTINGS` says what each means.

    `time_limit_s`: None is no limit, as in a program. A rate is a text such as `300/minute`; None is no limit.
    """

    access: Access = "open"
    keys_file: Path | None = None
    hosts: tuple[str, ...] = ()
    origins: tuple[str, ...] = ()
    demo: bool = False
    rate_per_address: str | None = None
    rate_per_key: str | None = None
    seconds_per_address: str | None = None
    seconds_per_key: str | None = None
    at_once: int | None = None
    redis_url: str | None = None
    proxies: int = 0
    time_limit_s: float | None = None
    batch_time_limit_s: float | None = None
    batches: int = 2
    telemetry: bool = False
    catalogues: tuple[tuple[str, Path], ...] = ()
    stocks: tuple[tuple[str, Path], ...] = ()


SETTINGS: Mapping[str, tuple[str, str]] = {
    "SHEETMARGIN_ACCESS": (
        "`open`: whoever reaches the port may ask; `keys`: holders of a key. Must be set where the service listens "
        "beyond the loopback address",
        "`open` on loopback",
    ),
    "SHEETMARGIN_KEYS_FILE": (
        "file of the keys, needed with `keys`; `sheetmargin keys add FILE ID recommend` makes one. A change is taken "
        "up within seconds, without a restart",
        "",
    ),
    "SHEETMARGIN_HOSTS": (
        "names under which the service is asked beside those of the loopback address, with spaces between and without "
        "ports, such as `sheets.example`; any other is refused, but for probes, and links are made from these alone. "
        "Must be set where the service listens beyond the loopback address",
        "none",
    ),
    "SHEETMARGIN_ORIGINS": ("web origins whose pages may read answers, with spaces between", "none"),
    "SHEETMARGIN_DEMO": ("`on` shows the invented shop at `/demo`", "`off`"),
    "SHEETMARGIN_RATE_PER_ADDRESS": (
        "requests of one address that come without a secret key, such as `300/minute` or `10/second;300/minute`",
        "no limit",
    ),
    "SHEETMARGIN_RATE_PER_KEY": ("requests with one key", "no limit"),
    "SHEETMARGIN_SECONDS_PER_ADDRESS": (
        "seconds of a processor that the requests of one address without a secret key may take, such as `60/minute`",
        "no limit",
    ),
    "SHEETMARGIN_SECONDS_PER_KEY": ("seconds of a processor that the requests with one key may take", "no limit"),
    "SHEETMARGIN_AT_ONCE": (
        "questions of one key or address that a worker process has under way at once: fewer than its threads, so that "
        "one is left for others. Of batches one less than `SHEETMARGIN_BATCHES`",
        "no limit",
    ),
    "SHEETMARGIN_REDIS_URL": (
        "where replicas count together, such as `redis://redis:6379/0`; needs the extra `redis`. Without it, and while "
        "it cannot be reached, each worker process counts by itself",
        "",
    ),
    "SHEETMARGIN_PROXIES": (
        "proxies in front that add the caller's address to `X-Forwarded-For`; too many lets callers choose their own",
        "`0`",
    ),
    "SHEETMARGIN_TIME_LIMIT_S": (
        "seconds that one job may take, after which it is answered with 503",
        "`25`; none in a program",
    ),
    "SHEETMARGIN_BATCH_TIME_LIMIT_S": (
        "seconds that all jobs of one batch may take, after which the rest are answered with 503 each",
        "`300`; none in a program",
    ),
    "SHEETMARGIN_BATCHES": ("batches that one worker process computes at once", "`2`"),
    "SHEETMARGIN_TELEMETRY": (
        "`on` sends OpenTelemetry spans as the `OTEL_*` variables say; needs the extra `telemetry`",
        "`off`",
    ),
    "SHEETMARGIN_CATALOGUE": (
        "file of detector classes (TOML or JSON; its schema is at `/schemas/catalogue.json`), or several as "
        "`NAME=FILE,NAME=FILE`; the first is for jobs that name none. SIGHUP takes up changes",
        "the reference classes",
    ),
    "SHEETMARGIN_STOCK": (
        "file of the owner's sheets by article number (TOML, CSV or XLSX; its schema is at `/schemas/stock.json`), or "
        "several as `NAME=FILE,NAME=FILE`; the first is for jobs that name none. SIGHUP takes up changes",
        "none",
    ),
    "WEB_CONCURRENCY": (
        "worker processes, as many as there are processors to use; a container's limit of processors is not seen",
        "one for each core",
    ),
    "GUNICORN_CMD_ARGS": ("anything else of gunicorn's, such as `--max-requests 5000`", ""),
}
"""Name: what it means, and its default, as Markdown."""


OF_THE_CLIENT = frozenset({"SHEETMARGIN_URL", "SHEETMARGIN_TOKEN"})
"""What the command line reads, beside a service on the same machine."""


def settings_from(environment: Mapping[str, str] = os.environ) -> Settings:
    """Read the settings; FieldError names the first one that is wrong."""
    for name in environment.keys() - OF_THE_CLIENT:
        meant = [known for known in SETTINGS if name not in SETTINGS and fuzz.ratio(name, known) > 88]
        if name.startswith("SHEETMARGIN") and meant:
            # A misspelt SHEETMARGIN_ACCESS would leave the service open to everybody.
            raise wrong_setting(name, f"there is no such setting; did you mean {meant[0]}?")
    access = environment.get("SHEETMARGIN_ACCESS", "open")
    if access not in get_args(Access):
        raise wrong_setting("SHEETMARGIN_ACCESS", f"{access!r} is not one of {', '.join(get_args(Access))}")
    given = environment.get("SHEETMARGIN_KEYS_FILE")
    keys_file = Path(given) if given else None
    if access == "keys" and keys_file is None:
        raise wrong_setting("SHEETMARGIN_KEYS_FILE", "is needed when SHEETMARGIN_ACCESS is keys")
    if keys_file is not None and not keys_file.is_file():
        raise wrong_setting("SHEETMARGIN_KEYS_FILE", f"{keys_file} is not a file")
    if keys_file is not None and "SHEETMARGIN_ACCESS" not in environment:
        raise wrong_setting("SHEETMARGIN_KEYS_FILE", "keeps nobody out without SHEETMARGIN_ACCESS=keys")
    return Settings(
        access=cast("Access", access),
        keys_file=keys_file,
        hosts=_hosts("SHEETMARGIN_HOSTS", environment),
        origins=_origins(environment.get("SHEETMARGIN_ORIGINS", "")),
        demo=_flag("SHEETMARGIN_DEMO", environment),
        rate_per_address=_rate("SHEETMARGIN_RATE_PER_ADDRESS", environment),
        rate_per_key=_rate("SHEETMARGIN_RATE_PER_KEY", environment),
        seconds_per_address=_rate("SHEETMARGIN_SECONDS_PER_ADDRESS", environment),
        seconds_per_key=_rate("SHEETMARGIN_SECONDS_PER_KEY", environment),
        at_once=_whole("SHEETMARGIN_AT_ONCE", environment, default=0, least=1, most=MAX_BATCHES)
        if "SHEETMARGIN_AT_ONCE" in environment
        else None,
        redis_url=_redis("SHEETMARGIN_REDIS_URL", environment),
        proxies=_whole("SHEETMARGIN_PROXIES", environment, default=0, least=0, most=MAX_PROXIES),
        time_limit_s=_seconds("SHEETMARGIN_TIME_LIMIT_S", environment),
        batch_time_limit_s=_seconds("SHEETMARGIN_BATCH_TIME_LIMIT_S", environment),
        batches=_whole("SHEETMARGIN_BATCHES", environment, default=2, least=1, most=MAX_BATCHES),
        telemetry=_telemetry("SHEETMARGIN_TELEMETRY", environment),
        catalogues=_files("SHEETMARGIN_CATALOGUE", environment),
        stocks=_files("SHEETMARGIN_STOCK", environment),
    )


def workers_from(environment: Mapping[str, str] = os.environ) -> int:
    """How many worker processes to start; FieldError where the environment asks for none, or for no number."""
    cores = len(os.sched_getaffinity(0))
    return _whole("WEB_CONCURRENCY", environment, default=cores, least=1, most=MAX_WORKERS)


def is_origin(text: str) -> bool:
    """Whether a text is an origin as browsers send it."""
    return _ORIGIN.fullmatch(text) is not None


def _hosts(name: str, environment: Mapping[str, str]) -> tuple[str, ...]:
    hosts = tuple(environment.get(name, "").split())
    for host in hosts:
        if not _HOST.fullmatch(host):
            raise wrong_setting(name, f"{host!r} is not a name in lower case such as sheets.example")
    return hosts


def _origins(text: str) -> tuple[str, ...]:
    origins = tuple(text.split())
    for origin in origins:
        if not is_origin(origin):
            raise wrong_setting("SHEETMARGIN_ORIGINS", f"{origin!r} is not an origin such as https://shop.example")
    return origins


def _flag(name: str, environment: Mapping[str, str]) -> bool:
    text = environment.get(name, "off")
    if text not in ("on", "off"):
        raise wrong_setting(name, f"{text!r} is not one of on, off")
    return text == "on"


def _whole(name: str, environment: Mapping[str, str], *, default: int, least: int, most: int) -> int:
    text = environment.get(name, str(default))
    if not text.isascii() or not text.isdigit() or not least <= int(text[:9]) <= most:
        raise wrong_setting(name, f"{text!r} is not a whole number of {least} to {most}")
    return int(text)


def _seconds(name: str, environment: Mapping[str, str]) -> float | None:
    text = environment.get(name)
    if text is None:
        return None
    try:
        seconds = float(text)
    except ValueError:
        seconds = math.nan
    if not 0.0 < seconds <= LONGEST_S:
        raise wrong_setting(name, f"{text!r} is not a number of seconds above 0, at most {LONGEST_S:g}")
    return seconds


def _rate(name: str, environment: Mapping[str, str]) -> str | None:
    text = environment.get(name)
    if not text:
        return None
    try:
        parse_many(text)
    except ValueError as error:
        raise wrong_setting(name, f"{text!r} is not a rate such as 300/minute") from error
    return text


def _redis(name: str, environment: Mapping[str, str]) -> str | None:
    text = environment.get(name)
    if not text:
        return None
    if not _REDIS.fullmatch(text):
        # The address may hold a password: it is not repeated.
        raise wrong_setting(name, "is not an address such as redis://redis:6379/0")
    if find_spec("redis") is None:
        raise wrong_setting(name, "needs the extra redis: pip install 'sheetmargin[service,redis]'")
    return text


def _telemetry(name: str, environment: Mapping[str, str]) -> bool:
    wanted = _flag(name, environment)
    if wanted and (find_spec("opentelemetry") is None or find_spec("opentelemetry.sdk") is None):
        raise wrong_setting(name, "needs the extra telemetry: pip install 'sheetmargin[service,telemetry]'")
    return wanted


def _files(name: str, environment: Mapping[str, str]) -> tuple[tuple[str, Path], ...]:
    text = environment.get(name)
    if not text:
        return ()
    try:
        return tuple(named_paths(text).items())
    except FieldError as error:
        raise wrong_setting(name, str(error)) from error


def settings_table() -> str:
    """The settings as a table in Markdown."""
    rows = [f"| `{name}` | {meaning} | {default} |" for name, (meaning, default) in SETTINGS.items()]
    return "\n".join(["| setting | means | default |", "| --- | --- | --- |", *rows]) + "\n"
