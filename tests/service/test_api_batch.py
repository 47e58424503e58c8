"""Many jobs in a call: in order, one bad job no matter to the others, equal ones once, and never without an end."""

from __future__ import annotations

import json
import socket
import struct
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from sheetmargin_service.api import batch as batch_module
from sheetmargin_service.api.batch import JSON, MOST_JOBS, NDJSON
from sheetmargin_service.app import create_app, load_service
from sheetmargin_service.config import Settings
from sheetmargin_service.principles.catalogues import reference_catalogue
from support.answers import CountingRecommend
from support.servers import Server, gunicorn
from werkzeug.test import TestResponse

PATH = "/v1/recommendations/batch"
TESTS = Path(__file__).parents[1]


def job(grammage_gsm: Any = 80, reference: str | None = None, **more: Any) -> dict[str, Any]:
    named = {} if reference is None else {"reference": reference}
    return {"sheets": [{"material": "copy-paper", "grammage_gsm": grammage_gsm}], **named, **more}


def send(api: FlaskClient, body: bytes | str | Any, media_type: str = JSON, **headers: str) -> TestResponse:
    data = body if isinstance(body, bytes | str) else json.dumps(body)
    # Buffered: to the end and closed, as a server does it.
    return api.post(PATH, data=data, headers={"Content-Type": media_type, **headers}, buffered=True)


def lines_of(response: TestResponse) -> list[Any]:
    assert (response.status_code, response.content_type) == (200, NDJSON), response.text
    assert response.text.endswith("\n")
    return [json.loads(line) for line in response.text.splitlines()]


def as_lines(jobs: list[Any]) -> str:
    return "".join(json.dumps(one) + "\n" for one in jobs)


def test_an_array_is_answered_by_an_array(api: FlaskClient) -> None:
    response = send(api, [job(80, "a"), job(81)])
    assert (response.status_code, response.content_type) == (200, JSON)
    assert response.headers["Cache-Control"] == "no-store"
    first, second = response.get_json()
    assert [first["index"], second["index"]] == [0, 1]
    assert [first["reference"], second["reference"]] == ["a", None]
    assert [first["result"]["reference"], second["result"]["reference"]] == ["a", None]


def test_lines_are_answered_by_lines_and_an_end(api: FlaskClient) -> None:
    *lines, end = lines_of(send(api, as_lines([job(80, "a"), job("thick"), job(82)]), NDJSON))
    assert [line["index"] for line in lines] == [0, 1, 2]
    assert [sorted(line)[-1] for line in lines] == ["result", "reference", "result"]
    assert lines[1]["problem"]["errors"][0]["pointer"] == "/sheets/0/grammage_gsm"
    assert end == {"end": {"count": 3, "problems": 1}}


def test_the_same_body_goes_on_where_its_answer_ended(api: FlaskClient) -> None:
    body = as_lines([job(80, "a"), job(81, "b"), job("thick", "c")])
    whole = lines_of(send(api, body, NDJSON))
    data = {"data": body, "headers": {"Content-Type": NDJSON}, "buffered": True}
    *lines, end = lines_of(api.post(f"{PATH}?start_index=1", **data))
    assert [(line["index"], line["reference"]) for line in lines] == [(1, "b"), (2, "c")]
    assert lines[0] == whole[1]
    assert end == {"end": {"count": 2, "problems": 1}}
    assert lines_of(api.post(f"{PATH}?start_index=3", **data)) == [{"end": {"count": 0, "problems": 0}}]
    wrong = api.post(f"{PATH}?start_index=-1", **data)
    assert (wrong.status_code, wrong.get_json()["errors"][0]["parameter"]) == (422, "start_index")


@pytest.mark.parametrize(
    ("line", "reference"),
    [
        ('{"reference": "a \\"7\\"", "sheets": [}', 'a "7"'),
        ('{"reference": "a", "line": {"reference": "b"}, "sheets": [}', None),
        ('{"sheets": [}', None),
        ('{"reference": "a\\u0000", "sheets": [}', None),
    ],
)
def test_a_line_that_is_no_json_may_still_have_its_reference(
    api: FlaskClient, line: str, reference: str | None
) -> None:
    (item, _) = lines_of(send(api, line + "\n", NDJSON))
    assert item["reference"] == reference
    assert item["problem"]["status"] == 400


