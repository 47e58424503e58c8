#!/usr/bin/env bash
# What a system without a client of its own asks: one sheet, the same again, a job, a batch.
# Usage: curl.sh [ADDRESS]; needs curl and Python.
set -euo pipefail
address=${1:-http://127.0.0.1:8080}
headers=$(mktemp)
trap 'rm -f "$headers"' EXIT

show() { # One line for an answer on standard input.
    python3 -c '
import json, sys
for line in sys.stdin:
    answer = json.loads(line)
    for setup in [setup for one in answer.get("recommendations", [])[:1] for setup in one["setups"]]:
        order = ", ".join("%d x %s" % (part["quantity"], part["part_number"] or part["role"]) for part in setup["order_items"])
        print("%s: %s at %g mm: %s" % (answer["verdict"], setup["detector_class"]["id"], setup["geometry"]["gap_mm"]["nominal"], order))
    for fault in answer.get("errors", []):
        print("%s: %s" % (fault.get("pointer") or fault.get("parameter"), fault["detail"]))'
}

echo "One sheet"
sheet="$address/v1/recommendations?material=copy-paper&grammage_gsm=80&limit=1"
curl -sS --fail-with-body -D "$headers" "$sheet" | show

echo "The same again, with its ETag: nothing is computed"
etag=$(sed -n 's/^etag: *//Ip' "$headers" | tr -d '\r')
curl -sS -o /dev/null -w '%{http_code}\n' -H "If-None-Match: $etag" "$sheet"

echo "A job; --retry asks again where the service is busy or a connection breaks"
curl -sS --fail-with-body --retry 3 --retry-connrefused -H 'Content-Type: application/json' "$address/v1/recommendations" --data @- <<'JOB' | show
{"sheets": [{"label": "carton", "material": "folding-boxboard", "grammage_gsm": 300}],
 "line": {"speed_m_per_min": 90, "sheet_length_mm": 500, "clearance_above_mm": 120, "clearance_below_mm": 120}, "limit": 1}
JOB

echo "A question that is wrong"
curl -sS "$address/v1/recommendations?material=coppy-paper&grammage_gsm=80" | show

echo "A batch, a job a line; without its last line an answer is not whole"
curl -sS --fail-with-body -H 'Content-Type: application/x-ndjson' "$address/v1/recommendations/batch" --data-binary @- <<'JOBS' | tail -n 1
{"reference": "Q-1", "sheets": [{"material": "kraft-paper", "grammage_gsm": 80}], "limit": 1}
{"reference": "Q-2", "sheets": [{"material": "kraft-paper"}], "limit": 1}
JOBS
