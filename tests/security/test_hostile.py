"""Inputs that somebody would send who means harm, each by hand, to the service as it is shipped.

None gets a 5xx, none learns anything of the inside, each is answered soon, and the worker neither ends nor grows.
"""

from __future__ import annotations

import base64
import gzip
import json
import resource
from concurrent.futures import ThreadPoolExecutor
from urllib.parse import quote

import pytest
from support.machine import address_space_mb, children_of, memory_mb, peak_mb
from support.servers import Server
from support.telltale import TELLTALE
from support.wire import Reply, exchange, post, request

JOBS, BATCH, SHEET = "/v1/recommendations", "/v1/recommendations/batch", "/v1/setup-sheets"
PAPER = {"material": "copy-paper", "grammage_gsm": 80}
JOB = {"sheets": [PAPER]}
MIB = 1 << 20
# Bidirectional override, zero width, a combining pile, an astral character.
ODD = "\u202egnp.exe\u200b" + "e" + "\u0301" * 200 + "\U0001f4c4"
LINES = ("\r\n".join(["{}"] * 3)).encode()
DEEP = b"[" * (MIB - 2)


def link(job: bytes) -> bytes:
    text = base64.urlsafe_b64encode(job).decode().rstrip("=")
    return request("GET", f"{SHEET}?job={text}")


def sheet(**fields: object) -> bytes:
    return post({"sheets": [{**PAPER, **fields}]})


def chunked(*chunks: bytes, target: str = JOBS, coding: str = "chunked") -> bytes:
    headers = f"Transfer-Encoding: {coding}\r\nContent-Type: application/json\r\n"
    return request("POST", target, headers=headers) + b"".join(chunks)


