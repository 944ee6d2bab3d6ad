"""Generated requests, sound and unsound, in-process: schemathesis with strict checks."""

import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis import Case, Response, checks

from stillpipe.server.app import create_app
from stillpipe.server.batch.exchange import XLSX

schemathesis.serializer.alias("application/x-ndjson", "text/plain")
schemathesis.serializer.alias(XLSX, "application/octet-stream")
application = create_app()
schema = schemathesis.openapi.from_wsgi("/openapi.json", application)
# every combination of edge values is sent to real gunicorn, by test_server
schema.config.phases.coverage.enabled = False
REFUSED = {f"/v1/problems/{t}" for t in ("out-of-validity", "unknown-entry", "too-costly")}

TABLES = {"text/csv": "malformed-csv", XLSX: "malformed-workbook"}


def sound_means_answered(_: object, response: Response, case: Case) -> None:
    """A request that follows the description gets 200, or is told what the tables cover."""
    if case.meta is None or not case.meta.generation.mode.is_positive:
        return
    if response.status_code == 422:
        problem = response.json()
        # which months have a 31st, and which years a 29th of February, is beyond the pattern
        dated = any(e["detail"] == "there is no such day" for e in problem.get("errors", []))
        assert dated or problem["type"] in REFUSED, response.text
        return
    if case.media_type in TABLES and response.status_code == 400:
        # what makes text a table, and bytes a workbook, is beyond JSON Schema
        assert response.json()["type"] == f"/v1/problems/{TABLES[case.media_type]}"
        return
    assert response.status_code in {200, 304}, response.text


@schema.exclude(path="/docs/{file}").parametrize()
@settings(
    max_examples=40, deadline=None, derandomize=True,
    suppress_health_check=list(HealthCheck),
)  # fmt: skip
def test_generated_request_is_answered_as_described(case: Case) -> None:
    excluded = [checks.positive_data_acceptance]
    if case.media_type in {"application/x-ndjson", *TABLES}:
        # any text is lines or a table, and its faults are told line by line
        excluded.append(checks.negative_data_rejection)
    if case.query and "fields" in case.query:
        # less than the whole, which tests of their own hold against the whole
        excluded.append(checks.response_schema_conformance)
    case.call_and_validate(additional_checks=[sound_means_answered], excluded_checks=excluded)
