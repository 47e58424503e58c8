"""Timeouts, retries and errors, against a mock of the service."""

from __future__ import annotations

import pickle
from pathlib import Path
from typing import Any

import pytest
import requests
import responses
from responses import matchers
from sheetmargin import (
    Answer,
    Client,
    ConnectionFailed,
    InvalidJob,
    NotAuthorised,
    ServiceUnavailable,
    Sheet,
    SheetmarginError,
    TooManyRequests,
    UnexpectedAnswer,
)
from sheetmargin.client import TIMEOUT_S
from sheetmargin_service.config import Settings
from support.whole import whole

URL = "http://service.example"
RECOMMENDATIONS = f"{URL}/v1/recommendations"
SHEET = Sheet(material="copy-paper", grammage_gsm=80)
ANSWER = whole(Answer, {"verdict": "trial-needed"})

PROBLEM = {
    "type": "/docs/problems#invalid-values",
    "title": "Invalid values",
    "status": 422,
    "detail": "no material is called 'coppy-paper'",
    "request_id": "0123",
    "errors": [
        {
            "code": "unknown-material",
            "pointer": "/sheets/0/material",
            "detail": "no material is called 'coppy-paper'",
            "expected": "a material id or a name of one",
            "suggestions": ["copy-paper"],
            "later_field": 1,
        }
    ],
}


def test_a_question_is_posted_as_json(service: responses.RequestsMock) -> None:
    service.post(
        RECOMMENDATIONS,
        json=ANSWER,
        match=[
            matchers.json_params_matcher({"sheets": [{"material": "copy-paper", "grammage_gsm": 80}]}),
            matchers.header_matcher({"Content-Type": "application/json", "Accept-Language": "de"}),
            matchers.request_kwargs_matcher({"timeout": (5, 30)}),
        ],
    )
    assert Client(URL + "/", language="de").recommend(SHEET).verdict == "trial-needed"


def test_timeout_and_token_are_sent_on_every_call(service: responses.RequestsMock) -> None:
    service.post(
        RECOMMENDATIONS,
        json=ANSWER,
        match=[
            matchers.header_matcher({"Authorization": "Bearer secret-token"}),
            matchers.request_kwargs_matcher({"timeout": (2.5, 2.5)}),
        ],
    )
    client = Client(URL, "secret-token\n", 2.5)
    client.recommend(SHEET)
    assert "secret" not in repr(client)


def test_a_session_proxies_and_certificates_of_ones_own(service: responses.RequestsMock, tmp_path: Path) -> None:
    proxies, ca_file = {"https": "http://proxy.example:3128"}, tmp_path / "ca.pem"
    told = {"timeout": (1, 60), "proxies": proxies, "verify": str(ca_file)}
    service.post(RECOMMENDATIONS, json=ANSWER, match=[matchers.request_kwargs_matcher(told)])
    with requests.Session() as session:
        session.headers["X-Department"] = "sales"
        before = dict(session.headers)
        with Client(URL, timeout=(1, 60), session=session, proxies=proxies, ca_file=ca_file) as client:
            client.recommend(SHEET)
        assert service.calls[0].request.headers["X-Department"] == "sales"
        assert dict(session.headers) == before


def test_the_service_has_its_say_on_what_takes_too_long(service: responses.RequestsMock) -> None:
    """It gives up after 10 s: the client waits longer, and does not have it begin again."""
    assert TIMEOUT_S[1] > (Settings().time_limit_s or 0)
    problem = {"status": 503, "title": "Not ready", "detail": "This took too long.", "request_id": "1"}
    errors = [{"code": "time-limit", "detail": "This took too long.", "expected": "fewer sheets"}]
    service.post(RECOMMENDATIONS, status=503, json={**problem, "errors": errors}, headers={"Retry-After": "5"})
    with pytest.raises(ServiceUnavailable, match="fewer sheets"):
        Client(URL).recommend(SHEET)
    assert len(service.calls) == 1


def test_calls_are_logged_without_what_was_asked(
    service: responses.RequestsMock, caplog: pytest.LogCaptureFixture
) -> None:
    service.post(RECOMMENDATIONS, json=ANSWER, headers={"X-Request-Id": "seven"})
    with caplog.at_level("DEBUG", "sheetmargin"):
        Client(URL, "secret-token").recommend(SHEET)
    (record,) = [record for record in caplog.records if record.name == "sheetmargin"]
    assert record.getMessage().startswith("POST /v1/recommendations: 200 in ")
    assert record.getMessage().endswith("(request seven)")


