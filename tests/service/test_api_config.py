"""Settings: read from the environment, wrong ones named at start."""

from __future__ import annotations

from pathlib import Path

import pytest
from sheetmargin_service.app import create_app
from sheetmargin_service.config import Settings, settings_from
from sheetmargin_service.errors import FieldError


def test_nothing_set() -> None:
    assert settings_from({"PATH": "/bin", "SHEETMARGIN_URL": "x", "SHEETMARGIN_TOKEN": "y"}) == Settings(access="open")


def test_keys(tmp_path: Path) -> None:
    file = tmp_path / "keys.toml"
    file.touch()
    settings = settings_from({"SHEETMARGIN_ACCESS": "keys", "SHEETMARGIN_KEYS_FILE": str(file)})
    assert settings == Settings(access="keys", keys_file=file)


@pytest.mark.parametrize(
    ("environment", "name"),
    [
        ({"SHEETMARGIN_ACCESS": "key"}, "SHEETMARGIN_ACCESS"),
        ({"SHEETMARGIN_ACCESS": ""}, "SHEETMARGIN_ACCESS"),
        ({"SHEETMARGIN_ACCESS": "keys"}, "SHEETMARGIN_KEYS_FILE"),
        ({"SHEETMARGIN_ACCESS": "keys", "SHEETMARGIN_KEYS_FILE": ""}, "SHEETMARGIN_KEYS_FILE"),
        ({"SHEETMARGIN_KEYS_FILE": "/nowhere/keys.toml"}, "SHEETMARGIN_KEYS_FILE"),
        ({"SHEETMARGIN_ACESS": "keys"}, "SHEETMARGIN_ACESS"),
        ({"SHEETMARGIN_KEY_FILE": "x"}, "SHEETMARGIN_KEY_FILE"),
    ],
)
def test_wrong_settings(environment: dict[str, str], name: str) -> None:
    with pytest.raises(FieldError, match=f"^{name}: "):
        settings_from(environment)


def test_the_application_reads_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SHEETMARGIN_ACCESS", "nobody")
    with pytest.raises(FieldError, match="SHEETMARGIN_ACCESS"):
        create_app()
