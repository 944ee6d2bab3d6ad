"""OpenTelemetry over real gunicorn to a collector: all workers, within the caller's trace."""

import gzip
import subprocess
import sys
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest
import requests
from opentelemetry.proto.collector.trace.v1.trace_service_pb2 import ExportTraceServiceRequest
from opentelemetry.proto.trace.v1.trace_pb2 import ResourceSpans, Span

from deploy.stack import ROOT, Server, until
from stillpipe import __version__
from stillpipe.server.app import create_app
from stillpipe.server.observability.spans import TelemetryError

EXAMPLE = (ROOT / "openapi" / "examples" / "plug-time-request.json").read_bytes()
TRACE, PARENT = "0af7651916cd43dd8448eb211c80319c", "b7ad6b7169203331"


class Collector(ThreadingHTTPServer):
    """Takes OTLP over HTTP, and keeps what it is sent."""

    def __init__(self) -> None:
        self.received: list[ResourceSpans] = []
        received = self.received

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                if self.headers.get("Content-Encoding") == "gzip":
                    body = gzip.decompress(body)
                received.extend(ExportTraceServiceRequest.FromString(body).resource_spans)
                self.send_response(200)
                self.end_headers()

            def log_message(self, *_: object) -> None:
                pass

        super().__init__(("127.0.0.1", 0), Handler)

    def spans(self) -> list[Span]:
        return [s for r in list(self.received) for c in r.scope_spans for s in c.spans]


@pytest.fixture
def collector() -> Iterator[Collector]:
    with Collector() as running:
        thread = threading.Thread(target=running.serve_forever)
        thread.start()
        yield running
        running.shutdown()
        thread.join()


def attributes(span: Span | ResourceSpans) -> dict[str, object]:
    held = span.attributes if isinstance(span, Span) else span.resource.attributes
    return {a.key: getattr(a.value, str(a.value.WhichOneof("value"))) for a in held}


@pytest.mark.server
def test_spans_of_all_workers_arrive_within_the_callers_trace(collector: Collector) -> None:
    endpoint = f"http://127.0.0.1:{collector.server_port}"
    heads = {"traceparent": f"00-{TRACE}-{PARENT}-01", "Content-Type": "application/json"}
    with Server(
        STILLPIPE_OPENTELEMETRY="on",
        OTEL_EXPORTER_OTLP_ENDPOINT=endpoint,
        OTEL_BSP_SCHEDULE_DELAY="200",
    ) as server:
        for _ in range(40):  # new connections, so that both workers get some
            reply = requests.post(
                f"{server.address}/v1/plug-time", EXAMPLE, headers=heads, timeout=600
            )
            assert reply.status_code == 200
            assert reply.headers["traceparent"] == heads["traceparent"]
        refused = requests.post(f"{server.address}/v1/plug-time", b"{}", headers=heads, timeout=600)
        assert refused.status_code == 422
        requests.get(f"{server.address}/livez", timeout=600)
        until(lambda: len(collector.spans()) >= 82, "the spans arrive")
    spans = collector.spans()
    assert {s.trace_id.hex() for s in spans} == {TRACE}
    outer = [s for s in spans if s.kind == Span.SPAN_KIND_SERVER]
    inner = [s for s in spans if s.kind == Span.SPAN_KIND_INTERNAL]
    assert {s.name for s in outer} == {"POST /v1/plug-time"}
    assert {s.parent_span_id.hex() for s in outer} == {PARENT}
    assert {s.name for s in inner} == {"estimate plug-time"}
    assert {s.parent_span_id for s in inner} == {s.span_id for s in outer}
    assert len(outer) == len(inner) == 41
    made = [s for s in inner if attributes(s).get("stillpipe.remembered") is False]
    assert 1 <= len(made) <= 2, "each worker estimates the same body once"
    codes = sorted(str(attributes(s).get("http.status_code")) for s in outer)
    assert codes == ["200"] * 40 + ["422"]
    for resource in collector.received:
        assert attributes(resource)["service.name"] == "stillpipe"
        assert attributes(resource)["service.version"] == __version__


def test_telemetry_is_off_unless_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("STILLPIPE_OPENTELEMETRY", raising=False)
    assert "TRACER" not in create_app(warm_up=False).config
    loaded = "import sys, stillpipe.server.app as a; a.create_app(False); print(*sys.modules)"
    run = subprocess.run([sys.executable, "-c", loaded], capture_output=True, text=True, check=True)
    assert "opentelemetry.sdk" not in run.stdout.split()


def test_a_setting_that_means_nothing_stops_the_start(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("STILLPIPE_OPENTELEMETRY", "yes")
    with pytest.raises(TelemetryError, match="'yes'"):
        create_app(warm_up=False)


def test_a_missing_extra_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("STILLPIPE_OPENTELEMETRY", "on")
    monkeypatch.setitem(sys.modules, "opentelemetry.instrumentation.flask", None)
    with pytest.raises(TelemetryError, match=r"stillpipe\[opentelemetry\]"):
        create_app(warm_up=False)
