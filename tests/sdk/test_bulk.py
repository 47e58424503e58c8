"""Many questions: cut into calls, in order, retried, gone on with; against a mock of the service."""

from __future__ import annotations

import itertools
import os
import pickle
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing
from pathlib import Path
from typing import Any

import polars
import pytest
import responses
from sheetmargin import (
    Client,
    IncompleteAnswer,
    InvalidJob,
    Job,
    NotAuthorised,
    Outcome,
    ServiceUnavailable,
    Sheet,
    UnexpectedAnswer,
    UnusableKeyFile,
)
from sheetmargin import bulk as bulk_module
from sheetmargin.report.quote import COLUMNS
from sheetmargin.resume_file import KeyFile, key_of
from support.batches import BATCH, EMPTY, LINES, URL, BatchServer


def job(number: int) -> Job:
    return Job(sheets=[Sheet(material="copy-paper", grammage_gsm=80 + number)], reference=f"r{number}")


def jobs(count: int) -> list[Job]:
    return [job(number) for number in range(count)]


def references(outcomes: Iterator[Outcome]) -> list[str | None]:
    return [outcome.reference for outcome in outcomes]


def test_outcomes_are_in_order(server: BatchServer) -> None:
    outcomes = list(Client(URL).recommend_many(jobs(7), chunk=3))
    assert [len(call) for call in server.calls] == [3, 3, 1]
    assert [outcome.index for outcome in outcomes] == list(range(7))
    assert [outcome.reference for outcome in outcomes] == [f"r{n}" for n in range(7)]
    assert all(outcome.answer is not None and outcome.answer.verdict == "trial-needed" for outcome in outcomes)
    assert all(outcome.error is None for outcome in outcomes)


def test_a_call_asks_for_lines_over_a_connection_of_its_own(server: BatchServer) -> None:
    list(Client(URL, "secret", language="de").recommend_many(jobs(1)))
    (headers,) = server.headers
    assert headers["Content-Type"] == LINES
    assert headers["Accept"].startswith(LINES)
    assert headers["Connection"] == "close"
    assert (headers["Authorization"], headers["Accept-Language"]) == ("Bearer secret", "de")


def test_outcomes_make_a_frame(server: BatchServer) -> None:
    asked: list[Any] = [job(0), {}, job(1)]
    rows = [outcome.row() for outcome in Client(URL).recommend_many(asked)]
    frame = polars.DataFrame(rows, infer_schema_length=None)
    assert frame.columns == list(COLUMNS)
    assert frame["gap_mm"].to_list() == [42.5, None, 42.5]
    assert frame["problem_field"].to_list() == [None, "/sheets", None]


def test_an_invalid_job_among_the_questions_is_its_own_outcome(server: BatchServer) -> None:
    wrong = InvalidJob("The row cannot be read.")
    outcomes = list(Client(URL).recommend_many([job(0), wrong, job(1)]))
    assert [outcome.error for outcome in outcomes] == [None, wrong, None]
    assert [len(call) for call in server.calls] == [2]


def test_nothing_is_asked_before_it_is_needed(server: BatchServer) -> None:
    endless = (job(number) for number in itertools.count())
    outcomes = Client(URL).recommend_many(endless, chunk=5)
    assert server.calls == []
    assert references(itertools.islice(outcomes, 7)) == [f"r{n}" for n in range(7)]
    assert len(server.calls) == 2


def test_questions_of_every_kind(server: BatchServer) -> None:
    sheet = Sheet(material="pet", thickness_um=12)
    asked = [sheet, [sheet, sheet], Job(sheets=[sheet]), {"sheets": [{"material": "pet"}], "reference": "m"}]
    assert references(Client(URL).recommend_many(asked)) == [None, None, None, "m"]
    assert [len(one["sheets"]) for one in server.calls[0]] == [1, 2, 1, 1]


