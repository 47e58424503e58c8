"""Under which names the service is asked, and whose links are made of it."""

from __future__ import annotations

import pytest
from support.apps import app_of

QUERY = "/v1/recommendations?material=copy-paper&grammage_gsm=80"
SITE = ("sheets.example", "[2001:db8::1]")


@pytest.mark.parametrize("host", ["sheets.example", "sheets.example:8443", "SHEETS.example", "[2001:db8::1]:80"])
def test_a_listed_host_is_answered(host: str) -> None:
    assert app_of(hosts=SITE).test_client().get("/v1/version", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "host",
    ["evil.example", "sheets.example.evil.example", "evil.example:80", "", "x/../../y@z:99999", "sheets.example/evil",
     "sheets.example:0", "sheets.example:99999", "a b", "[::1", "user@sheets.example", "sheets.example, evil.example"],
)  # fmt: skip
def test_another_or_malformed_host_is_refused(host: str) -> None:
    client = app_of(hosts=SITE).test_client()
    for path in ("/v1/version", QUERY, "/nowhere"):
        response = client.get(path, headers={"Host": host})
        assert response.status_code == 400
        assert response.get_json()["errors"][0]["header"] == "Host"
        assert host not in response.text or not host


@pytest.mark.parametrize("host", ["localhost", "127.0.0.1:8080", "[::1]:8080"])
def test_without_a_word_this_machine_s_names(host: str) -> None:
    client = app_of().test_client()
    assert client.get("/v1/version", headers={"Host": host}).status_code == 200
    assert client.get("/v1/version", headers={"Host": "sheets.example"}).status_code == 400


@pytest.mark.parametrize("path", ["/livez", "/readyz", "/metrics"])
def test_probes_come_by_address(path: str) -> None:
    assert app_of(hosts=SITE).test_client().get(path, headers={"Host": "10.1.2.3:8080"}).status_code == 200


def test_what_a_proxy_says_counts_and_what_a_caller_says_does_not() -> None:
    evil = {"Host": "sheets.example", "X-Forwarded-Host": "evil.example"}
    assert app_of(hosts=SITE).test_client().get("/v1/version", headers=evil).status_code == 200
    assert app_of(hosts=SITE, proxies=1).test_client().get("/v1/version", headers=evil).status_code == 400