@pytest.mark.parametrize(
    ("sent", "accept", "answered"),
    [
        (JSON, None, JSON),
        (NDJSON, None, NDJSON),
        (JSON, "*/*", JSON),
        (NDJSON, "*/*", NDJSON),
        (JSON, NDJSON, NDJSON),
        (NDJSON, JSON, JSON),
        (NDJSON, f"{JSON};q=0.5, {NDJSON}", NDJSON),
        (JSON, "application/*", JSON),
        (NDJSON, "application/*", NDJSON),
    ],
)
def test_the_form_of_the_answer(api: FlaskClient, sent: str, accept: str | None, answered: str) -> None:
    body = json.dumps([job()]) if sent == JSON else as_lines([job()])
    response = send(api, body, sent, **({"Accept": accept} if accept else {}))
    assert (response.status_code, response.content_type) == (200, answered)


def test_a_result_is_the_answer_to_the_job_alone(real_api: FlaskClient) -> None:
    one = job(80, "quote 7", limit=1, classes=["ultrasonic-400k"])
    alone = real_api.post("/v1/recommendations", json=one, headers={"Accept-Language": "de"})
    (line,) = send(real_api, [one], **{"Accept-Language": "de"}).get_json()
    assert line["result"] == alone.get_json()
    assert json.dumps(line["result"], ensure_ascii=False, separators=(",", ":")).encode() == alone.data


def test_equal_jobs_are_computed_once(api: FlaskClient, recommend: CountingRecommend) -> None:
    jobs = [job(80, "a"), job(81, "b"), job(80.0, "c"), job(80, "d", limit=5), job(81, "e"), job(80, "f", limit=4)]
    items = send(api, jobs).get_json()
    assert len(recommend.calls) == 3
    assert [item["result"]["reference"] for item in items] == ["a", "b", "c", "d", "e", "f"]
    send(api, jobs[:1])
    assert len(recommend.calls) == 4, "what one call computed is not kept for the next"


BAD_JOBS = [
    (5, "wrong-type", ""),
    (None, "wrong-type", ""),
    ([], "wrong-type", ""),
    ({}, "missing-field", "/sheets"),
    ({"sheets": []}, "empty-list", "/sheets"),
    (job(80, colour="red"), "unknown-field", "/colour"),
    (job(-1), "out-of-range", "/sheets/0/grammage_gsm"),
    ({"sheets": [{"material": "copy-papr", "grammage_gsm": 80}]}, "unknown-material", "/sheets/0/material"),
    (job(80, catalogue="nobodys"), "unknown-catalogue", "/catalogue"),
    (job(80, classes=["nothing"]), "unknown-class", "/classes/0"),
]


@pytest.mark.parametrize("media_type", [JSON, NDJSON])
def test_a_bad_job_has_its_own_problem(api: FlaskClient, media_type: str) -> None:
    jobs = [value for bad, _, _ in BAD_JOBS for value in (job(), bad)] + [job()]
    body = json.dumps(jobs) if media_type == JSON else as_lines(jobs)
    response = send(api, body, media_type)
    lines = response.get_json() if media_type == JSON else lines_of(response)[:-1]
    assert len(lines) == 2 * len(BAD_JOBS) + 1
    for line, (_, code, pointer) in zip(lines[1::2], BAD_JOBS, strict=True):
        error = line["problem"]["errors"][0]
        assert (error["code"], error.get("pointer")) == (code, pointer)
        assert line["problem"]["status"] == 422
        assert line["problem"]["request_id"] == response.headers["X-Request-Id"]
    assert all("result" in line for line in lines[::2])


def test_bad_syntax_of_one_line(api: FlaskClient) -> None:
    lines = [
        json.dumps(job(80, "good")),
        "",
        '{"sheets": [',
        '{"sheets": [{"material": "copy-paper", "grammage_gsm": 80, "grammage_gsm": 90}], "reference": "twice"}',
        '{"sheets": [{"material": "copy-paper", "grammage_gsm": NaN}]}',
        '{"reference": "half \\ud800"}',
        "[" * 100,
        json.dumps(job(81)) + "\r",
    ]
    body = "\n".join(lines).encode() + b"\n\xff\xfe\n  \n"
    *answers, end = lines_of(send(api, body, NDJSON))
    assert end == {"end": {"count": 8, "problems": 6}}
    told = [answer.get("problem", {}).get("errors", [{}])[0] for answer in answers]
    assert [error.get("code") for error in told] == [
        *(None, "json-syntax", "duplicate-key", "json-syntax", "not-unicode", "nesting", None, "not-utf-8")
    ]
    assert (told[1]["line"], told[3]["line"], told[5]["line"], told[7]["line"]) == (3, 5, 7, 9)
    assert (told[2]["pointer"], told[4]["pointer"]) == ("/sheets/0/grammage_gsm", "/reference")
    assert [answer["reference"] for answer in answers] == ["good", None, "twice", *[None] * 5]
    assert {answer["problem"]["status"] for answer in answers if "problem" in answer} == {400}


