"""The image, built and run as the compose file says, by tools that need no engine running (buildah, podman).

No registry of images is asked: Debian's own Python 3.11, from its packages, stands in for the base.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import urllib.request
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import yaml
from support.servers import Server, free_port

pytestmark = pytest.mark.long

ROOT = Path(__file__).parents[2]
COMPOSE = yaml.safe_load((ROOT / "docker" / "compose.yaml").read_text(encoding="utf-8"))
PACKAGES = "python3,python3-venv,python3-pip,ca-certificates"
# Of this machine, where there: which packages may be had, and who vouches for them.
FROM_HERE = ("/etc/ssl/certs/ca-certificates.crt", "/etc/pip.conf")
LOOK = """\
import json, os
folders = "/", "/tmp", "/var/tmp", "/run", "/venv", "/dev/shm"
status = dict(line.split(":", 1) for line in open("/proc/1/status"))
names = [name for name in status if name in ("Uid", "NoNewPrivs", "Threads") or name.startswith("Cap")]
told = {name: status[name].strip() for name in names}
print(json.dumps({"writable": [one for one in folders if os.access(one, os.W_OK)], "status": told}))
"""


@pytest.fixture(scope="module")
def folder(require_part: Callable[[str], str], tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    require_part("containers")
    made = tmp_path_factory.mktemp("images")
    yield made
    shutil.rmtree(made)


@pytest.fixture(scope="module")
def store(folder: Path) -> list[str]:
    return ["--root", f"{folder}/root", "--runroot", f"{folder}/run", "--storage-driver", "vfs"]


@pytest.fixture(scope="module")
def image(folder: Path, store: list[str]) -> str:
    def buildah(*words: str) -> str:
        return subprocess.run(["buildah", *store, *words], check=True, stdout=subprocess.PIPE, text=True).stdout.strip()

    system = folder / "system"
    subprocess.run(["debootstrap", "--variant=minbase", f"--include={PACKAGES}", "bookworm", system], check=True)
    # As in the base image: the command is called python, and pip may install beside the system's packages.
    (system / "usr/bin/python").symlink_to("python3")
    (system / "usr/lib/python3.11/EXTERNALLY-MANAGED").unlink()
    for path in filter(Path.exists, map(Path, FROM_HERE)):
        shutil.copy(path, system / path.relative_to("/"))
    base = buildah("from", "scratch")
    buildah("add", "--quiet", base, str(system), "/")
    buildah("config", "--env", "PATH=/usr/local/bin:/usr/bin:/bin", base)
    buildah("commit", "--quiet", base, "localhost/python")
    options = ["--isolation", "chroot", "--network", "host", "--pull-never", "--format", "docker"]
    options += ["--build-arg", "PYTHON=localhost/python", "--file", str(ROOT / "docker" / "Dockerfile")]
    buildah("build", *options, "--tag", "sheetmargin", str(ROOT))
    return "localhost/sheetmargin"


def confinement() -> list[str]:
    """The compose file's service as options of `podman run`."""
    service: dict[str, Any] = COMPOSE["services"]["sheetmargin"]
    limits = service["deploy"]["resources"]["limits"]
    assert service["read_only"] is True
    options = ["--read-only", "--read-only-tmpfs=false", "--shm-size", service["shm_size"]]
    options += [word for name in service["cap_drop"] for word in ("--cap-drop", name)]
    options += [word for name in service["security_opt"] for word in ("--security-opt", name)]
    options += ["--memory", limits["memory"], "--cpus", limits["cpus"], "--pids-limit", str(limits["pids"])]
    return options


@dataclass(frozen=True, kw_only=True)
class Container:
    """The image, running; `health` is its own command that asks how it is."""

    server: Server
    podman: list[str]
    health: list[str]

    def run(self, *command: str) -> str:
        """Run a command in it, which must succeed; what it prints."""
        words = [*self.podman, "exec", "sheetmargin", *command]
        return subprocess.run(words, check=True, stdout=subprocess.PIPE, text=True).stdout


@pytest.fixture(scope="module")
def container(folder: Path, store: list[str], image: str) -> Iterator[Container]:
    podman = ["podman", *store, "--runtime", "runc", "--cgroup-manager", "cgroupfs"]
    inspected = subprocess.run([*podman, "image", "inspect", image], check=True, stdout=subprocess.PIPE).stdout
    (told,) = json.loads(inspected)
    port = free_port()
    command = [word.replace("0.0.0.0:8080", f"127.0.0.1:{port}") for word in told["Config"]["Cmd"]]
    kind, *health = [word.replace(":8080", f":{port}") for word in told["Healthcheck"]["Test"]]
    assert kind == "CMD"
    options = ["--rm", "--name", "sheetmargin", "--network", "host", *confinement()]
    # Below what this machine allows: one container inside another may not ask for more.
    options += ["--ulimit", "nofile=1024:1024", "--ulimit", "nproc=1024:1024"]
    options += ["--env", "SHEETMARGIN_ACCESS=open", "--env", "WEB_CONCURRENCY=2"]
    server = Server([*podman, "run", *options, image, *command], port=port, log=folder / "log", environment={})
    try:
        server.wait("/readyz")
        yield Container(server=server, podman=podman, health=health)
    finally:
        code = server.stop()
    assert code == 0, server.log.read_text()


def test_it_answers(container: Container) -> None:
    container.run(*container.health)
    question = "/v1/recommendations?material=copy-paper&grammage_gsm=80&limit=1"
    with urllib.request.urlopen(container.server.url + question) as answer:
        assert json.load(answer)["verdict"] == "suitable"
    jobs = json.dumps([{"sheets": [{"material": "pet", "thickness_um": 50}], "limit": 1}] * 2).encode()
    batch = urllib.request.Request(f"{container.server.url}/v1/recommendations/batch", jobs)
    batch.add_header("Content-Type", "application/json")
    with urllib.request.urlopen(batch) as answer:
        assert len(json.load(answer)) == 2


def test_it_is_confined(container: Container) -> None:
    inside = json.loads(container.run("python", "-c", LOOK))
    assert inside["writable"] == ["/dev/shm"]
    status = inside["status"]
    assert status.pop("Uid").split() == ["10001"] * 4
    assert status.pop("NoNewPrivs") == "1"
    assert status.pop("Threads") == "1"
    assert {int(mask, 16) for mask in status.values()} == {0}


def test_it_has_what_settings_may_ask_for_and_no_installer(container: Container) -> None:
    asks = "{'SHEETMARGIN_REDIS_URL': 'redis://redis', 'SHEETMARGIN_TELEMETRY': 'on'}"
    container.run("python", "-c", f"from sheetmargin_service.config import settings_from; settings_from({asks})")
    container.run("pip", "--python", "/venv/bin/python", "check")
    assert container.run("python", "-c", "import importlib.util as u; print(u.find_spec('pip'))").strip() == "None"