def test_a_bad_question_has_its_own_error(server: BatchServer) -> None:
    asked: list[Any] = [job(0), {}, job(1), Sheet(thickness_um=float("inf")), 5, job(2), {"status": 503}]
    outcomes = list(Client(URL).recommend_many(asked))
    assert [outcome.answer is not None for outcome in outcomes] == [True, False, True, False, False, True, False]
    assert isinstance(outcomes[1].error, InvalidJob)
    assert outcomes[1].error.errors[0].pointer == "/sheets"
    assert isinstance(outcomes[3].error, InvalidJob)
    assert outcomes[3].error.errors[0].pointer == "/sheets/0/thickness_um"
    assert isinstance(outcomes[6].error, ServiceUnavailable)
    assert len(server.calls[0]) == 5, "what JSON cannot carry is not sent"


def test_calls_keep_below_the_size_that_the_service_reads(server: BatchServer, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bulk_module, "MOST_BYTES", 1000)
    asked = [Job(sheets=[Sheet(material="pet", label="x" * 300)], reference=f"r{n}") for n in range(5)]
    asked.insert(2, Job(sheets=[Sheet(label="x" * 1000)]))
    outcomes = list(Client(URL).recommend_many(asked))
    assert [len(call) for call in server.calls] == [2, 2, 1]
    assert isinstance(outcomes[2].error, InvalidJob)
    assert "at most 1000" in str(outcomes[2].error)


@pytest.mark.parametrize("arguments", [{"workers": 0}, {"chunk": 0}, {"chunk": 1001}])
def test_what_cannot_be_is_refused_at_once(arguments: dict[str, int]) -> None:
    with pytest.raises(ValueError, match="expected at least 1"):
        Client(URL).recommend_many([], **arguments)  # type: ignore[arg-type]


def cut(lines: list[bytes]) -> list[bytes]:
    return lines[:-1]


def test_an_answer_without_its_end_is_asked_for_again(waits: list[float]) -> None:
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        server = BatchServer(alter=lambda call, lines: cut(lines) if call == 1 else lines)
        server.install(mock)
        assert len(list(Client(URL).recommend_many(jobs(3)))) == 3
    assert len(server.calls) == 2
    assert len(waits) == 1


def test_an_answer_without_its_end_is_an_error_of_its_own(waits: list[float]) -> None:
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        server = BatchServer(alter=lambda _, lines: cut(lines))
        server.install(mock)
        with pytest.raises(IncompleteAnswer, match="cut off after 4 lines"):
            list(Client(URL, retries=2).recommend_many(jobs(4)))
    assert len(server.calls) == 3


def answered(content: bytes) -> list[bytes]:
    """The items of an answer to one job that came as this."""
    with responses.RequestsMock() as mock:
        mock.post(BATCH, body=content, content_type=LINES)
        return Client(URL, retries=0).send_batch([b"{}"])


@pytest.mark.parametrize(
    ("content", "error"),
    [
        (b"", IncompleteAnswer),
        (b'{"result": 0}\n', IncompleteAnswer),
        (b'{"result": 0}\n{"end": {"count": 1, "problems": 0}}', IncompleteAnswer),
        (b'{"result": 0}\n{"en', IncompleteAnswer),
        (b'{"result": 0}\n{"end": {"count": 2, "problems": 0}}\n', UnexpectedAnswer),
        (b'{"result": 0}\n{"result": 1}\n{"end": {"count": 1, "problems": 0}}\n', UnexpectedAnswer),
        (b'{"result": 0}\n{"end": 1}\n', UnexpectedAnswer),
        (b'{"result": 0}\n{"end": {\n', UnexpectedAnswer),
        (b'{"result": \n{"end": {"count": 1, "problems": 0}}\n', UnexpectedAnswer),
        (b'{"index": 0}\n{"end": {"count": 1, "problems": 0}}\n', UnexpectedAnswer),
        (b'["result"]\n{"end": {"count": 1, "problems": 0}}\n', UnexpectedAnswer),
    ],
)
def test_what_is_no_whole_answer(content: bytes, error: type[Exception]) -> None:
    with pytest.raises(error):
        answered(content)


