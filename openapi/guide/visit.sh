#!/usr/bin/env bash
# Ask anew with everything seen on site so far: visit.sh VISIT.json
set -euo pipefail
visit=${1:-openapi/examples/plug-time-observations.json}
ask() {
    curl -sS --fail-with-body --retry 5 --max-time 60 \
        "${STILLPIPE:-http://127.0.0.1:8000}/v1/$1" --data-binary @- \
        -H "Authorization: Bearer ${STILLPIPE_KEY:-}" -H 'Content-Type: application/json'
}
for count in $(seq 0 "$(jq '.observations | length' "$visit")"); do
    body=$(jq --argjson count "$count" '.observations |= .[:$count]
        | if $count == 0 then del(.observations) else . end' "$visit")
    found=$(ask plug-time <<<"$body")
    if jq -er '.reasons[] | select(.severity == "stop" or .code == "observations-do-not-fit")
        | "\(.text) \(.action)"' <<<"$found"; then exit 1; fi
    jq -r 'if .learned
        then "\(.learned.observations[-1].kind): cut in \(.learned.planned_ready_from_now.value | round) s"
        else "arrival: cut in \(.planned_ready.value | round) s" end' <<<"$found"
    if jq -e '.observations[-1].kind? == "weight-drawn"' <<<"$body" >/dev/null; then
        jq '.hold = {value: 3, unit: "h"}
            | .cylinder = {id: "co2-9.1kg", temperature: {value: 18, unit: "degC"}}' <<<"$body" |
            ask cylinder-count | jq -r '.learned.now.value as $now | .exchanges[]
                | select(.at.value > $now)
                | "cylinder \(.cylinder) is empty in \((.at.value - $now) / 60 | round) min"'
    fi
done
