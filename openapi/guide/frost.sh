#!/usr/bin/env bash
# Ask why there is no frost yet: frost.sh
set -euo pipefail
curl -sS --fail-with-body --retry 5 --max-time 60 \
    "${STILLPIPE:-http://127.0.0.1:8000}/v1/frost-check" \
    -H "Authorization: Bearer ${STILLPIPE_KEY:-}" -H 'Content-Type: application/json' \
    --data-binary @openapi/examples/frost-check-request.json |
    jq -r '"\(.state): frost was due after \(.frost_by.likely | round) s", .causes[0].first,
        (.reasons[] | "\(.text) \(.action)")'
