"""The Kubernetes manifests: valid by the published schemas, and their names and numbers are those of the service."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
import yaml
from flask import Flask
from sheetmargin_service.api.views.batch import MAX_BODY
from sheetmargin_service.app import create_app
from sheetmargin_service.config import SETTINGS, settings_from

DOCKER = Path(__file__).parents[2] / "docker"
GUNICORN = DOCKER.parent / "service" / "sheetmargin_service" / "gunicorn_conf.py"
FILES = sorted((DOCKER / "kubernetes").glob("*.yaml"))
OBJECTS: dict[str, Any] = {
    found["kind"]: found for file in FILES for found in yaml.safe_load_all(file.read_text(encoding="utf-8"))
}
OLDEST = "1.30"
"""The first version with `preStop.sleep` switched on (KEP-3960)."""


@pytest.fixture(scope="module")
def pod() -> dict[str, Any]:
    found: dict[str, Any] = OBJECTS["Deployment"]["spec"]["template"]
    return found


@pytest.fixture(scope="module")
def container(pod: dict[str, Any]) -> dict[str, Any]:
    (found,) = pod["spec"]["containers"]
    assert isinstance(found, dict)
    return found


def test_the_objects_are_there() -> None:
    assert set(OBJECTS) == {
        "ConfigMap",
        "Deployment",
        "HorizontalPodAutoscaler",
        "Ingress",
        "NetworkPolicy",
        "PodDisruptionBudget",
        "Service",
    }
    assert len(OBJECTS) == len(FILES)


@pytest.mark.parametrize("version", [OLDEST, None], ids=["oldest", "latest"])
@pytest.mark.parametrize("kind", OBJECTS)
def test_an_object_is_valid(kind: str, version: str | None) -> None:
    import kubernetes_validate  # takes seconds, which collecting need not wait for

    version = version or kubernetes_validate.latest_version()
    # What it returns is the version whose schemas it took, without the patch level.
    assert version.startswith(kubernetes_validate.validate(OBJECTS[kind], version, strict=True))


def test_the_image_is_this_version(container: dict[str, Any]) -> None:
    project = tomllib.loads((DOCKER.parent / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert container["image"] == f"{project['name']}:{project['version']}"


def test_selectors_find_the_pods(pod: dict[str, Any]) -> None:
    labels = pod["metadata"]["labels"]
    specs = {kind: OBJECTS[kind].get("spec", {}) for kind in OBJECTS}
    for selector in (
        specs["Deployment"]["selector"]["matchLabels"],
        specs["Service"]["selector"],
        specs["PodDisruptionBudget"]["selector"]["matchLabels"],
        specs["NetworkPolicy"]["podSelector"]["matchLabels"],
        pod["spec"]["topologySpreadConstraints"][0]["labelSelector"]["matchLabels"],
    ):
        assert selector
        assert selector.items() <= labels.items()
    target = specs["HorizontalPodAutoscaler"]["scaleTargetRef"]
    deployment = OBJECTS["Deployment"]
    assert target == {key: deployment[key] for key in ("apiVersion", "kind")} | {"name": deployment["metadata"]["name"]}


def test_ports_are_the_image_s(container: dict[str, Any]) -> None:
    (port,) = container["ports"]
    dockerfile = (DOCKER / "Dockerfile").read_text(encoding="utf-8")
    assert re.findall(r"^EXPOSE (\d+)$", dockerfile, re.M) == [str(port["containerPort"])]
    assert f"0.0.0.0:{port['containerPort']}" in dockerfile
    probes = [container[name]["httpGet"]["port"] for name in ("startupProbe", "livenessProbe", "readinessProbe")]
    (outside,) = OBJECTS["Service"]["spec"]["ports"]
    (let_in,) = OBJECTS["NetworkPolicy"]["spec"]["ingress"]
    assert {*probes, outside["targetPort"], let_in["ports"][0]["port"]} == {port["name"]}


def test_probes_ask_for_what_is_there(container: dict[str, Any]) -> None:
    app: Flask = create_app()
    paths = {rule.rule for rule in app.url_map.iter_rules()}
    asked = {name: container[name]["httpGet"]["path"] for name in ("startupProbe", "livenessProbe", "readinessProbe")}
    assert asked == {"startupProbe": "/livez", "livenessProbe": "/livez", "readinessProbe": "/readyz"}
    assert set(asked.values()) <= paths


def test_settings_are_the_service_s_and_right(container: dict[str, Any], pod: dict[str, Any], tmp_path: Path) -> None:
    """Each file that a setting names lies in a mount; with such a file in its place the settings are taken."""
    settings: dict[str, str] = OBJECTS["ConfigMap"]["data"]
    assert container["envFrom"] == [{"configMapRef": {"name": OBJECTS["ConfigMap"]["metadata"]["name"]}}]
    assert set(settings) <= set(SETTINGS)
    assert settings["SHEETMARGIN_ACCESS"] == "keys"
    mounts = {mount["mountPath"]: mount["name"] for mount in container["volumeMounts"]}
    volumes = {volume["name"]: volume for volume in pod["spec"]["volumes"]}
    assert set(mounts.values()) == set(volumes)
    here = {}
    for name, value in settings.items():
        if value.startswith("/"):
            kind = {"keys.toml": "secret", "catalogue.toml": "configMap"}[Path(value).name]
            assert kind in volumes[mounts[str(Path(value).parent)]]
            file = tmp_path / Path(value).name
            file.touch()
        here[name] = str(file) if value.startswith("/") else value
    taken = settings_from(here)
    assert taken.keys_file == tmp_path / "keys.toml"
    assert [path for _, path in taken.catalogues] == [tmp_path / "catalogue.toml"]


def test_a_stop_has_the_time_that_it_needs(container: dict[str, Any], pod: dict[str, Any]) -> None:
    pause = container["lifecycle"]["preStop"]["sleep"]["seconds"]
    (patience,) = re.findall(r"^graceful_timeout = (\d+)$", GUNICORN.read_text(encoding="utf-8"), re.M)
    assert pod["spec"]["terminationGracePeriodSeconds"] > pause + int(patience)


def test_workers_are_as_many_as_processors(container: dict[str, Any]) -> None:
    assert OBJECTS["ConfigMap"]["data"]["WEB_CONCURRENCY"] == container["resources"]["limits"]["cpu"]


def test_the_pod_is_confined(container: dict[str, Any], pod: dict[str, Any]) -> None:
    user = pod["spec"]["securityContext"]
    assert user["runAsNonRoot"] is True
    assert f"USER {user['runAsUser']}:{user['runAsGroup']}\n" in (DOCKER / "Dockerfile").read_text(encoding="utf-8")
    assert user["seccompProfile"] == {"type": "RuntimeDefault"}
    assert container["securityContext"] == {
        "readOnlyRootFilesystem": True,
        "allowPrivilegeEscalation": False,
        "capabilities": {"drop": ["ALL"]},
    }
    assert pod["spec"]["automountServiceAccountToken"] is False


def test_the_ingress_fits_the_service() -> None:
    """Its host is one that is answered, its bodies are no smaller than a batch, and no batch is sent twice."""
    ingress, settings = OBJECTS["Ingress"], OBJECTS["ConfigMap"]["data"]
    (rule,) = ingress["spec"]["rules"]
    assert rule["host"] in settings["SHEETMARGIN_HOSTS"].split()
    assert ingress["spec"]["tls"][0]["hosts"] == [rule["host"]]
    (path,) = rule["http"]["paths"]
    (port,) = OBJECTS["Service"]["spec"]["ports"]
    service = {"name": OBJECTS["Service"]["metadata"]["name"], "port": {"name": port["name"]}}
    assert path["backend"]["service"] == service
    told = {name.rpartition("/")[2]: value for name, value in ingress["metadata"]["annotations"].items()}
    assert int(told["proxy-body-size"].removesuffix("m")) << 20 > MAX_BODY
    assert "non_idempotent" not in told["proxy-next-upstream"]


def test_who_asks_much_is_held_off(container: dict[str, Any]) -> None:
    """Fewer at once than a worker has threads, and of its time less than a process has."""
    settings = settings_from({**OBJECTS["ConfigMap"]["data"], "SHEETMARGIN_ACCESS": "open", "SHEETMARGIN_KEYS_FILE": "",
                              "SHEETMARGIN_CATALOGUE": ""})  # fmt: skip
    (threads,) = re.findall(r"^threads = (\d+)$", GUNICORN.read_text(encoding="utf-8"), re.M)
    assert settings.at_once is not None
    assert settings.at_once < int(threads)
    for rate in (settings.seconds_per_address, settings.seconds_per_key):
        (seconds,) = re.findall(r"^(\d+)/minute$", rate or "")
        assert int(seconds) <= 30


def test_a_node_can_be_emptied() -> None:
    """With as many pods as there are at least, some may go and some stay."""
    least = OBJECTS["HorizontalPodAutoscaler"]["spec"]["minReplicas"]
    assert 0 < OBJECTS["PodDisruptionBudget"]["spec"]["maxUnavailable"] < least
    assert "replicas" not in OBJECTS["Deployment"]["spec"]
