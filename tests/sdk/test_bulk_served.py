"""Many questions to a real service: the same bytes from every side, busy servers, answers that break off."""

from __future__ import annotations

import json
import pickle
import socketserver
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from pathlib import Path

import pytest
from sheetmargin import Client, IncompleteAnswer, Job, Outcome, ServiceUnavailable, Sheet
from sheetmargin.encode import job_to_json
from support.batches import LINES, line_for
from support.catalogues import OWN
from support.servers import Server, free_port, gunicorn

PAPERS = [
    Job(sheets=[Sheet(material="copy-paper", grammage_gsm=80 + 5 * number)], reference=f"r{number}", limit=1)
    for number in range(6)
]


@pytest.fixture(scope="module")
def catalogue(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("catalogue") / "own.toml"
    path.write_text(OWN)
    return path


@pytest.fixture(scope="module")
def server(catalogue: Path) -> Iterator[Server]:
    """One process that computes one batch at a time."""
    environment = {"SHEETMARGIN_CATALOGUE": str(catalogue), "SHEETMARGIN_BATCHES": "1"}
    with gunicorn(catalogue.parent, environment=environment) as running:
        yield running


@pytest.mark.parametrize("language", [None, "de"])
def test_the_service_in_this_process_gives_the_servers_bytes(
    server: Server, catalogue: Path, language: str | None
) -> None:
    """With a catalogue of one's own: single answers, batches, problems and lists."""
    here = Client.in_process(catalogue=catalogue, language=language)
    there = Client(server.url, language=language)
    with here, there:
        for job in PAPERS[:2]:
            one, other = (
                client.request("POST", "/v1/recommendations", body=job_to_json(job)) for client in (here, there)
            )
            assert one.content == other.content
            assert b"own-" in one.content
        bodies = [job_to_json(job) for job in PAPERS[:2]]
        assert here.send_batch(bodies) == there.send_batch(bodies)
        path = "/v1/recommendations?material=copy-paper&grammage_gsm=80&limit=1"
        one, other = (client.request("GET", path) for client in (here, there))
        assert (one.content, one.headers["ETag"]) == (other.content, other.headers["ETag"])
        for path in ("detector-classes", "catalogues", "materials", "version"):
            assert here.request("GET", f"/v1/{path}").content == there.request("GET", f"/v1/{path}").content
        assert here.fingerprint() == there.fingerprint()


def test_catalogues_by_name_wherever_they_lie(catalogue: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "a=b"
    folder.mkdir()
    (folder / "own.toml").write_text(OWN)
    monkeypatch.chdir(folder)
    for given, names in (("own.toml", {"own"}), ({"one": "own.toml", "two": catalogue}, {"one", "two"})):
        with Client.in_process(catalogue=given) as client:
            assert {one.name for one in client.catalogues()} == names | {"reference"}
            assert pickle.loads(pickle.dumps(client)).fingerprint() == client.fingerprint()


def test_a_worker_that_lacks_the_catalogue_says_so(tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text(OWN)
    with Client.in_process(catalogue=own) as client:
        own.unlink()
        elsewhere = pickle.loads(pickle.dumps(client))
        with pytest.raises(ServiceUnavailable, match=r"own\.toml cannot be read"):
            elsewhere.send_batch([b"{}"])


def comparable(outcomes: Iterator[Outcome]) -> list[tuple[int, str | None, object]]:
    return [(outcome.index, outcome.reference, outcome.answer) for outcome in outcomes]


def test_a_busy_service_is_waited_for(server: Server, catalogue: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Three calls at once to a service that takes one: the others are told to wait, and asked again."""
    monkeypatch.chdir(catalogue.parent)
    waits, sleep = [], time.sleep
    # Sooner than the service asks for.
    monkeypatch.setattr("sheetmargin.transport.time.sleep", lambda s: (waits.append(s), sleep(min(s, 0.1))))
    with Client.in_process(catalogue="own.toml") as here, Client(server.url, retries=200) as there:
        plain = comparable(here.recommend_many(PAPERS))
        assert [reference for _, reference, _ in plain] == [job.reference for job in PAPERS]
        assert all(answer is not None for *_, answer in plain)
        assert comparable(there.recommend_many(PAPERS, workers=3, chunk=1)) == plain
    assert waits


@pytest.mark.long
def test_a_service_that_dies_and_comes_back(catalogue: Path, tmp_path: Path) -> None:
    """Killed with calls under way, and started anew seconds later: no outcome is missing."""
    asked = [replace(PAPERS[0], sheets=[Sheet(material="copy-paper", grammage_gsm=60 + n / 4)]) for n in range(240)]
    port, environment = free_port(), {"SHEETMARGIN_CATALOGUE": str(catalogue)}
    outcomes = []
    with ExitStack() as stack:
        running = stack.enter_context(gunicorn(tmp_path, port=port, environment=environment))
        with Client(running.url, retries=12) as client:
            for outcome in client.recommend_many(asked, workers=2, chunk=20, resume=tmp_path / "keys"):
                outcomes.append(outcome)
                if len(outcomes) == 60:
                    running.kill()
                    threading.Timer(
                        2, lambda: stack.enter_context(gunicorn(tmp_path, port=port, environment=environment))
                    ).start()
    assert [outcome.index for outcome in outcomes] == list(range(240))
    assert all(outcome.answer is not None for outcome in outcomes)
    assert len({outcome.answer.sheets[0].grammage_gsm for outcome in outcomes if outcome.answer}) == 240


def whole() -> bytes:
    item = line_for(0, {"sheets": [1]})
    return item + b"\n" + json.dumps({"end": {"count": 1, "problems": 0}}).encode() + b"\n"


def chunk(content: bytes) -> bytes:
    return f"{len(content):x}\r\n".encode() + content + b"\r\n"


HEAD = f"Content-Type: {LINES}\r\nConnection: close\r\n".encode()
CUT: dict[str, Callable[[bytes], bytes]] = {
    "in a chunk": lambda body: b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n" + HEAD + b"\r\n" + chunk(body)[:60],
    "between chunks": lambda body: b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n" + HEAD + b"\r\n" + chunk(body),
    "before its length": lambda body: (
        f"HTTP/1.1 200 OK\r\nContent-Length: {len(body)}\r\n".encode() + HEAD + b"\r\n" + body[:60]
    ),
    "where only the end of the connection tells": lambda body: (
        b"HTTP/1.0 200 OK\r\n" + HEAD + b"\r\n" + body[: body.index(b"\n") + 1]
    ),
}
"""Answers as they arrive whose server, or a proxy before it, breaks off."""


@contextmanager
def answering(*answers: bytes) -> Iterator[str]:
    """A server that gives each connection the next of these answers, and closes it."""
    left = list(answers)

    class Handler(socketserver.StreamRequestHandler):
        def handle(self) -> None:
            length = 0
            while (line := self.rfile.readline().strip()) != b"":
                name, _, value = line.partition(b":")
                length = int(value) if name.lower() == b"content-length" else length
            self.rfile.read(length)
            self.wfile.write(left.pop(0))

    with socketserver.TCPServer(("127.0.0.1", 0), Handler) as server:
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05})
        thread.start()
        try:
            yield f"http://127.0.0.1:{server.server_address[1]}"
        finally:
            server.shutdown()
            thread.join()
    assert left == []


@pytest.mark.parametrize("cut", CUT.values(), ids=CUT.keys())
def test_a_connection_that_is_lost_in_the_middle(cut: Callable[[bytes], bytes]) -> None:
    good = b"HTTP/1.1 200 OK\r\n" + HEAD + b"\r\n" + whole()
    with answering(cut(whole()), good) as url:
        (outcome,) = Client(url, retries=1).recommend_many(PAPERS[:1])
        assert outcome.answer is not None
    with answering(cut(whole())) as url, pytest.raises(IncompleteAnswer, match="cut off"):
        list(Client(url, retries=0).recommend_many(PAPERS[:1]))
