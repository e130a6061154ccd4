#!/usr/bin/env bash
# The journal of a small store, recomputed with sqlite3 and sha256sum alone.
# Usage: check_journal.sh; the program is the environment's MELTKIN, else a debug build.
set -euo pipefail
cd "$(dirname "$0")/../.."
if [ -z "${MELTKIN:-}" ]; then
  cargo build --quiet --locked
  MELTKIN="${CARGO_TARGET_DIR:-target}/debug/meltkin"
fi
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
store="$folder/store.db"
export MELTKIN_NOW=2031-05-26T08:00:00+00:00
"$MELTKIN" --store "$store" import sample_data >/dev/null
hold=$("$MELTKIN" --store "$store" --json hold PS31-05 --reason 'quotes " and \ and'$'\n''a second line' --as OP-51 | sed 's/.*"tag":"\([^"]*\)".*/\1/')
"$MELTKIN" --store "$store" correct M31-070 seal=putty --reason "read again" --as OP-51 >/dev/null
"$MELTKIN" --store "$store" lift "$hold" --reason fine --as OP-51 >/dev/null
passed=0 failed=0
ok() { if [ "$2" = "$3" ]; then passed=$((passed + 1)); else failed=$((failed + 1)); echo "FAILED $1: $2 is not $3"; fi; }

before=$(printf '%064d' 0)
entries=$(sqlite3 "$store" "SELECT count(*) FROM journal")
for seq in $(seq 1 "$entries"); do
  sealed=$({ printf '%s' "$before"; sqlite3 "$store" "SELECT json_array(seq, at, person, action, kind, tag, old, new, reason, came) FROM journal WHERE seq = $seq" | head -c -1; } | sha256sum | cut -c1-64)
  before=$(sqlite3 "$store" "SELECT hash FROM journal WHERE seq = $seq")
  ok "entry $seq" "$sealed" "$before"
done
head=$("$MELTKIN" --store "$store" --json verify | sed 's/.*"head":"\([0-9a-f]*\)".*/\1/')
ok "head" "$head" "$before"

# Files: the digest over the sorted digests of their rows (moulds has a corrected row, so not that one).
sqlite3 "$store" "SELECT seq, kind, json_extract(new, '$.digest') FROM journal WHERE action = 'import' AND kind <> 'moulds'" |
  while IFS='|' read -r seq kind digest; do
    made=$(sqlite3 "$store" "SELECT printf('%016x', digest) FROM $kind WHERE entry = $seq ORDER BY 1" | sha256sum | cut -c1-64)
    [ "$made" = "$digest" ] || echo "$kind $made $digest"
  done >"$folder/wrong"
ok "files" "$(wc -l <"$folder/wrong" | tr -d ' ')" 0

# A record written by itself: its digest is the head of the SHA-256 of its canonical text.
text=$(sqlite3 "$store" "SELECT new FROM journal WHERE action = 'correct'")
ok "row" "$(printf '%s' "$text" | sha256sum | cut -c1-16)" "$(sqlite3 "$store" "SELECT printf('%016x', digest) FROM moulds WHERE mould = 'M31-070'")"
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