def test_a_name_twice_in_one_job_of_an_array(api: FlaskClient) -> None:
    twice = '{"sheets": [{"material": "copy-paper", "grammage_gsm": 80, "grammage_gsm": 90}], "reference": "twice"}'
    items = send(api, f"[{json.dumps(job())}, {twice}, {twice}, {json.dumps(job(81))}]").get_json()
    assert ["problem" in item for item in items] == [False, True, True, False]
    assert items[2]["problem"]["errors"][0]["pointer"] == "/sheets/0/grammage_gsm"
    assert items[1]["problem"]["type"] == "/docs/problems/bad-syntax"


@pytest.mark.parametrize("reference", ["", "x" * 201, 5, "a\x00b"])
def test_a_reference_that_cannot_be_sent_back(api: FlaskClient, reference: Any) -> None:
    (item,) = send(api, [{**job(), "reference": reference}]).get_json()
    assert item["reference"] is None
    assert item["problem"]["errors"][0]["pointer"] == "/reference"


@pytest.mark.parametrize(
    ("body", "media_type", "status", "code"),
    [
        ("{}", JSON, 422, "wrong-type"),
        ("", JSON, 400, "empty-body"),
        ("[{]", JSON, 400, "json-syntax"),
        ("[NaN]", JSON, 400, "json-syntax"),
        ("[{},]", JSON, 400, "json-syntax"),
        ("[{} {}]", JSON, 400, "json-syntax"),
        ("[{}", JSON, 400, "json-syntax"),
        ("[{}] 5", JSON, 400, "json-syntax"),
        ("[" * 33 + "]" * 33, JSON, 400, "nesting"),
        (b"[\xff]", JSON, 400, "not-utf-8"),
        (json.dumps([job()] * (MOST_JOBS + 1)), JSON, 422, "wrong-length"),
        (as_lines([job()] * (MOST_JOBS + 1)), NDJSON, 422, "wrong-length"),
        ("{\n" * (MOST_JOBS + 1), NDJSON, 422, "wrong-length"),
        ("[" + " " * (2 << 20) + "]", JSON, 413, "too-large"),
        ("[]", "text/csv", 415, "media-type"),
        ("[]", "application/jsonl", 415, "media-type"),
    ],
)
def test_a_body_that_is_no_batch(
    api: FlaskClient, recommend: CountingRecommend, body: str, media_type: str, status: int, code: str
) -> None:
    response = send(api, body, media_type)
    assert (response.status_code, response.content_type) == (status, "application/problem+json")
    assert response.get_json()["errors"][0]["code"] == code
    assert not recommend.calls


def test_other_refusals(api: FlaskClient) -> None:
    assert send(api, [], Accept="text/html").status_code == 406
    assert api.post(PATH + "?limit=5", json=[]).status_code == 422
    response = send(api, [], **{"Content-Encoding": "gzip"})
    assert response.get_json()["errors"][0]["header"] == "Content-Encoding"


def test_nothing_asked(api: FlaskClient) -> None:
    assert send(api, []).get_json() == []
    assert lines_of(send(api, "\n \n", NDJSON)) == [{"end": {"count": 0, "problems": 0}}]


