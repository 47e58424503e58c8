"""Who may ask: nobody without a key where keys are asked for, and no call is forgotten."""

from __future__ import annotations

import os
import re
from dataclasses import replace
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from sheetmargin_service.api import access, keys
from sheetmargin_service.api.routes import calls_of
from sheetmargin_service.app import create_app, load_service
from sheetmargin_service.config import Settings
from sheetmargin_service.errors import FieldError
from support.answers import CountingRecommend

QUERY = "/v1/recommendations?material=copy-paper&grammage_gsm=80"
CHEAP = 2**4
"""scrypt's cost in tests: what is tested is the check, not the cost."""


@pytest.fixture(autouse=True)
def cheap(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(keys, "SCRYPT_N", CHEAP)


@pytest.fixture
def tokens(tmp_path: Path) -> dict[str, str]:
    """Tokens by what they are for; the keys file is beside."""
    made = {"shop": keys.new_key("shop", ("recommend",)), "lab": keys.new_key("lab", ("measure", "metrics"))}
    (tmp_path / "keys.toml").write_text("".join(entry for _, entry in made.values()))
    return {name: token for name, (token, _) in made.items()}


@pytest.fixture
def keyed(tokens: dict[str, str], tmp_path: Path) -> FlaskClient:
    settings = Settings(access="keys", keys_file=tmp_path / "keys.toml")
    return create_app(service=replace(load_service(settings), recommend=CountingRecommend())).test_client()


def bearer(token: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {token}"}


def test_a_key_lets_in_and_makes_the_answer_private(keyed: FlaskClient, tokens: dict[str, str]) -> None:
    for _ in range(2):
        response = keyed.get(QUERY, headers=bearer(tokens["shop"]))
        assert response.status_code == 200
        assert response.headers["Cache-Control"] == "private, max-age=300"


def test_the_scheme_is_read_whatever_its_case(keyed: FlaskClient, tokens: dict[str, str]) -> None:
    assert keyed.get(QUERY, headers={"Authorization": f"bearer {tokens['shop']}"}).status_code == 200


@pytest.mark.parametrize(
    "authorization",
    [
        "",
        "Bearer",
        "Bearer ",
        "Bearer nonsense",
        "Bearer shop.",
        "Bearer shop.wrong",
        "Bearer .",
        "Basic c2hvcDp4",
        "x",
        "Bearer ä",
    ],
)
def test_without_a_key_nothing_is_told(keyed: FlaskClient, authorization: str) -> None:
    # A wrong question as well: it must not be looked at before the key.
    response = keyed.get(
        "/v1/recommendations?nonsense=1", headers={"Authorization": authorization} if authorization else {}
    )
    assert response.status_code == 401
    assert response.headers["WWW-Authenticate"].startswith("Bearer ")
    document = response.get_json()
    assert document["type"] == "/docs/problems/unauthorized"
    assert document["errors"][0]["header"] == "Authorization"


def test_a_key_of_another_secret_or_id(keyed: FlaskClient, tokens: dict[str, str]) -> None:
    shop, lab = tokens["shop"], tokens["lab"]
    swapped = f"lab.{shop.split('.')[1]}"
    for wrong in (swapped, shop[:-1], shop + "x", shop.replace("shop", "nobody"), lab.upper()):
        assert keyed.get(QUERY, headers=bearer(wrong)).status_code == 401


def test_a_key_for_other_calls(keyed: FlaskClient, tokens: dict[str, str]) -> None:
    response = keyed.get(QUERY, headers=bearer(tokens["lab"]))
    assert response.status_code == 403
    assert 'error="insufficient_scope"' in response.headers["WWW-Authenticate"]
    assert response.get_json()["errors"][0]["expected"] == "recommend"


def test_no_call_is_forgotten(keyed: FlaskClient, tokens: dict[str, str]) -> None:
    app = keyed.application
    declared = calls_of(app)
    for rule in app.url_map.iter_rules():
        assert rule.endpoint in declared, f"{rule} does not say who may ask"
        path = re.sub("<[^>]+>", "internal", str(rule))
        for method in (rule.methods or set()) - {"OPTIONS", "HEAD"}:
            status = keyed.open(path, method=method).status_code
            assert (status == 401) == (declared[rule.endpoint].scope != "open"), rule


def test_open_means_open(api: FlaskClient) -> None:
    assert api.get(QUERY, headers=bearer("whatever")).headers["Cache-Control"] == "public, max-age=300"


def test_a_token_is_hashed_once(keyed: FlaskClient, tokens: dict[str, str], monkeypatch: pytest.MonkeyPatch) -> None:
    assert keyed.get(QUERY, headers=bearer(tokens["shop"])).status_code == 200
    monkeypatch.setattr(keys, "_hash", lambda *_: pytest.fail("hashed again"))
    assert keyed.get(QUERY, headers=bearer(tokens["shop"])).status_code == 200


def test_an_unknown_id_costs_as_much(keyed: FlaskClient, monkeypatch: pytest.MonkeyPatch) -> None:
    hashed = []
    monkeypatch.setattr(keys, "_hash", lambda secret, salt: hashed.append(secret) or b"")
    assert keyed.get(QUERY, headers=bearer("nobody.secret")).status_code == 401
    assert hashed == ["secret"]


@pytest.mark.parametrize(
    "text",
    [
        "nonsense",
        "keys = []",
        "key = 5",
        "[[key]]\nid = 'a'",
        "[[key]]\nid = 'a'\nhash = 'md5$AA==$AA=='\nscopes = ['recommend']",
        "[[key]]\nid = 'a'\nhash = 'scrypt$*$AA=='\nscopes = ['recommend']",
        "[[key]]\nid = 'a'\nhash = 'scrypt$AA==$AA=='\nscopes = ['everything']",
        "[[key]]\nid = 'a'\nhash = 'scrypt$AA==$AA=='\nscopes = ['recommend']\nextra = 1",
        "[[key]]\nid = 'a'\nhash = 'scrypt$AA==$AA=='\nscopes = []\n" * 2,
    ],
)
def test_a_wrong_keys_file_stops_the_start(tmp_path: Path, text: str) -> None:
    (tmp_path / "keys.toml").write_text(text)
    with pytest.raises(FieldError, match="SHEETMARGIN_KEYS_FILE"):
        create_app(Settings(access="keys", keys_file=tmp_path / "keys.toml"))


def test_a_revoked_key_is_refused_without_a_restart(
    keyed: FlaskClient, tokens: dict[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "keys.toml"
    monkeypatch.setattr(keys, "LOOK_S", 0.0)
    assert keyed.get(QUERY, headers=bearer(tokens["shop"])).status_code == 200
    shop, lab = file.read_text().split("[[key]]")[1:]
    file.write_text(f"[[key]]{lab}")
    assert keyed.get(QUERY, headers=bearer(tokens["shop"])).status_code == 401
    file.write_text(f"[[key]]{lab}[[key]]{shop}")
    assert keyed.get(QUERY, headers=bearer(tokens["shop"])).status_code == 200


def test_a_key_with_a_new_secret_or_scope_has_to_pass_again(
    keyed: FlaskClient, tokens: dict[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "keys.toml"
    monkeypatch.setattr(keys, "LOOK_S", 0.0)
    assert keyed.get(QUERY, headers=bearer(tokens["shop"])).status_code == 200
    file.write_text(file.read_text().replace('["recommend"]', '["batch"]'))
    assert keyed.get(QUERY, headers=bearer(tokens["shop"])).status_code == 403
    token, entry = keys.new_key("shop", ("recommend",))
    file.write_text(entry)
    assert keyed.get(QUERY, headers=bearer(tokens["shop"])).status_code == 401
    assert keyed.get(QUERY, headers=bearer(token)).status_code == 200


@pytest.mark.parametrize("broken", ["nonsense", None])
def test_a_broken_keys_file_keeps_the_keys_until_it_can_be_read(
    keyed: FlaskClient,
    tokens: dict[str, str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
    broken: str | None,
) -> None:
    file = tmp_path / "keys.toml"
    monkeypatch.setattr(keys, "LOOK_S", 0.0)
    before = file.read_text()
    if broken is None:
        file.unlink()
    else:
        file.write_text(broken)
    for _ in range(3):
        assert keyed.get(QUERY, headers=bearer(tokens["shop"])).status_code == 200
    assert {record.levelname for record in caplog.records if "SHEETMARGIN_KEYS_FILE" in record.message} == {"ERROR"}
    file.write_text(f"[[key]]{before.split('[[key]]')[2]}")
    assert keyed.get(QUERY, headers=bearer(tokens["shop"])).status_code == 401


def test_an_emptied_file_has_no_keys(
    keyed: FlaskClient, tokens: dict[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(keys, "LOOK_S", 0.0)
    assert keyed.get(QUERY, headers=bearer(tokens["shop"])).status_code == 200
    (tmp_path / "keys.toml").write_text("")
    assert keyed.get(QUERY, headers=bearer(tokens["shop"])).status_code == 401


def test_a_change_that_neither_time_nor_size_tells(
    keyed: FlaskClient, tokens: dict[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "keys.toml"
    monkeypatch.setattr(keys, "LOOK_S", 0.0)
    assert keyed.get(QUERY, headers=bearer(tokens["shop"])).status_code == 200
    before = file.stat()
    file.write_text(file.read_text().replace('id = "shop"', 'id = "sold"'))
    os.utime(file, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert keyed.get(QUERY, headers=bearer(tokens["shop"])).status_code == 401


def test_a_removed_key_is_refused_within_five_seconds() -> None:
    # It is looked at with the first request after so long.
    assert keys.LOOK_S <= 5.0


def test_the_file_is_not_looked_at_for_every_request(
    keyed: FlaskClient, tokens: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert keyed.get(QUERY, headers=bearer(tokens["shop"])).status_code == 200
    monkeypatch.setattr(keys, "_content", lambda _: pytest.fail("looked again"))
    assert keyed.get(QUERY, headers=bearer(tokens["shop"])).status_code == 200


@pytest.mark.parametrize(("mode", "warned"), [(0o600, False), (0o440, False), (0o644, True)])
def test_a_file_that_everybody_can_read_is_told_at_start(
    tokens: dict[str, str], tmp_path: Path, caplog: pytest.LogCaptureFixture, mode: int, warned: bool
) -> None:
    (tmp_path / "keys.toml").chmod(mode)
    access.gate_from(Settings(access="keys", keys_file=tmp_path / "keys.toml"))
    assert ("everybody" in caplog.text) is warned
