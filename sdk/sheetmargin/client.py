"""The client: one method a call of the contract."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from sheetmargin.answer import Answer
from sheetmargin.bench import Diagnosis, Fit, Prediction
from sheetmargin.bench_question import DiagnosisQuestion, FitQuestion, PredictionQuestion
from sheetmargin.decode import decode
from sheetmargin.encode import job_to_json, question_to_json
from sheetmargin.errors import ConnectionFailed, NotAuthorised
from sheetmargin.job import Job, Sheet
from sheetmargin.library import (
    Catalogue,
    Catalogues,
    DetectorClass,
    DetectorClasses,
    Material,
    Materials,
    Version,
)

if TYPE_CHECKING:
    # requests costs most of the time of an import; it is loaded with the first client.
    from requests.adapters import BaseAdapter

    from sheetmargin.transport import Parameters, Reply


class Client:
    """Asks a sheetmargin service.

    `timeout` is in seconds, for connecting and between two bytes of an answer. A call that fails for want of a
    connection, or is answered 429 or 503, is tried again up to `retries` times, after the wait that Retry-After asks
    for (up to a minute) or with exponential backoff. `language` (`en`, `de`) is the language of the texts. One client
    may serve a whole program.
    """

    def __init__(
        self,
        url: str,
        token: str | None = None,
        timeout: float = 10,
        *,
        retries: int = 3,
        language: str | None = None,
        _adapter: BaseAdapter | None = None,
    ) -> None:
        from sheetmargin.transport import Transport

        if not timeout > 0:
            raise ValueError(f"timeout is {timeout!r}; expected seconds above 0")
        self._url = _checked_url(url)
        self._transport = Transport(
            self._url,
            token=_checked_token(token),
            timeout_s=timeout,
            retries=retries,
            language=language,
            adapter=_adapter,
        )

    @classmethod
    def in_process(cls, *, token: str | None = None, language: str | None = None) -> Client:
        """A client of the service in this process; no server, no network. Raises ServiceNotInstalled without the extra.

        The service takes its settings from the environment, as a server does.
        """
        from sheetmargin.local import URL, WsgiAdapter, load_application

        return cls(URL, token, retries=0, language=language, _adapter=WsgiAdapter(load_application()))

    def recommend(self, question: Job | Sheet | Sequence[Sheet]) -> Answer:
        """Ranked recommendations for a job; a sheet or several alone are a job with every default."""
        return decode(Answer, self.request("POST", "/v1/recommendations", body=job_to_json(question)).json())

    def predict(self, question: PredictionQuestion) -> Prediction:
        """What would be read with a given class, gap, tilt, profile and sheet; a grid gives what a plot needs."""
        return decode(Prediction, self.request("POST", "/v1/predictions", body=question_to_json(question)).json())

    def fit(self, question: FitQuestion) -> Fit:
        """The sheet that readings of a sample speak for, and what it changes in the recommendation."""
        return decode(Fit, self.request("POST", "/v1/fits", body=question_to_json(question)).json())

    def diagnose(self, question: DiagnosisQuestion) -> Diagnosis:
        """What is wrong with an installed set-up: causes ranked by symptoms and readings."""
        return decode(Diagnosis, self.request("POST", "/v1/diagnoses", body=question_to_json(question)).json())

    def materials(self, q: str | None = None) -> tuple[Material, ...]:
        """The materials of the library; with `q`, those whose names are like it, best first."""
        return decode(Materials, self.request("GET", "/v1/materials", params={"q": q}).json()).materials

    def detector_classes(self, catalogue: str | None = None) -> tuple[DetectorClass, ...]:
        """The detector classes of a catalogue; of the reference catalogue if none is named."""
        parameters = {"catalogue": catalogue}
        return decode(DetectorClasses, self.request("GET", "/v1/detector-classes", params=parameters).json()).classes

    def catalogues(self) -> tuple[Catalogue, ...]:
        """The catalogues of the service."""
        return decode(Catalogues, self.request("GET", "/v1/catalogues").json()).catalogues

    def version(self) -> Version:
        """What answers, and what its numbers rest on."""
        return decode(Version, self.request("GET", "/v1/version").json())

    def request(self, method: str, path: str, *, params: Parameters | None = None, body: bytes | None = None) -> Reply:
        """Any call of the service, the answer as it came: for what has no method of its own, and for the raw JSON."""
        return self._transport.send(method, path, params=params, body=body)

    def close(self) -> None:
        self._transport.close()

    def __enter__(self) -> Client:
        return self

    def __exit__(self, *exception: object) -> None:
        self.close()

    def __repr__(self) -> str:
        return f"Client({self._url!r})"


def _checked_url(url: str) -> str:
    parts = urlsplit(url)
    if parts.scheme not in ("http", "https") or not parts.hostname:
        raise ConnectionFailed(f"{url!r} is no address of a service; expected one like http://127.0.0.1:8080")
    return url.rstrip("/")


def _checked_token(token: str | None) -> str | None:
    """The token without the line end that a file leaves on it. Refuses what no header can carry, without showing it."""
    token = (token or "").strip()
    if not token.isascii() or not token.isprintable() or " " in token:
        raise NotAuthorised(
            "The token holds blanks, control or non-ASCII characters; is it the whole token and only that?"
        )
    return token or None