def filled(item: bytes, *, size: int = 2 * MIB, start: bytes = b"[", end: bytes = b"]") -> bytes:
    """As many of an item in an array as a body holds."""
    return start + b",".join([item] * ((size - len(start) - len(end) - 1) // (len(item) + 1))) + end


HEAVY = {
    "of-repeated-names": filled(b'{"":0,"":0}'),
    "of-one-job-of-repeated-names": filled(b'{"":0,"":0}', start=b'[{"sheets":[', end=b"]}]"),
    "of-one-job-of-nothing": filled(b"[]", start=b'[{"sheets":[', end=b"]}]"),
    "of-one-job-of-half-characters": filled(b'"\\ud800"', start=b'[{"sheets":[', end=b"]}]"),
    "of-repeated-names-and-too-large": filled(b'{"":0,"":0}', size=8 * MIB),
}
"""What takes the most of time and memory to read."""
INPUTS: dict[str, bytes] = {
    # The wire.
    "nothing": b"",
    "noise": bytes(range(256)) * 64,
    "tls-hello": bytes.fromhex("16030100a5010000a10303") + bytes(160),
    "http-0.9": b"GET /\r\n",
    "http-2-preface": b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
    "http-3.7": b"GET /livez HTTP/3.7\r\nHost: x\r\n\r\n",
    "method-of-a-megabyte": b"A" * MIB + b" / HTTP/1.1\r\n\r\n",
    "target-of-a-megabyte": b"GET /" + b"a" * MIB + b" HTTP/1.1\r\n\r\n",
    "header-of-a-megabyte": request("GET", "/livez", headers="X: " + "a" * MIB + "\r\n"),
    "ten-thousand-headers": request("GET", "/livez", headers="".join(f"X{i}: 1\r\n" for i in range(10_000))),
    "header-without-colon": request("GET", "/livez", headers="nonsense\r\n"),
    "folded-header": request("GET", "/livez", headers="X: a\r\n b\r\n"),
    "nul-in-header": request("GET", "/livez", headers="X: a\0b\r\n"),
    "space-before-colon": request("GET", "/livez", headers="Content-Length : 5\r\n"),
    "two-hosts": request("GET", "/livez", headers="Host: evil.example\r\n"),
    "host-with-a-path": b"GET /docs HTTP/1.1\r\nHost: x/../../y@z:99999\r\n\r\n",
    "two-lengths": request("POST", JOBS, headers="Content-Length: 5\r\nContent-Length: 6\r\n") + b"{}{}{}",
    "negative-length": request("POST", JOBS, headers="Content-Length: -1\r\n"),
    "length-of-exabytes": request("POST", JOBS, headers=f"Content-Length: {10**19}\r\n"),
    "length-and-chunks": request(
        "POST", JOBS, headers="Content-Length: 4\r\nTransfer-Encoding: chunked\r\n"
    ) + b"0\r\n\r\nGET /metrics HTTP/1.1\r\nHost: x\r\n\r\n",
    "chunked-twice": chunked(b"0\r\n\r\n", coding="chunked, chunked"),
    "coding-gzip": chunked(b"0\r\n\r\n", coding="gzip"),
    "coding-identity": chunked(b"0\r\n\r\n", coding="identity"),
    "chunk-of-exabytes": chunked(b"FFFFFFFFFFFFFFFF\r\n{}"),
    "chunk-that-is-no-number": chunked(b"zz\r\n{}\r\n0\r\n\r\n"),
    "chunk-extension-of-a-megabyte": chunked(b"2;" + b"a" * MIB + b"\r\n{}\r\n0\r\n\r\n"),
    "chunks-without-end": chunked(b"100000\r\n" + b" " * MIB + b"\r\n", b"100000\r\n" + b" " * MIB + b"\r\n"),
    "million-chunks": chunked(*[b"1\r\n \r\n"] * 200_000, b"0\r\n\r\n"),
    "body-cut-short": request("POST", JOBS, headers="Content-Length: 500\r\nContent-Type: application/json\r\n") + b"{",
    "expect-the-unexpected": request("POST", JOBS, headers="Expect: the-unexpected\r\n"),
    "upgrade": request("GET", "/livez", headers="Upgrade: websocket\r\nConnection: Upgrade\r\n"),
    # Methods and paths.
    "trace": request("TRACE", "/livez"),
    "connect": request("CONNECT", "127.0.0.1:22"),
    "options-star": request("OPTIONS", "*"),
    "absolute-target": request("GET", "http://evil.example/livez"),
    "up-and-out": request("GET", "/assets/../../../../etc/passwd"),
    "up-and-out-encoded": request("GET", "/assets/..%2f..%2f..%2fetc%2fpasswd"),
    "path-not-utf-8": request("GET", "/docs/problems/%ff%fe%00"),
    "path-of-slashes": request("GET", "/" * 4000),
    "query-not-utf-8": request("GET", f"{JOBS}?material=%ff%fe&grammage_gsm=%00"),
    "query-of-a-thousand-names": request("GET", f"{JOBS}?" + "&".join(f"a{i}=1" for i in range(700))),
    # Headers that are read.
    "accept-of-many": request("GET", "/docs", headers="Accept: " + "a/b;q=0.1," * 800 + "\r\n"),
    "accept-odd": request("GET", "/docs", headers="Accept: text/html;q=nan, */*;q=1e999, ;;;,,\r\n"),
    "language-of-many": request("GET", "/docs", headers="Accept-Language: " + "x-y;q=0.5," * 700 + "\r\n"),
    "tags-of-many": request("GET", "/docs", headers="If-None-Match: " + '"a",' * 1800 + "\r\n"),
    "names-with-lines": request("GET", "/livez", headers="X-Request-Id: a%0d%0aSet-Cookie:x\r\ntraceparent: \xff\r\n"),
    "bearer-of-bytes": request("GET", JOBS, headers="Authorization: Bearer \xff\xfe.\x80\r\n"),
    "gzip-bomb": post(gzip.compress(b" " * 50 * MIB), headers="Content-Encoding: gzip\r\n"),
    "charset-utf-7": request("POST", JOBS, body=b"+AHsAfQ-", kind="application/json; charset=utf-7"),
    "multipart": request("POST", JOBS, body=b"--x\r\n" * 1000, kind="multipart/form-data; boundary=x"),
    # JSON.
    "deep-brackets": post(DEEP),
    "deep-objects": post(b'{"a":' * 150_000),
    "deep-in-text": post(b'"' + b"[" * (MIB - 10) + b'"'),
    "quotes-without-end": post(b'{"' + b'\\"' * 500_000),
    "number-of-a-megabyte": post(b'{"limit":' + b"9" * (MIB - 20) + b"}"),
    "fraction-of-a-megabyte": post(b'{"limit":0.' + b"9" * (MIB - 20) + b"}"),
    "exponent": post(b'{"limit": 1e-999999999999, "sheets": []}'),
    "same-name-often": post(b"{" + b",".join([b'"sheets":[]'] * 80_000) + b"}"),
    "many-names": post({f"n{i}": i for i in range(60_000)}),
    "half-pairs": post(b'{"reference": "' + b"\\ud800" * 100_000 + b'"}'),
    "escaped-nul": post(b'{"sheets": [{"material": "copy\\u0000paper", "grammage_gsm": 80}]}'),
    "prototype": post({"__proto__": {"x": 1}, "constructor": {"prototype": {}}, "__class__": "x", **JOB}),
    # Values.
    "format-strings": sheet(material="{0.__class__.__mro__}%n%s{{7*7}}${7*7}"),
    "sql-and-shell": sheet(material="'; DROP TABLE materials; -- $(id) `id` | id"),
    "file-as-material": sheet(material="../../../../etc/passwd"),
    "file-as-catalogue": post({**JOB, "catalogue": "/etc/passwd\0.toml"}),
    "log-lines": post({**JOB, "reference": "a\n2026-01-01 ERROR root: owned\x1b[2J"}),
    "odd-letters": sheet(material=ODD, label=ODD),
    "script-in-label": post(
        {"job": {"sheets": [{**PAPER, "label": "<script>alert(1)</script>"}], "reference": "\"><img src=x onerror=a>"}},
        SHEET,
    ),
    "least-double": sheet(grammage_gsm=5e-324),
    "greatest-double": sheet(grammage_gsm=1.7976931348623157e308, thickness_um=5e-324),
    "all-sheets-all-layers": post(
        {"sheets": [{"layers": [{"material": "pet", "thickness_um": 1 + i} for i in range(6)]} for _ in range(50)]}
    ),
    "more-layers-than-that": post(
        {"sheets": [{"layers": [{"material": "pet", "thickness_um": 1 + i} for i in range(30)]} for _ in range(50)]}
    ),
    "all-plies-all-sheets": post({"sheets": [{**PAPER, "grammage_gsm": 20 + i, "plies": 100} for i in range(50)]}),
    "names-that-are-almost-right": post({**JOB, "classes": ["ultrasonic-" + "9" * 60] * 200}),
    "search-for-everything": request("GET", "/v1/materials?q=" + quote("a" * 2000)),
    "search-by-pattern": request("GET", "/v1/materials?q=" + quote("(a+)+$[^" * 9)),
    # Batches and links.
    "batch-of-lines-of-nothing": request("POST", BATCH, body=b"\n" * 2_000_000, kind="application/x-ndjson"),
    "batch-line-without-end": request("POST", BATCH, body=b"[" * 2_000_000, kind="application/x-ndjson"),
    "batch-of-numbers": post(b"[" + b"1," * 1_000_000 + b"1]", BATCH),
    **{f"batch-{name}": post(body, BATCH) for name, body in HEAVY.items()},
    "batch-of-a-thousand-and-one": post([JOB] * 1001, BATCH),
    "batch-of-wrong-jobs": post([{"sheets": [{"material": f"m{i}"}]} for i in range(1000)], BATCH),
    "batch-within-batch": post([[[[JOB]]]] * 10, BATCH),
    "link-of-nesting": link(b"[" * 2500),
    "link-of-gzip": link(gzip.compress(json.dumps(JOB).encode())),
    "link-that-is-none": request("GET", f"{SHEET}?job=%%%&rank=1e9"),
}  # fmt: skip


def test_there_are_enough() -> None:
    assert len(INPUTS) >= 60


@pytest.mark.parametrize("name", INPUTS)
def test_hostile(server: Server, name: str) -> None:
    (worker,) = children_of(server.process.pid)
    reply = exchange(server.port, INPUTS[name])
    # What asks for more work than fits into the time allowed is given up, which is said with 503.
    heavy = name.startswith("all-") or name.removeprefix("batch-") in HEAVY
    assert reply.status < 500 or (reply.status == 503 and heavy), reply
    assert not TELLTALE.search(reply.body), reply.body[:2000]
    assert reply.header("Server") is None
    assert reply.seconds < 20.0
    if reply.status >= 400:
        assert reply.header("Content-Type") == "application/problem+json"
        assert json.loads(reply.body)["status"] == reply.status
    assert b"<script>alert" not in reply.body
    assert b"<img src=x" not in reply.body
    assert children_of(server.process.pid) == [worker], "the worker has ended"


def test_what_is_heaviest_to_read_is_read_at_once_within_bounds(server: Server) -> None:
    """By every thread of a worker that may take 300 MB more address space than it has."""
    (worker,) = children_of(server.process.pid)
    before = resource.prlimit(worker, resource.RLIMIT_AS)
    resource.prlimit(worker, resource.RLIMIT_AS, (int((address_space_mb(worker) + 300.0) * MIB), before[1]))
    try:
        with ThreadPoolExecutor(4) as pool:
            bodies = list(HEAVY.values()) * 2
            replies = list(pool.map(lambda body: exchange(server.port, post(body, BATCH), longest_s=60.0), bodies))
    finally:
        resource.prlimit(worker, resource.RLIMIT_AS, before)
    # 503: two batches are worked on at once, or the time was over. 0: closed while too large a body was being sent.
    assert {reply.status for reply in replies} <= {0, 200, 413, 422, 503}
    assert children_of(server.process.pid) == [worker]
    assert exchange(server.port, post(JOB)).status == 200


def test_afterwards_it_answers_and_has_not_grown(server: Server) -> None:
    (worker,) = children_of(server.process.pid)
    # Bodies are at most 2 MiB; read, decoded and described they take a multiple of it.
    assert peak_mb(worker) < 400.0
    small = [sent for name, sent in INPUTS.items() if len(sent) < 100_000 and not name.startswith("all-")]
    for round_ in range(2):
        for sent in small:
            exchange(server.port, sent)
        if round_ == 0:
            before = memory_mb(worker)
    assert memory_mb(worker) < 1.02 * before
    right: Reply = exchange(server.port, post(JOB))
    assert right.status == 200
    assert json.loads(right.body)["recommendations"]
