"""The model's version changes when results can, and only then."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
import sheetmargin_service
from sheetmargin import contract
from sheetmargin_service.selection.version import PARTS, model_version, version_of

ROOT = Path(__file__).parents[2]
PACKAGE = Path(sheetmargin_service.__file__).parent
CONTRACT = Path(contract.__file__).parent
PROGRAM = "materials/stiffness.py"
TABLE = "materials/data/flutes.toml"
IGNORED = {"__pycache__", "api", "web", "serving"}


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """What computes, to be changed."""
    shutil.copytree(PACKAGE, tmp_path / "copy", ignore=lambda folder, names: IGNORED.intersection(names))
    return tmp_path / "copy"


def change(file: Path, pattern: str, new: str) -> None:
    text, count = re.subn(pattern, new, file.read_text(encoding="utf-8"), count=1, flags=re.M)
    assert count == 1
    file.write_text(text, encoding="utf-8")


def test_the_version_is_that_of_what_is_installed(copy: Path) -> None:
    assert re.fullmatch(r"[0-9a-f]{12}", model_version())
    assert version_of(copy, contract=CONTRACT) == model_version()


@pytest.mark.parametrize(
    ("file", "pattern", "new"),
    [
        (PROGRAM, r"\Z", "# A comment.\n"),
        (PROGRAM, r'^"""', '"""Other words. '),
        (PROGRAM, r'^    """', '    """Other words. '),
        ("measurement/estimate.py", r"^", "\n\n"),
        (TABLE, r"\A", "# A comment.\n"),
        ("principles/optical/texts.toml", r'^en = "', 'en = "Other words: '),
    ],
    ids=["comment", "docstring of a module", "docstring of a function", "lines", "comment in a table", "text"],
)
def test_words_do_not_change_it(copy: Path, file: str, pattern: str, new: str) -> None:
    change(copy / file, pattern, new)
    assert version_of(copy, contract=CONTRACT) == model_version()


def test_the_text_below_a_constant_does_not_change_it(copy: Path) -> None:
    change(copy / "selection/list_cover/options.py", r'^"""Upper edges tried', '"""Edges tried')
    assert version_of(copy, contract=CONTRACT) == model_version()


@pytest.mark.parametrize(
    ("file", "pattern", "new"),
    [
        ("selection/list_cover/options.py", r"^MOST_EDGES = 128", "MOST_EDGES = 127"),
        ("principles/noise.py", r"return ", "return -"),
        (TABLE, r"(\d)\.(\d)", r"\2.\1"),
        ("principles/ultrasonic/reference.toml", r"face_radius_mm = (\d)", r"face_radius_mm = 1\1"),
    ],
    ids=["constant", "operator", "number of a table", "number of a class"],
)
def test_what_can_change_a_result_changes_it(copy: Path, file: str, pattern: str, new: str) -> None:
    change(copy / file, pattern, new)
    assert version_of(copy, contract=CONTRACT) != model_version()


def test_it_is_the_same_in_every_process() -> None:
    """Sets of constants have another order in each."""
    program = "from sheetmargin_service.selection.version import model_version; print(model_version())"
    for seed in ("1", "2"):
        environment = os.environ | {"PYTHONHASHSEED": seed, "PYTHONOPTIMIZE": seed}
        done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, env=environment)
        assert done.stdout.strip() == model_version(), done.stderr


def test_a_file_more_changes_it(copy: Path) -> None:
    (copy / "acoustics" / "more.py").write_text("")
    assert version_of(copy, contract=CONTRACT) != model_version()


def test_it_covers_all_that_computing_loads() -> None:
    """What a process has loaded of this project to answer a job, a fit and a diagnosis."""
    program = (
        "import sys, sheetmargin_service.selection.recommend, sheetmargin_service.measurement.diagnose\n"
        "import sheetmargin_service.measurement.fit, sheetmargin_service.measurement.predict\n"
        "from sheetmargin_service.principles import principles; principles()\n"
        "print(*[name for name in sys.modules if name.split('.')[0] in ('sheetmargin', 'sheetmargin_service')])"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    loaded = [name for name in done.stdout.split() if name != "sheetmargin_service"]
    assert len(loaded) > 50
    parts = {
        ".".join(name.removeprefix("sheetmargin_service.").split(".")[: 2 if "contract" in name else 1])
        for name in loaded
    }
    assert parts - {"sheetmargin"} == {part.removesuffix(".py") for part in PARTS} | {"sheetmargin.contract"}


def test_a_default_of_the_contract_changes_it(tmp_path: Path) -> None:
    shutil.copytree(CONTRACT, tmp_path / "contract")
    change(tmp_path / "contract" / "job.py", r" = (\d+\.?\d*)$", r" = 1\1")
    assert version_of(PACKAGE, contract=tmp_path / "contract") != model_version()


def test_it_stands_in_no_file_of_the_repository() -> None:
    files = [
        *ROOT.glob("*.md"),
        *(ROOT / "docs").glob("**/*.*"),
        *(ROOT / "openapi").iterdir(),
        *(ROOT / "tests").glob("**/*.json"),
    ]
    assert len(files) > 10
    assert [file for file in files if model_version() in file.read_text(encoding="utf-8")] == []
