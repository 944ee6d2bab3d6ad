#!/usr/bin/env bash
# Send lines of JSON, and print each answer as it comes: batch.sh LINES.ndjson
set -euo pipefail
curl -sS --fail-with-body --retry 5 "${STILLPIPE:-http://127.0.0.1:8000}/v1/batch" \
    -H "Authorization: Bearer ${STILLPIPE_KEY:-}" -H 'Content-Type: application/x-ndjson' \
    --data-binary "@${1:-openapi/examples/batch-lines.ndjson}" -o answers.ndjson
jq -r 'if .summary then "\(.summary.succeeded) of \(.summary.total) answered"
    else "\(.index) \(.result.verdict // .problem.title)" end' answers.ndjson
tail -n 1 answers.ndjson | jq -e '.summary | .complete and .failed == 0' >/dev/null