def test_no_token_from_a_netrc_file(
    service: responses.RequestsMock, tmp_path: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    netrc = tmp_path / "netrc"
    netrc.write_text("machine service.example login somebody password secret\n")
    netrc.chmod(0o600)
    monkeypatch.setenv("NETRC", str(netrc))
    service.post(RECOMMENDATIONS, json=ANSWER)
    Client(URL).recommend(SHEET)
    assert "Authorization" not in service.calls[0].request.headers


@pytest.mark.parametrize("token", ["two words", "new\nline", "schlüssel", "nul\x00"])
def test_a_token_that_no_header_can_carry_is_refused_unseen(token: str) -> None:
    with pytest.raises(NotAuthorised) as caught:
        Client(URL, token)
    assert token not in str(caught.value)


@pytest.mark.parametrize("url", ["service.example:8080", "ftp://service.example", "http://", "", "127.0.0.1:8080"])
def test_an_address_without_scheme_or_host_is_refused(url: str) -> None:
    with pytest.raises(ConnectionFailed, match="expected one like"):
        Client(url)


@pytest.mark.parametrize("timeout", [0, -1, float("nan")])
def test_a_timeout_is_positive(timeout: float) -> None:
    with pytest.raises(ValueError, match="timeout"):
        Client(URL, timeout=timeout)


@pytest.mark.parametrize(
    ("status", "error"),
    [
        (400, InvalidJob),
        (413, InvalidJob),
        (415, InvalidJob),
        (422, InvalidJob),
        (401, NotAuthorised),
        (403, NotAuthorised),
        (404, UnexpectedAnswer),
        (405, UnexpectedAnswer),
        (406, UnexpectedAnswer),
        (302, UnexpectedAnswer),
        (202, UnexpectedAnswer),
        (429, TooManyRequests),
        (500, ServiceUnavailable),
        (502, ServiceUnavailable),
        (503, ServiceUnavailable),
        (504, ServiceUnavailable),
    ],
)
@pytest.mark.parametrize("problem", [True, False])
def test_errors_by_status(
    service: responses.RequestsMock, waits: list[float], status: int, error: type[SheetmarginError], problem: bool
) -> None:
    if problem:
        service.post(RECOMMENDATIONS, status=status, json=PROBLEM, content_type="application/problem+json")
    else:
        service.post(RECOMMENDATIONS, status=status, body="<html>", headers={"X-Request-ID": "0123"})
    with pytest.raises(SheetmarginError) as caught:
        Client(URL, retries=0).recommend(SHEET)
    assert type(caught.value) is error
    assert caught.value.status == status
    assert caught.value.request_id == "0123"
    assert (caught.value.message == PROBLEM["title"]) is problem
    assert len(caught.value.errors) == problem
    assert waits == []


def test_a_problem_says_where_and_what_would_be_right(service: responses.RequestsMock) -> None:
    service.post(RECOMMENDATIONS, status=422, json=PROBLEM)
    with pytest.raises(InvalidJob) as caught:
        Client(URL).recommend(SHEET)
    (fault,) = caught.value.errors
    assert (fault.code, fault.pointer, fault.suggestions) == (
        "unknown-material",
        "/sheets/0/material",
        ("copy-paper",),
    )
    assert str(caught.value) == (
        "Invalid values\n"
        "  /sheets/0/material: no material is called 'coppy-paper' (expected: a material id or a name of one); "
        "did you mean copy-paper?\n"
        "  (request 0123)"
    )


def test_errors_cross_process_boundaries(service: responses.RequestsMock) -> None:
    service.post(RECOMMENDATIONS, status=422, json=PROBLEM)
    with pytest.raises(InvalidJob) as caught:
        Client(URL).recommend(SHEET)
    copy = pickle.loads(pickle.dumps(caught.value))
    assert (str(copy), copy.errors, copy.status) == (str(caught.value), caught.value.errors, 422)


def test_a_syntax_error_is_placed_by_line_and_column(service: responses.RequestsMock) -> None:
    problem = {
        "detail": "No JSON.",
        "errors": [{"code": "json-syntax", "detail": "a comma is missing", "line": 3, "column": 7}],
    }
    service.post(RECOMMENDATIONS, status=400, json=problem)
    with pytest.raises(InvalidJob, match="line 3, column 7: a comma is missing"):
        Client(URL).recommend(SHEET)


@pytest.mark.parametrize("status", [429, 503])
def test_busy_service_is_asked_again_post_included(
    service: responses.RequestsMock, waits: list[float], status: int
) -> None:
    service.post(RECOMMENDATIONS, status=status, headers={"Retry-After": "2"})
    service.post(RECOMMENDATIONS, status=status)
    service.post(RECOMMENDATIONS, json=ANSWER)
    assert Client(URL).recommend(SHEET).verdict == "trial-needed"
    assert 2 <= waits[0] <= 2.25
    assert 0 <= waits[1] <= 0.5
    assert {call.request.body for call in service.calls} == {service.calls[0].request.body}


@pytest.mark.parametrize(
    "broken",
    [
        requests.ConnectionError("refused"),
        requests.ConnectTimeout("too slow"),
        requests.exceptions.ChunkedEncodingError("half an answer"),
    ],
)
def test_broken_connection_is_tried_again(
    service: responses.RequestsMock, waits: list[float], broken: Exception
) -> None:
    service.post(RECOMMENDATIONS, body=broken)
    service.post(RECOMMENDATIONS, json=ANSWER)
    assert Client(URL).recommend(SHEET).verdict == "trial-needed"
    assert len(waits) == 1


def test_retries_end(service: responses.RequestsMock, waits: list[float]) -> None:
    for _ in range(3):
        service.post(RECOMMENDATIONS, status=503, headers={"Retry-After": "1"})
    with pytest.raises(ServiceUnavailable) as caught:
        Client(URL, retries=2).recommend(SHEET)
    assert caught.value.retry_after_s == 1
    assert len(waits) == 2


def test_a_wait_of_more_than_a_minute_is_left_to_the_caller(
    service: responses.RequestsMock, waits: list[float]
) -> None:
    service.post(RECOMMENDATIONS, status=429, headers={"Retry-After": "3600"})
    with pytest.raises(TooManyRequests) as caught:
        Client(URL).recommend(SHEET)
    assert caught.value.retry_after_s == 3600
    assert waits == []


@pytest.mark.parametrize(
    ("failure", "says"),
    [
        (requests.ReadTimeout("slow"), "no answer within 30 s"),
        (requests.exceptions.SSLError("self-signed certificate"), "cannot be trusted"),
        (requests.exceptions.InvalidURL("what is this"), "cannot be reached"),
    ],
)
def test_what_another_try_cannot_help_is_not_tried_again(
    service: responses.RequestsMock, waits: list[float], failure: Exception, says: str
) -> None:
    service.post(RECOMMENDATIONS, body=failure)
    with pytest.raises(ConnectionFailed, match=says):
        Client(URL).recommend(SHEET)
    assert waits == []


def test_a_wrong_question_is_not_asked_again(service: responses.RequestsMock, waits: list[float]) -> None:
    service.post(RECOMMENDATIONS, status=422, json=PROBLEM)
    with pytest.raises(InvalidJob):
        Client(URL).recommend(SHEET)
    assert waits == []


def test_a_redirect_is_not_followed(service: responses.RequestsMock) -> None:
    """A redirected POST would arrive as a GET, and the token at a stranger's."""
    service.post(RECOMMENDATIONS, status=301, headers={"Location": "https://elsewhere.example/"})
    with pytest.raises(UnexpectedAnswer, match=r"points to https://elsewhere\.example/"):
        Client(URL, "token").recommend(SHEET)


@pytest.mark.parametrize(
    ("body", "content_type"),
    [("<html>a hotel's sign-in page</html>", "text/html"), ("{", "application/json"), ("[]", "application/json")],
)
def test_a_success_that_is_no_answer(service: responses.RequestsMock, body: str, content_type: str) -> None:
    service.post(RECOMMENDATIONS, body=body, content_type=content_type)
    with pytest.raises(UnexpectedAnswer):
        Client(URL).recommend(SHEET)


def test_real_refused_connection(waits: list[float]) -> None:
    # Port 9 (discard) of the loopback address: nothing listens there.
    with pytest.raises(ConnectionFailed, match="cannot be reached"):
        Client("http://127.0.0.1:9", retries=2).recommend(SHEET)
    assert len(waits) == 2
