"""`sheetmargin keys`: the token is told once and stands nowhere; the file is its owner's alone."""

from __future__ import annotations

import stat
from pathlib import Path

import pytest
from sheetmargin.cli import main
from sheetmargin_service.api.access import gate_from
from sheetmargin_service.api.problems import Problem
from sheetmargin_service.config import Settings

SHOP = "https://shop.example"


def mode_of(file: Path) -> int:
    return stat.S_IMODE(file.stat().st_mode)


def test_a_key_is_made_listed_and_revoked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "keys.toml"
    file.write_text("# of the shop")
    file.chmod(0o644)
    assert main(["keys", "add", str(file), "quoting", "recommend", "batch"]) == 0
    told = capsys.readouterr()
    token = told.err.strip()
    assert told.out == ""
    assert token.startswith("quoting.")
    assert token.partition(".")[2] not in file.read_text()
    assert mode_of(file) == 0o600
    assert main(["keys", "add", str(file), "shop", "recommend", "--origin", SHOP]) == 0
    assert main(["keys", "list", str(file)]) == 0
    assert capsys.readouterr().out.splitlines() == ["quoting batch recommend", f"shop recommend {SHOP}"]

    def passes() -> bool:
        try:
            gate_from(Settings(access="keys", keys_file=file)).check(f"Bearer {token}", "batch")
        except Problem:
            return False
        return True

    assert passes()
    assert main(["keys", "revoke", str(file), "quoting"]) == 0
    assert not passes()
    assert main(["keys", "list", str(file)]) == 0
    assert capsys.readouterr().out.splitlines() == [f"shop recommend {SHOP}"]
    assert file.read_text().startswith("# of the shop\n[[key]]")
    assert (mode_of(file), list(tmp_path.iterdir())) == (0o600, [file])


@pytest.mark.parametrize(
    "arguments",
    [
        ["add", "FILE", "old", "recommend"],
        ["add", "FILE", "new", "everything"],
        ["add", "FILE", "a.b", "recommend"],
        ["add", "FILE", "new", "batch", "--origin", SHOP],
        ["add", "FILE", "new", "recommend", "--origin", "shop.example"],
        ["add", "FOLDER/none/keys.toml", "new", "recommend"],
        ["revoke", "FILE", "new"],
        ["list", "FOLDER/none.toml"],
    ],
)
def test_what_cannot_be_changes_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], arguments: list[str]
) -> None:
    file = tmp_path / "keys.toml"
    assert main(["keys", "add", str(file), "old", "recommend"]) == 0
    before = file.read_bytes()
    capsys.readouterr()
    replaced = [text.replace("FILE", str(file)).replace("FOLDER", str(tmp_path)) for text in arguments]
    assert main(["keys", *replaced]) == 2
    assert "new." not in capsys.readouterr().err
    assert file.read_bytes() == before
    assert list(tmp_path.iterdir()) == [file]
