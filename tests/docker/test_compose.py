"""The compose file: valid by its specification, confined, and its parts find each other."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import redis
import yaml
from flask import Flask
from redis.backoff import ConstantBackoff
from redis.retry import Retry
from sheetmargin_service.app import create_app
from sheetmargin_service.config import settings_from
from support.servers import free_port

DOCKER = Path(__file__).parents[2] / "docker"
COMPOSE: dict[str, Any] = yaml.safe_load((DOCKER / "compose.yaml").read_text(encoding="utf-8"))
SERVICES: dict[str, Any] = COMPOSE["services"]
PROMETHEUS: dict[str, Any] = yaml.safe_load((DOCKER / "prometheus.yml").read_text(encoding="utf-8"))


def text(name: str) -> str:
    return (DOCKER / name).read_text(encoding="utf-8")


def port_of_the_image() -> int:
    (port,) = re.findall(r"^EXPOSE (\d+)$", text("Dockerfile"), re.M)
    return int(port)


def test_the_file_is_compose() -> None:
    command = [sys.executable, "-m", "check_jsonschema", "--builtin-schema", "vendor.compose-spec"]
    done = subprocess.run([*command, DOCKER / "compose.yaml"], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout


@pytest.mark.parametrize("name", SERVICES)
def test_every_container_is_confined(name: str) -> None:
    service = SERVICES[name]
    assert service["read_only"] is True
    assert service["cap_drop"] == ["ALL"]
    assert "cap_add" not in service
    assert "privileged" not in service
    assert "no-new-privileges:true" in service["security_opt"]
    assert set(service["deploy"]["resources"]["limits"]) == {"cpus", "memory", "pids"}
    # A tag with a version, and a variable for a digest.
    image = re.fullmatch(r"\$\{([A-Z]+_IMAGE):-([\w./-]+)(?::([\w.-]+))?\}", service["image"])
    assert image is not None
    assert name == "sheetmargin" or re.search(r"\d", image[3])


def test_images_are_fixed_by_their_digests(tmp_path: Path) -> None:
    """With a stand-in for docker, which alone can ask a registry."""
    folder = tmp_path / "docker"
    folder.mkdir()
    for name in ("compose.yaml", "digests"):
        shutil.copy(DOCKER / name, folder)
    docker = tmp_path / "bin" / "docker"
    docker.parent.mkdir()
    docker.write_text('#!/bin/sh\n[ "$1 $2 $3" = "buildx imagetools inspect" ] && echo "sha256:of-$4"\n')
    docker.chmod(0o755)
    environment = os.environ | {"PATH": f"{docker.parent}{os.pathsep}{os.environ['PATH']}"}
    subprocess.run([folder / "digests"], env=environment, check=True)
    written = dict(line.split("=", 1) for line in (folder / ".env").read_text().splitlines())
    wanted = dict(re.findall(r"\$\{([A-Z]+_IMAGE):-([\w./-]+:[\w.-]+)\}", text("compose.yaml")))
    assert set(wanted) == {"NGINX_IMAGE", "REDIS_IMAGE", "PROMETHEUS_IMAGE", "GRAFANA_IMAGE", "PYTHON_IMAGE"}
    assert written == {name: f"{image}@sha256:of-{image}" for name, image in wanted.items()}
    docker.write_text("#!/bin/sh\nexit 1\n")
    assert subprocess.run([folder / "digests"], env=environment, check=False).returncode != 0
    assert dict(line.split("=", 1) for line in (folder / ".env").read_text().splitlines()) == written


@pytest.mark.parametrize("name", SERVICES)
def test_what_is_mounted_is_there_and_read_only_or_a_volume(name: str) -> None:
    for mount in SERVICES[name].get("volumes", []):
        source, _, rest = mount.partition(":")
        assert source in COMPOSE["volumes"] or ((DOCKER / source).exists() and rest.endswith(":ro"))


def test_only_this_machine_reaches_it() -> None:
    published = {name: service["ports"] for name, service in SERVICES.items() if "ports" in service}
    assert set(published) == {"nginx", "grafana"}
    assert all(port.startswith("127.0.0.1:") for ports in published.values() for port in ports)
    assert COMPOSE["networks"]["inside"] == {"internal": True}
    assert all("outside" not in service["networks"] or name in published for name, service in SERVICES.items())


def test_the_service_takes_its_settings() -> None:
    service = SERVICES["sheetmargin"]
    environment = service["environment"]
    assert "SHEETMARGIN_ACCESS" in environment
    settings = settings_from(environment)
    assert settings.proxies == 1
    assert settings.redis_url is not None
    assert settings.redis_url.startswith("redis://redis:6379/")
    assert settings.at_once is not None
    assert settings.seconds_per_address is not None
    # Replicas of one service have one name, under which Docker gives the addresses of all.
    assert service["deploy"]["replicas"] == 2
    assert int(environment["WEB_CONCURRENCY"]) == float(service["deploy"]["resources"]["limits"]["cpus"])
    assert int(service["stop_grace_period"].removesuffix("s")) > 30


def test_redis_keeps_nothing_and_has_room(require_part: Callable[[str], str]) -> None:
    """As it is started, in a folder that it cannot write to."""
    program, *options = SERVICES["redis"]["command"]
    assert program == "redis-server"
    port = free_port()
    command = [require_part("redis"), *options, "--bind", "127.0.0.1", "--port", str(port), "--dir", "/proc"]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL) as server:
        try:
            retry = Retry(ConstantBackoff(0.1), 100)
            with redis.Redis(port=port, retry=retry, retry_on_error=[redis.ConnectionError]) as client:
                set_to = client.config_get("*")
                client.set("rate", 1, ex=60)
        finally:
            server.terminate()
    assert server.returncode == 0
    assert (set_to["save"], set_to["appendonly"], set_to["maxmemory-policy"]) == ("", "no", "volatile-ttl")
    limit = SERVICES["redis"]["deploy"]["resources"]["limits"]["memory"]
    assert 0 < int(set_to["maxmemory"]) < int(limit.removesuffix("m")) * 1024**2


def test_nginx_asks_the_replicas() -> None:
    upstreams = re.findall(r"^\s*server (\S+?):(\d+)\b", text("nginx.conf"), re.M)
    assert upstreams
    assert {name for name, _ in upstreams} == {"sheetmargin"}
    assert {int(port) for _, port in upstreams} == {port_of_the_image()}
    (listened,) = re.findall(r"^\s*listen (\d+)", text("nginx.conf"), re.M)
    assert [port.rpartition(":")[2] for port in SERVICES["nginx"]["ports"]] == [listened]


@pytest.fixture(scope="module")
def app() -> Flask:
    return create_app()


def test_prometheus_asks_every_replica(app: Flask) -> None:
    (job,) = PROMETHEUS["scrape_configs"]
    (found,) = job["dns_sd_configs"]
    assert found["names"] == ["sheetmargin"]
    assert (found["type"], found["port"]) == ("A", port_of_the_image())
    assert job.get("metrics_path", "/metrics") in {rule.rule for rule in app.url_map.iter_rules()}


def test_grafana_shows_the_dashboard() -> None:
    provisioning = DOCKER / "grafana" / "provisioning"
    (source,) = yaml.safe_load((provisioning / "datasources" / "prometheus.yaml").read_text())["datasources"]
    assert source["url"] == "http://prometheus:9090"
    (provider,) = yaml.safe_load((provisioning / "dashboards" / "sheetmargin.yaml").read_text())["providers"]
    mounts = [mount.split(":")[1] for mount in SERVICES["grafana"]["volumes"]]
    assert "/etc/grafana/provisioning" in mounts
    assert any(Path(mount).parent == Path(provider["options"]["path"]) for mount in mounts)
