"""Who may ask: everybody, or holders of keys. A key is a bearer token `<id>.<secret>`.

A publishable key stands in a shop's page for all to see. It is bound to the shop's origins and to `recommend`, and may
come in the query as `key`, so that a browser need not ask before every question (WHATWG Fetch: a header of
authorization needs a preflight, a query does not).
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field

from sheetmargin_service.api.faults import Fault
from sheetmargin_service.api.keys import Key, KeysFile, Scope, matches
from sheetmargin_service.api.problems import Problem
from sheetmargin_service.config import Settings

_MAX_REMEMBERED = 1024


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
    """Lets a request through or raises its problem. `file` is None where everybody may ask.

    Tokens that passed are remembered by their digest for as long as the file has their key, so that scrypt is paid once
    a token and not once a request.
    """

    file: KeysFile | None
    _passed: dict[bytes, Key] = field(default_factory=dict, repr=False)

    @property
    def keyed(self) -> bool:
        return self.file is not None

    def check(self, authorization: str | None, scope: Scope, page: Page | None = None) -> None:
        """Raise `unauthorized` or `forbidden` unless the key of the Authorization header or the page has the scope."""
        if self.file is None or scope == "open":
            return
        page = page or Page()
        token, in_query = _token(authorization, page)
        if not token:
            raise _unauthorized("Send a key.", challenge='Bearer realm="sheetmargin"')
        key = self._key(token)
        if key is None or (in_query and not key.publishable):
            challenge = 'Bearer realm="sheetmargin", error="invalid_token"'
            raise _unauthorized("This key is unknown.", challenge=challenge)
        if key.publishable and not page.own and page.origin not in key.origins:
            fault = Fault(code="origin", detail="This key is for pages of other origins.", header="Origin")
            raise Problem("forbidden", fault)
        if scope not in key.scopes:
            raise Problem(
                "forbidden",
                Fault(code="scope", detail="This key is for other calls.", expected=scope, header="Authorization"),
                headers={
                    "WWW-Authenticate": f'Bearer realm="sheetmargin", error="insufficient_scope", scope="{scope}"'
                },
            )

    def known(self, authorization: str | None, page: Page) -> Key | None:
        """The key of a request whose token has passed before, found without hashing."""
        token, _ = _token(authorization, page)
        return self._remembered(_digest(token)) if token else None

    def _remembered(self, digest: bytes) -> Key | None:
        key = self._passed.get(digest)
        # A key that was taken out, or has another secret or other scopes since, has to pass again.
        return key if self.file is not None and key is not None and self.file.keys().get(key.id) == key else None

    def _key(self, token: str) -> Key | None:
        assert self.file is not None
        digest = _digest(token)
        if (remembered := self._remembered(digest)) is not None:
            return remembered
        key_id, _, secret = token.partition(".")
        key = self.file.keys().get(key_id)
        if not matches(key, secret) or key is None:
            return None
        if len(self._passed) >= _MAX_REMEMBERED:
            self._passed.clear()
        self._passed[digest] = key
        return key


def gate_from(settings: Settings) -> Gate:
    """The gate that the settings ask for; FieldError when the keys cannot be read."""
    if settings.access == "open":
        return Gate(file=None)
    assert settings.keys_file is not None
    return Gate(file=KeysFile(settings.keys_file))


def _token(authorization: str | None, page: Page) -> tuple[str, bool]:
    """The token of a request, empty where there is none, and whether it came in the query."""
    if authorization is None and page.key is not None:
        return page.key, True
    scheme, _, token = (authorization or "").partition(" ")
    return token.strip() if scheme.lower() == "bearer" else "", False


def _digest(token: str) -> bytes:
    return hashlib.sha256(token.encode("utf-8", "surrogateescape")).digest()


def _unauthorized(detail: str, *, challenge: str) -> Problem:
    fault = Fault(code="key", detail=detail, expected="Authorization: Bearer <key>", header="Authorization")
    return Problem("unauthorized", fault, headers={"WWW-Authenticate": challenge})
