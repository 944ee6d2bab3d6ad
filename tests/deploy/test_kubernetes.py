"""The manifests as Kustomize renders them: they follow the schemas, fit together, are locked."""

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import kubernetes_validate
import pytest
import yaml

from deploy.stack import NGINX, ROOT
from stillpipe import __version__
from stillpipe.api import limits
from stillpipe.server import settings
from stillpipe.server.app import create_app

KUBECTL = shutil.which("kubectl")
VERSIONS = ("1.31", kubernetes_validate.latest_version())
"""The API's versions that the manifests are held against."""

pytestmark = pytest.mark.skipif(KUBECTL is None, reason="no kubectl on this machine")


def rendered(folder: Path) -> list[dict[str, Any]]:
    """What Kustomize makes of ``folder``."""
    assert KUBECTL
    run = subprocess.run(
        [KUBECTL, "kustomize", str(folder)], capture_output=True, text=True, check=False
    )
    assert run.returncode == 0, run.stderr
    return list(yaml.safe_load_all(run.stdout))


@pytest.fixture(scope="module")
def manifests() -> dict[str, dict[str, Any]]:
    """The manifests by kind."""
    found = {m["kind"]: m for m in rendered(ROOT / "deploy" / "kubernetes")}
    assert set(found) == {
        "ConfigMap", "Deployment", "HorizontalPodAutoscaler", "NetworkPolicy",
        "PodDisruptionBudget", "Service",
    }  # fmt: skip
    return found


@pytest.fixture(scope="module")
def pod(manifests: dict[str, Any]) -> dict[str, Any]:
    template: dict[str, Any] = manifests["Deployment"]["spec"]["template"]
    return template


@pytest.fixture(scope="module")
def containers(pod: dict[str, Any]) -> dict[str, Any]:
    return {c["name"]: c for c in pod["spec"]["containers"]}


@pytest.mark.parametrize("version", VERSIONS)
def test_every_manifest_follows_its_schema_strictly(
    manifests: dict[str, Any], version: str
) -> None:
    for manifest in manifests.values():
        kubernetes_validate.validate(manifest, version, strict=True)


def test_the_strict_check_finds_a_misspelt_member(manifests: dict[str, Any]) -> None:
    wrong = manifests["Service"] | {"spec": manifests["Service"]["spec"] | {"typ": "ClusterIP"}}
    with pytest.raises(kubernetes_validate.ValidationError):
        kubernetes_validate.validate(wrong, VERSIONS[-1], strict=True)


def test_every_selector_is_that_of_the_pods(manifests: dict[str, Any], pod: dict[str, Any]) -> None:
    labels = pod["metadata"]["labels"].items()
    selectors = [
        manifests["Service"]["spec"]["selector"],
        manifests["Deployment"]["spec"]["selector"]["matchLabels"],
        manifests["PodDisruptionBudget"]["spec"]["selector"]["matchLabels"],
        manifests["NetworkPolicy"]["spec"]["podSelector"]["matchLabels"],
        *(c["labelSelector"]["matchLabels"] for c in pod["spec"]["topologySpreadConstraints"]),
    ]
    for selector in selectors:
        assert selector
        assert selector.items() <= labels
    target = manifests["HorizontalPodAutoscaler"]["spec"]["scaleTargetRef"]
    deployment = manifests["Deployment"]
    assert target == {
        "apiVersion": deployment["apiVersion"], "kind": "Deployment",
        "name": deployment["metadata"]["name"],
    }  # fmt: skip
    assert "replicas" not in deployment["spec"], "the autoscaler says how many"


def test_every_named_port_and_volume_is_there(
    manifests: dict[str, Any], pod: dict[str, Any], containers: dict[str, Any]
) -> None:
    ports = {p["name"]: p["containerPort"] for c in containers.values() for p in c["ports"]}
    assert ports == {"http": 8080, "gunicorn": 8000}
    used = [p["targetPort"] for p in manifests["Service"]["spec"]["ports"]]
    ingress = manifests["NetworkPolicy"]["spec"]["ingress"]
    used += [p["port"] for rule in ingress for p in rule["ports"]]
    for container in containers.values():
        for name in ("startupProbe", "livenessProbe", "readinessProbe"):
            probe = container.get(name, {})
            used += [probe[k]["port"] for k in ("httpGet", "tcpSocket") if k in probe]
    assert set(used) == set(ports)
    volumes = {v["name"] for v in pod["spec"]["volumes"]}
    mounted = {m["name"] for c in containers.values() for m in c["volumeMounts"]}
    assert mounted == volumes
    maps = [v["configMap"]["name"] for v in pod["spec"]["volumes"] if "configMap" in v]
    assert maps == [manifests["ConfigMap"]["metadata"]["name"]]
    listened = (ROOT / "deploy" / "nginx" / "listen.conf").read_text()
    assert "\nlisten 8080 " in listened
    assert "127.0.0.1:8000 " in (ROOT / "deploy" / "nginx" / "upstreams.conf").read_text()


def test_the_probes_addresses_are_the_services(containers: dict[str, Any]) -> None:
    client = create_app().test_client()
    asked = {
        probe["httpGet"]["path"]
        for c in containers.values()
        for name, probe in c.items()
        if name.endswith("Probe") and "httpGet" in probe
    }
    assert asked == {"/livez", "/readyz"}
    assert all(client.get(path).status_code == 200 for path in asked)


