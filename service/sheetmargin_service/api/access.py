"""Who may ask: everybody, or holders of keys. A key is a bearer token `<id>.<secret>`; the file holds only its hash.

A publishable key stands in a shop's page for all to see. It is bound to the shop's origins and to `recommend`, and may
come in the query as `key`, so that a browser need not ask before every question (WHATWG Fetch: a header of
authorization needs a preflight, a query does not).
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import secrets
import sys
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal, get_args

from sheetmargin_service.api.faults import Fault
from sheetmargin_service.api.problems import Problem
from sheetmargin_service.config import SettingError, Settings, is_origin

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
    origins: frozenset[str] = frozenset()

    @property
    def publishable(self) -> bool:
        return bool(self.origins)


@dataclass(frozen=True, kw_only=True)
class Page:
    """What a browser says of the page that asks. `key` is that of the query.

    `own`: it follows a link to this service or asks from one of its pages; browsers then send no Origin, and say so by
    headers that scripts cannot set (Fetch Metadata Request Headers, W3C).
    """

    key: str | None = None
    origin: str | None = None
    own: bool = False


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

    def check(self, authorization: str | None, scope: Scope, page: Page | None = None) -> None:
        """Raise `unauthorized` or `forbidden` unless the key of the Authorization header or the page has the scope."""
        if self.keys is None or scope == "open":
            return
        page = page or Page()
        token, in_query = _token(authorization, page)
        if not token:
            raise _unauthorized("There is no key.", challenge='Bearer realm="sheetmargin"')
        key = self._key(token)
        if key is None or (in_query and not key.publishable):
            challenge = 'Bearer realm="sheetmargin", error="invalid_token"'
            raise _unauthorized("There is no such key.", challenge=challenge)
        if key.publishable and not page.own and page.origin not in key.origins:
            fault = Fault(code="origin", detail="This key was made for pages of other origins.", header="Origin")
            raise Problem("forbidden", fault)
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

    def known(self, authorization: str | None, page: Page) -> Key | None:
        """The key of a request whose token has passed before, found without hashing."""
        token, _ = _token(authorization, page)
        key_id = self._passed.get(_digest(token))
        return None if self.keys is None or key_id is None else self.keys.get(key_id)

    def _key(self, token: str) -> Key | None:
        assert self.keys is not None
        digest = _digest(token)
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


def _token(authorization: str | None, page: Page) -> tuple[str, bool]:
    """The token of a request, empty where there is none, and whether it came in the query."""
    if authorization is None and page.key is not None:
        return page.key, True
    scheme, _, token = (authorization or "").partition(" ")
    return token.strip() if scheme.lower() == "bearer" else "", False


def _digest(token: str) -> bytes:
    return hashlib.sha256(token.encode("utf-8", "surrogateescape")).digest()


def _hash(secret: str, salt: bytes) -> bytes:
    text = secret.encode("utf-8", "surrogateescape")
    return hashlib.scrypt(text, salt=salt, n=SCRYPT_N, r=SCRYPT_R, p=SCRYPT_P, dklen=32)


def _unauthorized(detail: str, *, challenge: str) -> Problem:
    fault = Fault(code="key", detail=detail, expected="Authorization: Bearer <key>", header="Authorization")
    return Problem("unauthorized", fault, headers={"WWW-Authenticate": challenge})


def new_key(key_id: str, scopes: tuple[str, ...], origins: tuple[str, ...] = ()) -> tuple[str, str]:
    """A new token, and the lines for the keys file that let it in; publishable with the origins of a shop's pages."""
    secret, salt = secrets.token_urlsafe(32), secrets.token_bytes(16)
    stored = "$".join(("scrypt", *(base64.b64encode(part).decode() for part in (salt, _hash(secret, salt)))))
    lists = {"scopes": scopes} | ({"origins": origins} if origins else {})
    lines = [f"{name} = [{', '.join(json.dumps(entry) for entry in entries)}]\n" for name, entries in lists.items()]
    return f"{key_id}.{secret}", f'[[key]]\nid = "{key_id}"\nhash = "{stored}"\n{"".join(lines)}'


def main(arguments: list[str]) -> int:
    """`python -m sheetmargin_service.api.access ID SCOPE... [ORIGIN...]`: make a key, publishable with origins."""
    origins = tuple(argument for argument in arguments[1:] if is_origin(argument))
    scopes = tuple(argument for argument in arguments[1:] if argument not in origins)
    if not scopes or not arguments[0].isidentifier() or set(scopes) - set(GRANTS):
        print(
            f"usage: access ID SCOPE... [ORIGIN...], ID of letters, digits and _, scopes of {', '.join(GRANTS)}, "
            "origins such as https://shop.example",
            file=sys.stderr,
        )
        return 2
    token, entry = new_key(arguments[0], scopes, origins)
    print(f"# the token, shown once: {token}\n# for the keys file:\n{entry}", end="")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
