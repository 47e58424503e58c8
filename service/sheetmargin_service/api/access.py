"""Who may ask: everybody, or holders of keys. A key is a bearer token `<id>.<secret>`; the file holds only its hash."""

from __future__ import annotations

import base64
import hashlib
import hmac
import secrets
import sys
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal, get_args

from sheetmargin_service.api.faults import Fault
from sheetmargin_service.api.problems import Problem
from sheetmargin_service.config import SettingError, Settings

Scope = Literal["open", "recommend", "batch", "bench", "metrics"]
"""What a call asks for; `open` needs no key."""
GRANTS: tuple[Scope, ...] = tuple(scope for scope in get_args(Scope) if scope != "open")

# RFC 7914 cost parameters: 16 MiB and about 50 ms, the size that its section 2 gives for interactive use.
SCRYPT_N, SCRYPT_R, SCRYPT_P = 16384, 8, 1
_MAX_REMEMBERED = 1024


@dataclass(frozen=True, kw_only=True)
class Key:
    """A key as the file has it."""

    id: str
    salt: bytes
    hash: bytes
    scopes: frozenset[str]


@dataclass(frozen=True, kw_only=True)
class Gate:
    """Lets a request through or raises its problem. `keys` is None where everybody may ask.

    Tokens that passed are remembered by their digest, so that scrypt is paid once a token and not once a request.
    """

    keys: Mapping[str, Key] | None
    _passed: dict[bytes, str] = field(default_factory=dict, repr=False)

    @property
    def keyed(self) -> bool:
        return self.keys is not None

    def check(self, authorization: str | None, scope: Scope) -> None:
        """Raise `unauthorized` or `forbidden` unless the Authorization header's key has the scope."""
        if self.keys is None or scope == "open":
            return
        scheme, _, token = (authorization or "").partition(" ")
        if scheme.lower() != "bearer" or not token.strip():
            raise _unauthorized("There is no key.", challenge='Bearer realm="sheetmargin"')
        key = self._key(token.strip())
        if key is None:
            challenge = 'Bearer realm="sheetmargin", error="invalid_token"'
            raise _unauthorized("There is no such key.", challenge=challenge)
        if scope not in key.scopes:
            raise Problem(
                "forbidden",
                Fault(
                    code="scope", detail="This key was made for other calls.", expected=scope, header="Authorization"
                ),
                headers={
                    "WWW-Authenticate": f'Bearer realm="sheetmargin", error="insufficient_scope", scope="{scope}"'
                },
            )

    def _key(self, token: str) -> Key | None:
        assert self.keys is not None
        digest = hashlib.sha256(token.encode("utf-8", "surrogateescape")).digest()
        if digest in self._passed:
            return self.keys[self._passed[digest]]
        key_id, _, secret = token.partition(".")
        key = self.keys.get(key_id)
        # An unknown id costs as much as a wrong secret, so that time does not tell which ids exist.
        salt, expected = (key.salt, key.hash) if key else (b"\0" * 16, b"\0" * 32)
        if not hmac.compare_digest(_hash(secret, salt), expected) or key is None:
            return None
        if len(self._passed) >= _MAX_REMEMBERED:
            self._passed.clear()
        self._passed[digest] = key.id
        return key


def gate_from(settings: Settings) -> Gate:
    """The gate that the settings ask for; SettingError when the keys cannot be read."""
    if settings.access == "open":
        return Gate(keys=None)
    assert settings.keys_file is not None
    return Gate(keys=_read_keys(settings.keys_file))


def _read_keys(path: Path) -> dict[str, Key]:
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
        keys = [_read_key(entry) for entry in table["key"]]
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, KeyError, TypeError, ValueError) as error:
        raise SettingError("SHEETMARGIN_KEYS_FILE", f"{path}: {error!r}") from error
    if len({key.id for key in keys}) != len(keys):
        raise SettingError("SHEETMARGIN_KEYS_FILE", f"{path}: an id is given twice")
    return {key.id: key for key in keys}


def _read_key(entry: Mapping[str, Any]) -> Key:
    method, salt, digest = str(entry["hash"]).split("$")
    unknown = set(entry["scopes"]) - set(GRANTS)
    if method != "scrypt" or unknown or set(entry) != {"id", "hash", "scopes"}:
        raise ValueError(f"key {entry['id']}: expected id, hash (scrypt) and scopes among {', '.join(GRANTS)}")
    return Key(
        id=str(entry["id"]),
        salt=base64.b64decode(salt, validate=True),
        hash=base64.b64decode(digest, validate=True),
        scopes=frozenset(entry["scopes"]),
    )


def _hash(secret: str, salt: bytes) -> bytes:
    text = secret.encode("utf-8", "surrogateescape")
    return hashlib.scrypt(text, salt=salt, n=SCRYPT_N, r=SCRYPT_R, p=SCRYPT_P, dklen=32)


def _unauthorized(detail: str, *, challenge: str) -> Problem:
    fault = Fault(code="key", detail=detail, expected="Authorization: Bearer <key>", header="Authorization")
    return Problem("unauthorized", fault, headers={"WWW-Authenticate": challenge})


def new_key(key_id: str, scopes: tuple[str, ...]) -> tuple[str, str]:
    """A new token, and the lines for the keys file that let it in."""
    secret, salt = secrets.token_urlsafe(32), secrets.token_bytes(16)
    stored = "$".join(("scrypt", *(base64.b64encode(part).decode() for part in (salt, _hash(secret, salt)))))
    listed = ", ".join(f'"{scope}"' for scope in scopes)
    return f"{key_id}.{secret}", f'[[key]]\nid = "{key_id}"\nhash = "{stored}"\nscopes = [{listed}]\n'


def main(arguments: list[str]) -> int:
    """`python -m sheetmargin_service.api.access ID SCOPE...`: make a key."""
    if len(arguments) < 2 or not arguments[0].isidentifier() or set(arguments[1:]) - set(GRANTS):
        print(f"usage: access ID SCOPE..., ID of letters, digits and _, scopes of {', '.join(GRANTS)}", file=sys.stderr)
        return 2
    token, entry = new_key(arguments[0], tuple(arguments[1:]))
    print(f"# the token, shown once: {token}\n# for the keys file:\n{entry}", end="")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
