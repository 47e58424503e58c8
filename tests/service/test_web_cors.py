"""Pages of listed origins may read answers; all others get none of the headers that would let them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from sheetmargin.cli import main
from sheetmargin_service.api import access, keys
from sheetmargin_service.api.problems import Problem
from sheetmargin_service.api.routes import calls_of
from sheetmargin_service.app import create_app, load_service
from sheetmargin_service.config import Settings, settings_from
from sheetmargin_service.errors import FieldError
from sheetmargin_service.web.cors import SCOPES
from support.answers import CountingRecommend

SHOP, STRANGER = "https://shop.example", "https://elsewhere.example"
QUERY = "/v1/recommendations?material=copy-paper&grammage_gsm=80"
ALLOW = "Access-Control-Allow-Origin"


@pytest.fixture(scope="module")
def shared() -> FlaskClient:
    settings = Settings(origins=(SHOP, "http://localhost:8000"))
    service = replace(load_service(settings), recommend=CountingRecommend())
    return create_app(settings, service=service).test_client()


def preflight(client: FlaskClient, path: str, origin: str) -> dict[str, str]:
    asked = {"Access-Control-Request-Method": "POST", "Access-Control-Request-Headers": "content-type"}
    response = client.options(path, headers={"Origin": origin, **asked})
    assert response.status_code == 200
    return dict(response.headers)


def test_a_listed_origin_reads_the_answer(shared: FlaskClient) -> None:
    response = shared.get(QUERY, headers={"Origin": SHOP})
    assert response.headers[ALLOW] == SHOP
    assert {"ETag", "Retry-After"} <= set(response.headers["Access-Control-Expose-Headers"].split(", "))
    assert response.vary.as_set() >= {"origin", "accept-language"}


@pytest.mark.parametrize(
    "origin",
    [STRANGER, "null", SHOP.upper(), f"{SHOP}/", "http://shop.example", f"{SHOP}:8443", "https://shop.example.evil"],
)
def test_no_other_origin_does(shared: FlaskClient, origin: str) -> None:
    response = shared.get(QUERY, headers={"Origin": origin})
    assert response.status_code == 200
    assert ALLOW not in response.headers
    assert "origin" in response.vary.as_set()
    assert ALLOW not in preflight(shared, "/v1/recommendations", origin)


def test_a_problem_can_be_read_too(shared: FlaskClient) -> None:
    response = shared.get("/v1/recommendations?material=copy-papr&grammage_gsm=80", headers={"Origin": SHOP})
    assert response.status_code == 422
    assert response.headers[ALLOW] == SHOP
    assert "origin" in response.vary.as_set()


def test_a_held_answer_can_be_used(shared: FlaskClient) -> None:
    tag = shared.get(QUERY, headers={"Origin": SHOP}).headers["ETag"]
    response = shared.get(QUERY, headers={"Origin": SHOP, "If-None-Match": tag})
    assert (response.status_code, response.headers[ALLOW]) == (304, SHOP)


def test_a_preflight_is_answered_and_kept(shared: FlaskClient) -> None:
    headers = preflight(shared, "/v1/recommendations", SHOP)
    assert headers[ALLOW] == SHOP
    assert "POST" in headers["Access-Control-Allow-Methods"]
    assert {"Content-Type", "Authorization"} <= set(headers["Access-Control-Allow-Headers"].split(", "))
    assert int(headers["Access-Control-Max-Age"]) > 600


def test_credentials_are_never_allowed(shared: FlaskClient) -> None:
    for headers in (
        preflight(shared, "/v1/recommendations", SHOP),
        shared.get(QUERY, headers={"Origin": SHOP}).headers,
    ):
        assert "Access-Control-Allow-Credentials" not in headers


def test_only_calls_for_visitors_are_shared(shared: FlaskClient) -> None:
    app = shared.application
    calls = calls_of(app)
    for rule in app.url_map.iter_rules():
        headers = preflight(shared, str(rule), SHOP)
        assert (ALLOW in headers) == (calls[rule.endpoint].scope in SCOPES), rule


def test_nothing_is_shared_unless_set(api: FlaskClient) -> None:
    assert ALLOW not in api.get(QUERY, headers={"Origin": SHOP}).headers


def test_the_setting() -> None:
    settings = settings_from({"SHEETMARGIN_ORIGINS": f" {SHOP}  http://localhost:8000 ", "SHEETMARGIN_DEMO": "on"})
    assert settings.origins == (SHOP, "http://localhost:8000")
    assert settings.demo


@pytest.mark.parametrize(
    "text", ["*", "shop.example", "https://shop.example/", "https://Shop.example", "null", "ftp://a"]
)
def test_what_is_no_origin(text: str) -> None:
    with pytest.raises(FieldError, match="SHEETMARGIN_ORIGINS"):
        settings_from({"SHEETMARGIN_ORIGINS": f"{SHOP} {text}"})


def test_the_demo_is_on_or_off() -> None:
    with pytest.raises(FieldError, match="SHEETMARGIN_DEMO"):
        settings_from({"SHEETMARGIN_DEMO": "yes"})


@pytest.fixture
def keyed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[FlaskClient, str, str]:
    """A client of a service with keys, a publishable key of the shop and a secret one."""
    monkeypatch.setattr(keys, "SCRYPT_N", 2**4)
    shop, entry = keys.new_key("shop", ("recommend",), (SHOP,))
    secret, other = keys.new_key("quoting", ("recommend",))
    (tmp_path / "keys.toml").write_text(entry + other)
    settings = Settings(access="keys", keys_file=tmp_path / "keys.toml", origins=(SHOP, STRANGER))
    service = replace(load_service(settings), recommend=CountingRecommend())
    return create_app(settings, service=service).test_client(), shop, secret


def test_a_publishable_key_opens_for_its_own_origin(keyed: tuple[FlaskClient, str, str]) -> None:
    client, shop, _ = keyed
    for headers, query in (({}, f"&key={shop}"), ({"Authorization": f"Bearer {shop}"}, "")):
        response = client.get(QUERY + query, headers={"Origin": SHOP, **headers})
        assert response.status_code == 200
        assert response.headers["Cache-Control"] == "private, max-age=300"


def test_a_publishable_key_is_refused_to_other_pages(keyed: tuple[FlaskClient, str, str]) -> None:
    client, shop, _ = keyed
    for headers in ({"Origin": STRANGER}, {}, {"Origin": "null"}, {"Origin": STRANGER, "Sec-Fetch-Mode": "cors"}):
        response = client.get(f"{QUERY}&key={shop}", headers=headers)
        assert response.status_code == 403
        assert response.get_json()["errors"][0]["code"] == "origin"
    refused = client.get(f"{QUERY}&key={shop}", headers={"Origin": STRANGER})
    assert refused.headers[ALLOW] == STRANGER  # the page may read why


def test_a_publishable_key_follows_a_link(keyed: tuple[FlaskClient, str, str]) -> None:
    client, shop, _ = keyed
    assert client.get(f"{QUERY}&key={shop}", headers={"Sec-Fetch-Mode": "navigate"}).status_code == 200
    assert client.get(f"{QUERY}&key={shop}", headers={"Sec-Fetch-Site": "same-origin"}).status_code == 200


def test_a_secret_key_does_not_come_in_an_address(keyed: tuple[FlaskClient, str, str]) -> None:
    client, _, secret = keyed
    assert client.get(f"{QUERY}&key={secret}", headers={"Origin": SHOP}).status_code == 401
    assert client.get(QUERY, headers={"Authorization": f"Bearer {secret}"}).status_code == 200


def test_the_key_is_no_part_of_the_resolved_job(keyed: tuple[FlaskClient, str, str], shared: FlaskClient) -> None:
    client, shop, _ = keyed
    headers = {"Origin": SHOP}
    with_key = client.get(f"/v1/materials?q=paper&limit=2&key={shop}", headers=headers)
    assert with_key.get_json() == client.get("/v1/materials?q=paper&limit=2").get_json()
    assert shared.get(f"{QUERY}&key=whatever", headers=headers).status_code == 200


@pytest.mark.parametrize("scopes", ["'recommend', 'batch'", "'metrics'"])
def test_a_publishable_key_reaches_recommendations_alone(tmp_path: Path, scopes: str) -> None:
    _, entry = keys.new_key("shop", ("recommend",), (SHOP,))
    (tmp_path / "keys.toml").write_text(entry.replace('"recommend"', scopes))
    with pytest.raises(FieldError, match="recommend alone"):
        access.gate_from(Settings(access="keys", keys_file=tmp_path / "keys.toml"))


def test_the_command_makes_a_publishable_key(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "keys.toml"
    assert main(["keys", "add", str(file), "shop", "recommend", "--origin", SHOP]) == 0
    token = capsys.readouterr().err.strip()
    gate = access.gate_from(Settings(access="keys", keys_file=file))
    gate.check(None, "recommend", access.Page(key=token, origin=SHOP))
    with pytest.raises(Problem):
        gate.check(None, "recommend", access.Page(key=token, origin=STRANGER))
