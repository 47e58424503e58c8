"""Everything that this client raises, under one root."""
# ruff: noqa: N818 - the names say what happened; the root says that they are errors.

from __future__ import annotations

from collections.abc import Sequence

from sheetmargin.contract.problem import Fault


class SheetmarginError(Exception):
    """Root of every error of this client.

    `status` is the HTTP status, `request_id` the service's name for the request, `errors` what was wrong with the
    question; each is empty where it does not apply. `retry_after_s` is set when the service said how long to wait.
    """

    def __init__(
        self,
        message: str,
        *,
        status: int | None = None,
        request_id: str | None = None,
        errors: Sequence[Fault] = (),
        retry_after_s: float | None = None,
    ) -> None:
        super().__init__(message)
        self.message = message
        self.status, self.request_id, self.retry_after_s = status, request_id, retry_after_s
        self.errors = tuple(errors)

    def __str__(self) -> str:
        text = "\n".join([self.message, *(f"  {fault}" for fault in self.errors)])
        return f"{text}\n  (request {self.request_id})" if self.request_id else text


class InvalidJob(SheetmarginError):
    """The question cannot be answered as it is; `errors` says where and what would be right (400, 413, 415, 422)."""


class NotAuthorised(SheetmarginError):
    """The token is missing, unknown, or may not do this (401, 403)."""


class TooManyRequests(SheetmarginError):
    """The service asked to wait, and the retries are used up (429)."""


class ServiceUnavailable(SheetmarginError):
    """The service is there but cannot answer: overloaded, starting or broken (5xx)."""


class ConnectionFailed(SheetmarginError):
    """No answer: the service cannot be reached, the connection broke, or the time ran out.

    `transient` says that the connection broke or was refused, so that asking again may help.
    """

    def __init__(self, message: str, *, transient: bool = False) -> None:
        super().__init__(message)
        self.transient = transient


class IncompleteAnswer(ConnectionFailed):
    """An answer was cut off: the connection broke in its middle, or a batch has no end line."""

    def __init__(self, message: str) -> None:
        super().__init__(message, transient=True)


class UnusableKeyFile(SheetmarginError):
    """A file to go on from was begun with another service, catalogue or language, or is something else altogether."""


class ExtraNotInstalled(SheetmarginError):
    """Something was wanted that an extra brings, and it is not installed."""

    @classmethod
    def missing(cls, name: str, *, extra: str) -> ExtraNotInstalled:
        return cls(f"{name} is not installed in this Python:\n  pip install 'sheetmargin[{extra}]'")


class ServiceNotInstalled(SheetmarginError):
    """The service was wanted in this process, and the extra that brings it is not installed."""

    @classmethod
    def missing(cls, name: str) -> ServiceNotInstalled:
        return cls(
            f"The service is not installed in this Python ({name} is missing). Either install it:\n"
            "  pip install 'sheetmargin[service]'\n"
            "or name the address of a running one."
        )


class PlotsNotInstalled(SheetmarginError):
    """A picture was wanted, and the extra that draws it is not installed."""

    @classmethod
    def missing(cls) -> PlotsNotInstalled:
        return cls("Pictures need matplotlib, which is not installed:\n  pip install 'sheetmargin[plot]'")


class UnexpectedAnswer(SheetmarginError):
    """Something answered, but not as this service does; mostly a wrong address or a proxy in between."""
