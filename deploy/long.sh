#!/usr/bin/env bash
# What takes longer than the tests of a change may. All of it in turn, or the parts that are named:
#   bash deploy/long.sh [traffic] [churn] [endurance] [batches] [poor-line] [month] [costs] [tables] [percentiles] [causes] [calibration] [observed] [verdicts] [clients] [prism] [times] [mutants]
# Needs the environment that deploy/test.sh has set up.
set -euo pipefail
cd "$(dirname "$0")/.."
. .venv/bin/activate
export PYTHONPATH=tests

part() {
    echo "== $1"
    case "$1" in
    traffic) python tests/contract/fuzz.py 50000 ;;                  # generated requests
    churn) STILLPIPE_TEST_REQUESTS=100000 pytest -q -s tests/deploy/test_churn.py ;;
    endurance) python tests/deploy/endurance.py --minutes 30 ;;      # slow callers, starts, clocks, soak
    batches)                                                         # everything happens to them
        python tests/deploy/batch_endurance.py 10000 long
        python tests/deploy/batch_endurance.py 60 dearest
        ;;
    poor-line) python tests/deploy/poor_line.py 50 ;;                # apps whose connections end in the middle
    month) python tests/deploy/month.py 50000 ;;                     # of a dispatcher's jobs
    costs) python tests/contract/costs.py ;;                         # what a request may cost
    tables)                                                          # reference tables made again
        python tests/reference/make_property_tables.py
        python tests/reference/make_library_2d.py
        python tests/reference/make_sweep.py
        python tests/reference/make_held_2d.py
        git diff --stat -- service/stillpipe/tables tests/reference
        ;;
    percentiles) python tests/reference/make_percentiles.py ;;       # 4,000 draws solved directly
    causes)                                                          # of a frost that is missing
        python tests/reference/make_frost_causes.py
        STILLPIPE_TEST_CAUSES=all pytest -q -s tests/reference/test_frost_causes.py
        ;;
    calibration)                                                     # 4,000 freezes of 200 sets of jackets
        python tests/reference/make_calibration.py
        git diff --stat -- tests/reference
        STILLPIPE_TEST_TRIALS=200 pytest -q -s tests/reference/test_calibration.py
        ;;
    observed)                                                        # what is learned, by direct solutions
        python tests/reference/make_observed.py
        git diff --stat -- tests/reference
        STILLPIPE_TEST_TRUTHS=1000 pytest -q -s tests/reference/test_observed.py
        ;;
    clients) STILLPIPE_TEST_CLIENTS=all pytest -q tests/clients ;;   # every example by openapi-generator
    prism)                                                           # a validating proxy in between
        npm ci --silent --no-audit --no-fund --prefix tests/contract/prism
        pytest -q tests/contract/test_prism.py
        ;;
    verdicts) python tests/reference/verdicts.py ;;                  # over the catalogue, against 0.2.0
    times)                                                           # against 0.2.0, in one run
        STILLPIPE_TEST_BENCHMARKS=all pytest -q tests/benchmarks
        python tests/benchmarks/against.py
        ;;
    mutants)                                                         # small faults that tests must find
        # a folder named in STILLPIPE_MUTANTS is gone on with; of STILLPIPE_MODULES alone, such as "spacing job.timeline"
        folder="${STILLPIPE_MUTANTS:-$(mktemp -d)}"
        pip install --quiet --upgrade --require-hashes --target "$folder/packages" \
            --requirement deploy/requirements-mutants.txt
        PYTHONPATH="$folder/packages" OPENBLAS_NUM_THREADS=1 \
            python tests/mutation/mutants.py "$folder" ${STILLPIPE_MODULES:-}
        ;;
    *) echo "no such part: $1" >&2; exit 2 ;;
    esac
}

[ $# -gt 0 ] || set -- traffic churn endurance batches poor-line month costs tables percentiles causes calibration observed verdicts clients prism times mutants
for name in "$@"; do part "$name"; done
