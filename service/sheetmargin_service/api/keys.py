"""The file of keys. It holds hashes alone, so that who reads it cannot ask.

A change is taken up without a restart: a key that was taken out is refused within seconds.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import logging
import secrets
import stat
import time
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, get_args

from sheetmargin_service.config import is_origin, wrong_setting
from sheetmargin_service.errors import FieldError

Scope = Literal["open", "recommend", "batch", "measure", "metrics"]
"""What a call asks for; `open` needs no key."""
GRANTS: tuple[Scope, ...] = tuple(scope for scope in get_args(Scope) if scope != "open")

# RFC 7914 cost parameters: 16 MiB and about 50 ms, the size that its section 2 gives for interactive use.
SCRYPT_N, SCRYPT_R, SCRYPT_P = 16384, 8, 1
LOOK_S = 2.0
"""How often the file is looked at."""

log = logging.getLogger(__name__)


@dataclass(frozen=True, kw_only=True)
class Key:
    """A key as the file has it."""

    id: str
    salt: bytes
    hash: bytes
    scopes: frozenset[str]
    origins: frozenset[str] = frozenset()

    @property
    def publishable(self) -> bool:
        return bool(self.origins)


class KeysFile:
    """The keys of a file, by id. FieldError where it cannot be read at first; later the keys read last stay until it
    can be read again."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._content: bytes | None = None
        self._keys: Mapping[str, Key] = {}
        self._look()
        self._looked = time.monotonic()
        if path.stat().st_mode & stat.S_IROTH:
            log.warning("SHEETMARGIN_KEYS_FILE: everybody on this machine can read %s; chmod 600 keeps it", path)

    def keys(self) -> Mapping[str, Key]:
        """The keys as the file has them now, or had them a moment ago."""
        if time.monotonic() - self._looked > LOOK_S:
            self._looked = time.monotonic()
            try:
                self._look()
            except FieldError as error:
                log.error("%s; the keys read before stay", error)
        return self._keys

    def _look(self) -> None:
        # The whole of it: neither time nor size tells every change.
        content = _content(self._path)
        if content != self._content:
            self._keys = parse_keys(content, self._path)
            self._content = content


def _content(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise wrong_setting("SHEETMARGIN_KEYS_FILE", f"{path}: {error.strerror}") from error


def parse_keys(content: bytes, path: Path) -> dict[str, Key]:
    """The keys in the content of a file; an empty one has none."""
    try:
        table = tomllib.loads(content.decode())
        keys = [_read_key(entry) for entry in table.pop("key", ())]
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, KeyError, TypeError, ValueError) as error:
        raise wrong_setting("SHEETMARGIN_KEYS_FILE", f"{path}: {error!r}") from error
    if table:
        raise wrong_setting(
            "SHEETMARGIN_KEYS_FILE", f"{path}: expected [[key]] and nothing else, not {next(iter(table))}"
        )
    if len({key.id for key in keys}) != len(keys):
        raise wrong_setting("SHEETMARGIN_KEYS_FILE", f"{path}: an id is given twice")
    return {key.id: key for key in keys}


def _read_key(entry: Mapping[str, Any]) -> Key:
    method, salt, digest = str(entry["hash"]).split("$")
    origins = frozenset(entry.get("origins", ()))
    unknown = set(entry["scopes"]) - set(GRANTS)
    if method != "scrypt" or unknown or set(entry) - {"origins"} != {"id", "hash", "scopes"}:
        raise ValueError(f"key {entry['id']}: expected id, hash (scrypt) and scopes among {', '.join(GRANTS)}")
    if origins and (set(entry["scopes"]) != {"recommend"} or not all(map(is_origin, origins))):
        raise ValueError(f"key {entry['id']}: with origins (https://shop.example) the scope is recommend alone")
    return Key(
        id=str(entry["id"]),
        salt=base64.b64decode(salt, validate=True),
        hash=base64.b64decode(digest, validate=True),
        scopes=frozenset(entry["scopes"]),
        origins=origins,
    )


def matches(key: Key | None, secret: str) -> bool:
    """Whether the secret is the key's. Without a key it costs as much, so that time does not tell which ids exist."""
    salt, expected = (key.salt, key.hash) if key else (b"\0" * 16, b"\0" * 32)
    return hmac.compare_digest(_hash(secret, salt), expected) and key is not None


def _hash(secret: str, salt: bytes) -> bytes:
    text = secret.encode("utf-8", "surrogateescape")
    return hashlib.scrypt(text, salt=salt, n=SCRYPT_N, r=SCRYPT_R, p=SCRYPT_P, dklen=32)


def new_key(key_id: str, scopes: tuple[str, ...], origins: tuple[str, ...] = ()) -> tuple[str, str]:
    """A new token, and the lines for the keys file that let it in; publishable with the origins of a shop's pages."""
    secret, salt = secrets.token_urlsafe(32), secrets.token_bytes(16)
    stored = "$".join(("scrypt", *(base64.b64encode(part).decode() for part in (salt, _hash(secret, salt)))))
    lists = {"scopes": scopes} | ({"origins": origins} if origins else {})
    lines = [f"{name} = [{', '.join(json.dumps(entry) for entry in entries)}]\n" for name, entries in lists.items()]
    return f"{key_id}.{secret}", f'[[key]]\nid = "{key_id}"\nhash = "{stored}"\n{"".join(lines)}'
