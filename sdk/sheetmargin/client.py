"""The client: one method a call of the contract."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import cached_property, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, NamedTuple
from urllib.parse import urlsplit

from sheetmargin.contract.answer import Answer, Comparison
from sheetmargin.contract.job import Paper
from sheetmargin.contract.library import (
    Catalogue,
    Catalogues,
    DetectorClass,
    DetectorClasses,
    Material,
    Materials,
    SheetReading,
    SheetReadings,
    Stock,
    Stocks,
    Version,
)
from sheetmargin.contract.measure import (
    Diagnosis,
    DiagnosisQuestion,
    Fit,
    FitQuestion,
    InstalledSetup,
    Prediction,
    PredictionQuestion,
)
from sheetmargin.contract.summary import Summary
from sheetmargin.decode import decode
from sheetmargin.encode import Question, job_to_json, question_to_json
from sheetmargin.errors import ConnectionFailed, InvalidJob, NotAuthorised

if TYPE_CHECKING:
    # requests costs most of the time of an import; it is loaded with the first call.
    from concurrent.futures import Executor

    from requests import Session

    from sheetmargin.bulk import Progress
    from sheetmargin.outcome import Outcome
    from sheetmargin.transport import Parameters, Reply, Transport


HTML, PDF = "text/html", "application/pdf"
TIMEOUT_S = (5.0, 30.0)
"""For connecting, and between two bytes of an answer (a choice)."""


class _Way(NamedTuple):
    """All that makes a client, here or in another process. `catalogues` and `stocks` are files of the service here."""

    url: str
    token: str | None
    timeout_s: tuple[float, float]
    retries: int
    language: str | None
    session: Session | None = None
    proxies: tuple[tuple[str, str], ...] = ()
    ca_file: str | None = None
    in_process: bool = False
    catalogues: tuple[tuple[str, str], ...] = ()
    stocks: tuple[tuple[str, str], ...] = ()


class Client:
    """Asks a sheetmargin service.

    `timeout` is in seconds: for connecting and between two bytes of an answer, or for each of the two. The default
    waits longer than a service computes if not told otherwise (10 s), so that its own word on it arrives. A call that
    fails for want of a connection, or is answered 429, 502 or 503, is tried again up to `retries` times, after the wait
    that Retry-After asks for (up to a minute) or with exponential backoff; what took the service too long is not.
    `proxies` are addresses by scheme, `ca_file` holds the certificates to trust, `session` is a `requests.Session` of
    your own. `language` (`en`, `de`) is the language of the texts. One client may serve a whole program, and its copy
    another process: the token goes along when a client is pickled. Calls are logged as `sheetmargin`, asked again at
    INFO and each at DEBUG, without what was asked.
    """

    def __init__(
        self,
        url: str,
        token: str | None = None,
        timeout: float | tuple[float, float] = TIMEOUT_S,
        *,
        retries: int = 3,
        language: str | None = None,
        session: Session | None = None,
        proxies: Mapping[str, str] | None = None,
        ca_file: str | os.PathLike[str] | None = None,
    ) -> None:
        times = timeout if isinstance(timeout, tuple) else (timeout, timeout)
        if not all(time > 0 for time in times):
            raise ValueError(f"timeout is {timeout!r}; expected seconds above 0")
        self._way = _Way(
            _checked_url(url),
            _checked_token(token),
            times,
            retries,
            language,
            session,
            tuple((proxies or {}).items()),
            None if ca_file is None else os.path.abspath(ca_file),
        )

    @classmethod
    def in_process(
        cls,
        *,
        catalogue: str | os.PathLike[str] | Mapping[str, str | os.PathLike[str]] | None = None,
        stock: str | os.PathLike[str] | Mapping[str, str | os.PathLike[str]] | None = None,
        token: str | None = None,
        language: str | None = None,
    ) -> Client:
        """A client of the service in this process; no server, no network. Raises ServiceNotInstalled without the extra.

        The service takes its settings from the environment, as a server does; `catalogue` is a file of detector
        classes, or several by name, in place of SHEETMARGIN_CATALOGUE; `stock` is one of sheets by article number, in
        place of SHEETMARGIN_STOCK.
        """
        from sheetmargin.local import URL

        client = cls(URL, token, retries=0, language=language)
        files = () if catalogue is None else _named_files(catalogue)
        stocks = () if stock is None else _named_files(stock)
        client._way = client._way._replace(in_process=True, catalogues=files, stocks=stocks)
        _ = client._transport  # What is missing is told here, not with the first call.
        return client

    @cached_property
    def _transport(self) -> Transport:
        """Made with the first call: a client that was pickled tells there what its new place lacks."""
        from sheetmargin.transport import Transport

        way, adapter = self._way, None
        if way.in_process:
            from sheetmargin.local import WsgiAdapter, load_application

            files = {"catalogue": way.catalogues, "stock": way.stocks}
            settings = {kind: ",".join(map("=".join, named)) for kind, named in files.items() if named}
            adapter = WsgiAdapter(load_application(**settings))
        return Transport(
            way.url,
            token=way.token,
            timeout_s=way.timeout_s,
            retries=way.retries,
            language=way.language,
            adapter=adapter,
            session=way.session,
            proxies=dict(way.proxies),
            ca_file=way.ca_file,
        )

    @property
    def in_this_process(self) -> bool:
        """Whether the service runs here."""
        return self._way.in_process

    def recommend(self, question: Question) -> Answer:
        """Ranked recommendations for a job; a sheet or several alone are a job with every default."""
        return decode(Answer, self.request("POST", "/v1/recommendations", body=job_to_json(question)).json())

    def summarise(self, question: Question) -> Summary:
        """The best recommendation in a few lines, for a list of offers or a small screen."""
        return decode(Summary, self.request("POST", "/v1/summaries", body=job_to_json(question)).json())

    def compare(self, question: Question, first: str | InstalledSetup, second: str | InstalledSetup) -> Comparison:
        """Two detector classes, or two set-ups as they are mounted, for a job side by side, the step that decides
        first."""
        pair = [one if isinstance(one, str) else json.loads(question_to_json(one)) for one in (first, second)]
        body = json.loads(job_to_json(question)) | {"between" if isinstance(first, str) else "setups": pair}
        return decode(Comparison, self.request("POST", "/v1/comparisons", body=json.dumps(body).encode()).json())

    def predict(self, question: PredictionQuestion) -> Prediction:
        """What would be read with a given class, gap, tilt, profile and sheet; a grid gives what a plot needs."""
        return decode(Prediction, self.request("POST", "/v1/predictions", body=question_to_json(question)).json())

    def fit(self, question: FitQuestion) -> Fit:
        """The sheet that readings of a sample speak for, and what it changes in the recommendation."""
        return decode(Fit, self.request("POST", "/v1/fits", body=question_to_json(question)).json())

    def diagnose(self, question: DiagnosisQuestion) -> Diagnosis:
        """What is wrong with an installed set-up: causes ranked by symptoms and readings."""
        return decode(Diagnosis, self.request("POST", "/v1/diagnoses", body=question_to_json(question)).json())

    def recommend_many(
        self,
        questions: Iterable[Question | InvalidJob],
        *,
        workers: int | None = None,
        executor: Executor | None = None,
        chunk: int = 50,
        progress: bool | Progress = False,
        resume: str | os.PathLike[str] | None = None,
    ) -> Iterator[Outcome]:
        """The outcome of each question, in order: its answer, or the error that it alone has.

        Questions are taken as they are needed, `chunk` to a call, up to `workers` calls at once (one, if not told): by
        threads, or by processes where the service runs in this one (then the program's main part has to be behind
        `if __name__ == "__main__":`). An `executor` of `concurrent.futures` or of a cluster takes their place, and is
        given `workers` calls at a time (if not told, as many as this machine has cores). `progress` shows a bar
        (extra `bulk`), or is called with the number done and the total if known. `resume` is a file that remembers
        what was answered: with it a run that was broken off goes on where it was.

        An InvalidJob among the questions is its own outcome: a source hands on what it cannot read. What concerns the
        whole is raised: no service, no right to ask, an answer that stays cut off
        (IncompleteAnswer), a key file that does not belong here (UnusableKeyFile).
        """
        from sheetmargin.bulk import recommend_many

        return recommend_many(
            self, questions, workers=workers, executor=executor, chunk=chunk, progress=progress, resume=resume
        )

    def sweep(
        self, question: Question, inputs: Mapping[str, Sequence[Any]], *, workers: int | None = None
    ) -> Iterator[tuple[Mapping[str, Any], Outcome]]:
        """The question at every combination of the inputs' values, in order, each with its outcome.

        Inputs are named as the columns of a table: `grammage_gsm`, `flutter_mm`, `require.ingress`. What belongs to a
        sheet is given to every sheet of the question. `workers` as of `recommend_many`.
        """
        from sheetmargin.sweep import sweep

        return sweep(self, question, inputs, workers=workers)

    def setup_sheet(
        self,
        question: Question,
        *,
        format: Literal["html", "pdf"] = "pdf",
        rank: int = 1,
        setup: int = 0,
        paper: Paper = "a4",
    ) -> bytes:
        """The printable set-up sheet of a recommendation's set-up; a PDF needs the extra `pdf` where the service is."""
        body = json.loads(job_to_json(question)) | {"rank": rank, "setup": setup, "paper": paper}
        path, kind = ("/v1/setup-sheets.pdf", PDF) if format == "pdf" else ("/v1/setup-sheets", HTML)
        return self._transport.send("POST", path, body=json.dumps(body).encode(), media_type=kind).content

    def send_batch(self, jobs: Sequence[bytes]) -> list[bytes]:
        """One call with up to 1,000 jobs as JSON; the item of each as it came. `recommend_many` makes many of these."""
        from sheetmargin.outcome import items_in
        from sheetmargin.transport import LINES

        headers = {
            "Content-Type": LINES,
            "Accept": f"{LINES}, application/problem+json",
            # A connection that is kept would hold all calls of a client to the same process of the server.
            "Connection": "close",
        }
        body = b"\n".join(jobs) + b"\n"
        reply = self._transport.send("POST", "/v1/recommendations/batch", body=body, headers=headers)
        return items_in(reply.content, count=len(jobs))

    def fingerprint(self) -> dict[str, Any]:
        """What answers depend on beside the question."""
        version = self.version()
        return {
            "build": version.build,
            "model_version": version.model_version,
            "catalogues": [[one.name, one.version] for one in self.catalogues()],
            "stocks": [[one.name, one.version] for one in self.stocks()],
            "language": self._way.language,
        }

    def materials(self, q: str | None = None) -> tuple[Material, ...]:
        """The materials of the library; with `q`, those whose names are like it, best first."""
        return tuple(decode(Materials, self.request("GET", "/v1/materials", params={"q": q}).json()).materials)

    def read_sheet(self, text: str, *, decimal_mark: Literal[".", ","] | None = None) -> tuple[SheetReading, ...]:
        """What a text about a sheet may mean ("80 gsm copy paper"), best first; its `sheet` goes into a job."""
        parameters = {"text": text, "decimal_mark": decimal_mark}
        return tuple(decode(SheetReadings, self.request("GET", "/v1/sheets", params=parameters).json()).readings)

    def detector_classes(self, catalogue: str | None = None) -> tuple[DetectorClass, ...]:
        """The detector classes of a catalogue; of the reference catalogue if none is named."""
        parameters = {"catalogue": catalogue}
        reply = self.request("GET", "/v1/detector-classes", params=parameters)
        return tuple(decode(DetectorClasses, reply.json()).classes)

    def stocks(self) -> tuple[Stock, ...]:
        """The owner's stocks of sheets that the service has."""
        return tuple(decode(Stocks, self.request("GET", "/v1/stocks").json()).stocks)

    def catalogues(self) -> tuple[Catalogue, ...]:
        """The catalogues of the service."""
        return tuple(decode(Catalogues, self.request("GET", "/v1/catalogues").json()).catalogues)

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

    def __reduce__(self) -> tuple[Callable[[_Way], Client], tuple[_Way]]:
        return _arrived, (self._way,)

    def __repr__(self) -> str:
        return f"Client({self._way.url!r})"


@lru_cache(maxsize=8)
def _arrived(way: _Way) -> Client:
    """A client that was pickled, once in a process: the service in a process is loaded once."""
    client = Client.__new__(Client)
    client._way = way
    return client


def _named_files(
    catalogue: str | os.PathLike[str] | Mapping[str, str | os.PathLike[str]],
) -> tuple[tuple[str, str], ...]:
    """The files with their names, as found from wherever the process that reads them stands."""
    named = catalogue if isinstance(catalogue, Mapping) else {Path(catalogue).stem: catalogue}
    return tuple((name, os.path.abspath(path)) for name, path in named.items())


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