def test_a_whole_answer() -> None:
    assert answered(b'{"result": 0}\n{"end": {"count": 1, "problems": 0}}\n') == [b'{"result": 0}']


def test_what_concerns_the_whole_is_raised(service: responses.RequestsMock, waits: list[float]) -> None:
    service.post(BATCH, status=401, json={"status": 401, "title": "A key is needed", "errors": []})
    with pytest.raises(NotAuthorised):
        next(Client(URL).recommend_many(jobs(1)))


def test_several_calls_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Never more than `workers`, in order, and the slow first one does not hold up the others."""
    under_way, most, lock, finished = 0, 0, threading.Lock(), []

    def slow(_client: Client, lines: list[bytes]) -> list[bytes]:
        nonlocal under_way, most
        number = int(lines[0].split(b': "r')[1].split(b'"')[0])
        with lock:
            under_way += 1
            most = max(most, under_way)
        time.sleep(0.3 if number == 0 else 0.02)
        with lock:
            under_way -= 1
            finished.append(number)
        return [b'{"reference": "r%d", "result": %b}' % (number, EMPTY)]

    monkeypatch.setattr(Client, "send_batch", slow)
    assert references(Client(URL).recommend_many(jobs(12), workers=3, chunk=1)) == [f"r{n}" for n in range(12)]
    assert most == 3
    assert finished[0] != 0
    assert finished.index(0) >= 4


def test_an_executor_of_the_callers(server: BatchServer) -> None:
    with ThreadPoolExecutor(2) as executor:
        outcomes = list(Client(URL).recommend_many(jobs(9), executor=executor, workers=2, chunk=2))
    assert [outcome.reference for outcome in outcomes] == [f"r{n}" for n in range(9)]
    assert len(server.calls) == 5


def test_an_error_of_one_call_keeps_what_others_computed(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, server: BatchServer
) -> None:
    def ask(_client: Client, lines: list[bytes]) -> list[bytes]:
        if b'"r1"' in lines[0]:
            raise ServiceUnavailable("down")
        return [b'{"reference": "x", "result": %b}' % EMPTY]

    monkeypatch.setattr(Client, "send_batch", ask)
    with pytest.raises(ServiceUnavailable):
        list(Client(URL).recommend_many(jobs(2), workers=2, chunk=1, resume=tmp_path / "keys"))
    with KeyFile(tmp_path / "keys", service=Client(URL).fingerprint()) as keys:
        assert len(keys) == 1


def test_a_run_goes_on_where_it_was(server: BatchServer, tmp_path: Path) -> None:
    keys = tmp_path / "keys"
    client = Client(URL)
    broken_off = client.recommend_many(jobs(10), chunk=2, resume=keys)
    for _ in range(5):
        next(broken_off)
    broken_off.close()  # type: ignore[attr-defined]
    assert len(server.calls) == 3
    outcomes = list(client.recommend_many(jobs(10), chunk=2, resume=keys))
    assert [outcome.reference for outcome in outcomes] == [f"r{n}" for n in range(10)]
    assert [outcome.index for outcome in outcomes] == list(range(10))
    assert sum(len(call) for call in server.calls) == 10, "nothing was asked twice"
    again = list(client.recommend_many(jobs(10), resume=keys))
    assert again == outcomes
    assert sum(len(call) for call in server.calls) == 10


def test_problems_of_a_job_are_remembered_and_those_of_the_service_not(server: BatchServer, tmp_path: Path) -> None:
    asked: list[Any] = [{"reference": "bad"}, {"reference": "busy", "status": 503}]
    for _ in range(2):
        list(Client(URL).recommend_many(asked, resume=tmp_path / "keys"))
    assert [[one["reference"] for one in call] for call in server.calls] == [["bad", "busy"], ["busy"]]


def test_a_run_that_was_killed_while_it_wrote_loses_only_that_call(server: BatchServer, tmp_path: Path) -> None:
    keys = tmp_path / "keys"
    code = f"""if True:
        import os
        from sheetmargin.resume_file import KeyFile

        with KeyFile({os.fspath(keys)!r}, service={Client(URL).fingerprint()!r}) as file:
            file._base.execute("INSERT INTO answers VALUES (x'00', x'00')")
            os._exit(9)
    """
    list(Client(URL).recommend_many(jobs(4), resume=keys))
    assert subprocess.run([sys.executable, "-c", code]).returncode == 9
    assert len(list(Client(URL).recommend_many(jobs(5), resume=keys))) == 5
    assert [len(call) for call in server.calls] == [4, 1]
    with KeyFile(keys, service=Client(URL).fingerprint()) as file:
        assert len(file) == 5


def test_a_key_file_of_another_service_is_refused(server: BatchServer, tmp_path: Path) -> None:
    keys = tmp_path / "keys"
    list(Client(URL).recommend_many(jobs(1), resume=keys))
    with pytest.raises(UnusableKeyFile, match="another service, catalogue or language"):
        list(Client(URL, language="de").recommend_many(jobs(1), resume=keys))
    (tmp_path / "other").write_text("reference,material\n" * 100)
    with closing(sqlite3.connect(tmp_path / "base")) as base, base:
        base.execute("CREATE TABLE stock (material TEXT)")
    for name in ("other", "base"):
        before = (tmp_path / name).read_bytes()
        with pytest.raises(UnusableKeyFile, match=name):
            list(Client(URL).recommend_many(jobs(1), resume=tmp_path / name))
        assert (tmp_path / name).read_bytes() == before
    with pytest.raises(UnusableKeyFile, match="unable to open"):
        list(Client(URL).recommend_many(jobs(1), resume=tmp_path / "nowhere" / "keys"))


def test_keys_tell_questions_apart() -> None:
    assert key_of(b'{"a": 1}') != key_of(b'{"a": 2}')


def test_progress_is_told(server: BatchServer) -> None:
    told: list[tuple[int, int | None]] = []
    client = Client(URL)
    list(client.recommend_many(jobs(5), chunk=2, progress=lambda done, total: told.append((done, total))))
    assert told == [(2, 5), (4, 5), (5, 5)]
    told.clear()
    list(client.recommend_many(iter(jobs(1)), progress=lambda done, total: told.append((done, total))))
    assert told == [(1, None)]


def test_a_bar(server: BatchServer, capsys: pytest.CaptureFixture[str]) -> None:
    list(Client(URL).recommend_many(jobs(4), chunk=2, progress=True))
    assert "4/4" in capsys.readouterr().err


def test_a_client_may_be_sent_to_another_process() -> None:
    client = Client(URL, "secret", 5, retries=1, language="de")
    one, other = (pickle.loads(pickle.dumps(client)) for _ in range(2))
    assert one is other, "loaded once in a process"
    assert one._way == client._way
    cut = pickle.loads(pickle.dumps(IncompleteAnswer("cut off")))
    assert (cut.message, cut.transient) == ("cut off", True)
    busy = pickle.loads(pickle.dumps(ServiceUnavailable("busy", status=503, retry_after_s=2)))
    assert (busy.status, busy.retry_after_s) == (503, 2)


def test_futures_that_are_cancelled_hold_up_nothing(monkeypatch: pytest.MonkeyPatch, server: BatchServer) -> None:
    """A reader that stops early: what has not begun is not begun."""

    class Never(ThreadPoolExecutor):
        def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
            submitted.append(super().submit(fn, *args, **kwargs))
            return submitted[-1]

    submitted: list[Future[Any]] = []
    gate = threading.Event()

    def ask(_client: Client, lines: list[bytes]) -> list[bytes]:
        if b'"r0"' not in lines[0]:
            gate.wait(10)
        return [b'{"result": %b}' % EMPTY]

    monkeypatch.setattr(Client, "send_batch", ask)
    with Never(1) as executor:
        outcomes = Client(URL).recommend_many(jobs(5), executor=executor, workers=4, chunk=1)
        next(outcomes)
        outcomes.close()  # type: ignore[attr-defined]
        gate.set()
    assert sum(future.cancelled() for future in submitted) >= 2