def test_nothing_runs_as_root_or_writes_outside_its_volumes(
    pod: dict[str, Any], containers: dict[str, Any]
) -> None:
    spec = pod["spec"]
    assert spec["securityContext"]["runAsNonRoot"] is True
    assert f"USER {spec['securityContext']['runAsUser']}:" in (ROOT / "Dockerfile").read_text()
    assert spec["automountServiceAccountToken"] is False
    for container in containers.values():
        assert container["securityContext"] == {
            "allowPrivilegeEscalation": False, "readOnlyRootFilesystem": True,
            "capabilities": {"drop": ["ALL"]},
        }  # fmt: skip
        assert set(container["resources"]["limits"]) == {"cpu", "memory", "ephemeral-storage"}
        assert set(container["resources"]["requests"]) == {"cpu", "memory", "ephemeral-storage"}
        writable = {m["mountPath"] for m in container["volumeMounts"] if not m.get("readOnly")}
        assert writable <= {"/tmp", "/dev/shm"}  # noqa: S108


def test_what_batches_put_on_disk_has_room(pod: dict[str, Any]) -> None:
    """As many as are taken on, each with the longest body and the longest table."""
    volumes = {v["name"]: v for v in pod["spec"]["volumes"]}
    size = volumes["gunicorn-tmp"]["emptyDir"]["sizeLimit"]
    most = settings.batches() * (limits.BATCH_BYTES + limits.TABLE_BYTES)
    assert int(size.removesuffix("Mi")) * 2**20 > most


def test_a_pod_ends_in_order_within_its_time(pod: dict[str, Any]) -> None:
    """The proxy stops taking requests before gunicorn is told, and gunicorn can finish its own."""
    by_name = {c["name"]: c["lifecycle"]["preStop"] for c in pod["spec"]["containers"]}
    waits = int(by_name["gunicorn"]["exec"]["command"][1])
    proxy = by_name["nginx"]["exec"]["command"][-1]
    assert "-s quit" in proxy
    assert int(proxy.split()[1].rstrip(";")) < waits
    settings = (ROOT / "deploy" / "gunicorn.conf.py").read_text()
    graceful = int(settings.partition("graceful_timeout = ")[2].split()[0])
    # what comes after: the workers that outlast it are killed, and the interpreter winds up
    assert waits + graceful + 15 < pod["spec"]["terminationGracePeriodSeconds"]


def test_the_proxy_lets_through_what_the_pod_takes_on(containers: dict[str, Any]) -> None:
    """However the estimates fall upon the workers, none is refused that nginx lets through."""
    given = {e["name"]: e["value"] for e in containers["gunicorn"]["env"]}
    text = (ROOT / "deploy" / "nginx" / "upstreams.conf").read_text()
    block = text.partition("upstream stillpipe_estimates {")[2].partition("}")[0]
    most = sum(int(part.split()[0]) for part in block.split("max_conns=")[1:])
    assert most <= int(given["STILLPIPE_THREADS"]) + int(given["STILLPIPE_QUEUE"])


def test_the_version_is_that_of_the_service(containers: dict[str, Any]) -> None:
    assert containers["gunicorn"]["image"] == f"stillpipe:{__version__}"


def test_every_variable_is_one_that_the_guide_names(containers: dict[str, Any]) -> None:
    guide = (ROOT / "DEVELOPERS.md").read_text()
    names = [e["name"] for c in containers.values() for e in c.get("env", [])]
    assert names
    assert all(f"`{name}`" in guide for name in names)


def test_keys_are_added_by_an_overlay(tmp_path: Path) -> None:
    """An overlay as deploy/README.md shows it: keys, another image, a rate of its own."""
    shown = (ROOT / "deploy" / "README.md").read_text()
    overlay = shown.partition("```yaml\n")[2].partition("```")[0]
    assert "components" in overlay
    shutil.copytree(ROOT / "deploy", tmp_path / "stillpipe" / "deploy")
    folder = tmp_path / "ours"
    folder.mkdir()
    (folder / "kustomization.yaml").write_text(overlay)
    (folder / "rates.conf").write_text("# ours\n")
    found = {m["kind"]: m for m in rendered(folder)}
    for manifest in found.values():
        kubernetes_validate.validate(manifest, VERSIONS[-1], strict=True)
        assert manifest["metadata"]["namespace"] == "dispatch"
    held = found["ConfigMap"]["data"]
    assert held["rates.conf"] == "# ours\n"
    assert "proxy_pass" in held["nginx.conf"]
    gunicorn = found["Deployment"]["spec"]["template"]["spec"]["containers"][0]
    variables = {e["name"]: e["value"] for e in gunicorn["env"]}
    file = Path(variables["STILLPIPE_KEYS_FILE"])
    assert str(file.parent) in {m["mountPath"] for m in gunicorn["volumeMounts"]}
    assert len(variables) > 1, "the service's own variables are still there"
    assert gunicorn["image"].startswith("images.harbour-lane.example/stillpipe:")


@pytest.fixture
def everybodys() -> Iterator[Path]:
    """A folder that every user may write into."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o777)
        yield Path(folder)


@pytest.mark.skipif(NGINX is None, reason="no nginx on this machine")
def test_the_proxy_takes_the_rendered_configuration_without_being_root(
    manifests: dict[str, Any], containers: dict[str, Any], everybodys: Path
) -> None:
    for name, text in manifests["ConfigMap"]["data"].items():
        moved = text.replace("/tmp/", f"{everybodys}/")  # noqa: S108
        (everybodys / name).write_text(moved.replace("/dev/stdout", f"{everybodys}/access.log"))
    mounts = {m["name"]: m["mountPath"] for m in containers["nginx"]["volumeMounts"]}
    command = [
        str(NGINX) if part == "nginx" else part.replace(mounts["nginx"], str(everybodys))
        for part in containers["nginx"]["command"]
    ]
    if os.getuid() == 0:
        command = ["setpriv", "--reuid=10001", "--regid=10001", "--clear-groups", *command]
    run = subprocess.run([*command, "-t"], capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
