"""Clients that generators make of the published description: each asks a running service, rightly and wrongly.

Long: they install generators, and some make a thousand files.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from support.description import COMMITTED
from support.servers import Server, gunicorn

pytestmark = pytest.mark.long

HERE = Path(__file__).parent
CLIENTS = HERE / "clients"
ANSWERED = "suitable sound unknown-material"


def run(*command: str | Path, folder: Path) -> str:
    done = subprocess.run(list(map(str, command)), cwd=folder, capture_output=True, text=True, timeout=900)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout.strip()


@pytest.fixture(scope="session")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    with gunicorn(tmp_path_factory.mktemp("server"), environment={"SHEETMARGIN_TIME_LIMIT_S": "60"}) as running:
        running.wait("/readyz")
        yield running


@pytest.fixture(scope="session")
def programs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The Python generators, in an environment of their own."""
    folder = tmp_path_factory.mktemp("python")
    run(sys.executable, "-m", "venv", folder, folder=HERE)
    run(folder / "bin" / "pip", "install", "-q", "-r", HERE / "requirements.txt", folder=HERE)
    return folder / "bin"


@pytest.fixture(scope="session")
def node(tmp_path_factory: pytest.TempPathFactory, require_part: Callable[[str], str]) -> Path:
    """A folder in which `npx` finds the generators and linters."""
    require_part("node")
    folder = tmp_path_factory.mktemp("node")
    for name in ("package.json", "tsconfig.json"):
        shutil.copy(HERE / name, folder)
    run("npm", "install", "--silent", "--ignore-scripts", "--no-audit", "--no-fund", folder=folder)
    return folder


def test_spectral_has_nothing_to_say(node: Path) -> None:
    told = run("npx", "spectral", "lint", "-F", "hint", "-r", HERE / "spectral.yaml", COMMITTED, folder=node)
    assert told.startswith("No results")


def test_redocly_has_nothing_to_say(node: Path) -> None:
    told = run("npx", "redocly", "lint", "--format", "summary", COMMITTED, folder=node)
    assert "warning" not in told.lower()


def typescript(node: Path, program: str, server: Server) -> str:
    shutil.copy(CLIENTS / program, node)
    run("npx", "tsc", folder=node)
    return run("node", Path(program).with_suffix(".js"), f"http://127.0.0.1:{server.port}", folder=node)


def test_openapi_typescript_with_openapi_fetch(node: Path, server: Server) -> None:
    run("npx", "openapi-typescript", COMMITTED, "--default-non-nullable", "false", "-o", "description.ts", folder=node)
    assert typescript(node, "openapi_fetch.ts", server) == ANSWERED


def test_hey_api(node: Path, server: Server) -> None:
    run("npx", "openapi-ts", "-i", COMMITTED, "-o", "hey", folder=node)
    assert typescript(node, "hey_api.ts", server) == ANSWERED


def python(programs: Path, program: str, folder: Path, server: Server) -> str:
    shutil.copy(CLIENTS / program, folder)
    return run(programs / "python", program, f"http://127.0.0.1:{server.port}", folder=folder)


def test_openapi_python_client(programs: Path, server: Server, tmp_path: Path) -> None:
    made = tmp_path / "made"
    run(programs / "openapi-python-client", "generate", "--path", COMMITTED, "--output-path", made, folder=tmp_path)
    assert python(programs, "python_client.py", made, server) == ANSWERED


def test_datamodel_code_generator(programs: Path, server: Server, tmp_path: Path) -> None:
    """With null for all that is not given."""
    options = ["--input-file-type", "openapi", "--output-model-type", "pydantic_v2.BaseModel"]
    command = (programs / "datamodel-codegen", "--input", COMMITTED, "--output", tmp_path / "description.py", *options)
    run(*command, folder=tmp_path)
    assert python(programs, "models.py", tmp_path, server) == ANSWERED


def openapi_generator(programs: Path, language: str, folder: Path, *options: str) -> Path:
    made = folder / language
    command = (programs / "openapi-generator-cli", "generate", "-i", COMMITTED, "-g", language, "-o", made, *options)
    run(*command, folder=folder)
    return made


def test_openapi_generator_for_python(programs: Path, server: Server, tmp_path: Path) -> None:
    made = openapi_generator(programs, "python", tmp_path)
    assert python(programs, "openapi_generator.py", made, server) == ANSWERED


def test_openapi_generator_for_java(programs: Path, server: Server, tmp_path: Path) -> None:
    """Compiled where there is a compiler, with the libraries that the generator itself brings."""
    made = openapi_generator(programs, "java", tmp_path, "--library", "native", "-p", "openApiNullable=false")
    calls = made / "src" / "main" / "java" / "org" / "openapitools" / "client" / "api" / "RecommendationsApi.java"
    assert "recommendForSheet(APIRecommendForSheetRequest" in calls.read_text(encoding="utf-8")
    if shutil.which("javac") is None:
        pytest.skip("needs a Java compiler")
    (libraries,) = programs.parent.rglob("openapi-generator*.jar")
    sources = [*(made / "src" / "main").rglob("*.java"), CLIENTS / "Ask.java", CLIENTS / "Generated.java"]
    run("javac", "-nowarn", "-cp", libraries, "-d", tmp_path / "classes", *sources, folder=tmp_path)
    printed = run("java", "-cp", f"{libraries}:{tmp_path / 'classes'}", "Ask", str(server.port), folder=tmp_path)
    assert printed.splitlines()[-1] == "suitable ultrasonic unknown-material"


def test_openapi_generator_for_csharp(programs: Path, tmp_path: Path) -> None:
    """Compiled where there is a compiler."""
    made = openapi_generator(programs, "csharp", tmp_path)
    assert (made / "src" / "Org.OpenAPITools" / "Model" / "Recommendation.cs").is_file()
    if shutil.which("dotnet") is None:
        pytest.skip("generated; compiling it needs dotnet")
    run("dotnet", "build", "-v", "quiet", made / "src" / "Org.OpenAPITools", folder=tmp_path)
