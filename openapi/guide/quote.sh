#!/usr/bin/env bash
# Ask what a whole job takes and costs: quote.sh JOB.json
set -euo pipefail
curl -sS --fail-with-body --retry 5 "${STILLPIPE:-http://127.0.0.1:8000}/v1/job-estimate" \
    -H "Authorization: Bearer ${STILLPIPE_KEY:-}" -H 'Content-Type: application/json' \
    --data-binary "@${1:-openapi/examples/job-estimate-request.json}" -o answer.json || {
    jq -r '.title, (.errors // [] | .[] | "\(.pointer) \(.detail)")' answer.json
    exit 1
}
jq -r '"\(.verdict): freeze \(.quote.total), drain down \(.quote.drain_down_total) \(.quote.currency)",
    "ready \(.ready.likely) s (\(.ready.low) to \(.ready.high)), cut at \(.planned_ready.value) s",
    (.promises[] | "done by \(.by.value / 60 | round) min with \(.chance * 100) %")' answer.json