def test_a_thousand_jobs(api: FlaskClient, recommend: CountingRecommend) -> None:
    jobs = [job(80 + n / 100) if n % 20 == 0 else {} for n in range(MOST_JOBS)]
    *lines, end = lines_of(send(api, as_lines(jobs), NDJSON))
    assert [line["index"] for line in lines] == list(range(MOST_JOBS))
    assert ["result" in line for line in lines] == [bool(one) for one in jobs]
    assert end["end"] == {"count": MOST_JOBS, "problems": MOST_JOBS - MOST_JOBS // 20}
    assert len(recommend.calls) == MOST_JOBS // 20


def test_a_fault_of_the_service_stays_with_its_job(recommend: CountingRecommend) -> None:
    from dataclasses import replace

    def sometimes(asked: Any, **more: Any) -> Any:
        if asked.sheets[0].grammage_gsm == 81:
            raise ZeroDivisionError
        return recommend(asked, **more)

    client = create_app(service=replace(load_service(Settings()), recommend=sometimes)).test_client()
    items = send(client, [job(80), job(81), job(82)]).get_json()
    assert ["result" in item for item in items] == [True, False, True]
    assert items[1]["problem"]["type"] == "/docs/problems/internal"
    assert "ZeroDivisionError" not in json.dumps(items)


def test_lines_come_as_they_are_computed(recommend: CountingRecommend) -> None:
    """The generator behind the answer asks for the next job only when the line before is taken, and stops with it."""
    from dataclasses import replace

    service = replace(load_service(Settings()), recommend=recommend)
    gone = False
    computing = batch_module.Batch(
        service=service, dump=lambda answer: {"reference": answer.reference}, is_gone=lambda: gone
    )
    entries = batch_module.entries_of(json.dumps([job(80 + n) for n in range(5)]).encode(), JSON)
    progress = batch_module.Progress(jobs=len(entries))
    answer = batch_module.as_ndjson(computing.answer(entries, progress))
    for count in (1, 2):
        next(answer)
        assert len(recommend.calls) == count
    gone = True
    with pytest.raises(BrokenPipeError):
        next(answer)
    assert (len(recommend.calls), progress.begun, progress.jobs) == (2, 2, 5)


def test_the_schema_of_a_catalogue_is_published(api: FlaskClient) -> None:
    response = api.get("/schemas/catalogue.json")
    assert response.content_type == "application/schema+json"
    assert "frequency_hz" in response.text
    assert api.get("/schemas/catalogue.json", headers={"If-None-Match": response.headers["ETag"]}).status_code == 304
    assert reference_catalogue().classes


def counted(url: str, name: str) -> float:
    """A count of the service's own."""
    with urllib.request.urlopen(url + "/metrics", timeout=30) as response:
        lines = response.read().decode().splitlines()
    (count,) = (line.split()[1] for line in lines if line.split()[0] == name)
    return float(count)


@pytest.fixture(scope="module")
def slow(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A server whose jobs take their time."""
    with gunicorn(tmp_path_factory.mktemp("slow"), "--pythonpath", str(TESTS), "support.slow:app", threads=2) as server:
        yield server


@pytest.mark.parametrize("manner", ["closes", "resets"])
def test_a_client_that_goes_away_stops_the_work(slow: Server, manner: str) -> None:
    """At most one more job is computed: its line comes back, which is noticed before another is begun."""
    count, read = 40, 2
    spared_before, computed_before = (
        counted(slow.url, f"sheetmargin_{name}") for name in ("jobs_spared_total", "physics_seconds_count")
    )
    body = as_lines([job(60 + n / 10, manner) for n in range(count)]).encode()
    head = f"POST {PATH} HTTP/1.1\r\nHost: localhost\r\nContent-Type: {NDJSON}\r\nContent-Length: {len(body)}\r\n\r\n"
    with socket.create_connection(("127.0.0.1", slow.port), timeout=30) as connection:
        connection.sendall(head.encode() + body)
        received = b""
        while received.count(b"}\n") < read:
            received += connection.recv(65536)
        if manner == "resets":
            connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    ends = time.monotonic() + 30
    while counted(slow.url, "sheetmargin_jobs_spared_total") == spared_before:
        assert time.monotonic() < ends
        time.sleep(0.05)
    computed = counted(slow.url, "sheetmargin_physics_seconds_count") - computed_before
    assert received.count(b"}\n") == read
    assert read <= computed <= read + 1
    assert counted(slow.url, "sheetmargin_jobs_spared_total") - spared_before == count - computed
    # It frees its place: a worker has two, and a client that listens with half a connection is no client gone.
    for _ in range(3):
        with socket.create_connection(("127.0.0.1", slow.port), timeout=30) as connection:
            short = as_lines([job(60), job(61)]).encode()
            connection.sendall(head.replace(str(len(body)), str(len(short))).encode() + short)
            connection.shutdown(socket.SHUT_WR)
            whole = b""
            while piece := connection.recv(65536):
                whole += piece
        assert b'{"end": {"count": 2, "problems": 0}}' in whole
    assert "Traceback" not in slow.log.read_text()
