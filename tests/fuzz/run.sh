#!/bin/sh
# Fuzzes every target in turn, one process at a time: run.sh SECONDS_EACH ROUNDS [TARGET...]
# Wants a nightly toolchain and cargo-fuzz; FUZZ_BINARIES=FOLDER takes targets built before. A finding
# stands in artifacts/TARGET, what was run in log/TARGET, added up by count.py.
set -u
cd "$(dirname "$0")"
seconds=$1 rounds=$2
shift 2
[ $# -gt 0 ] || set -- one_kind bundle certificate sheet store values calc
if [ -z "${FUZZ_BINARIES:-}" ]; then
  cargo +nightly fuzz build --fuzz-dir . --sanitizer none || exit 1
  FUZZ_BINARIES="${CARGO_TARGET_DIR:-target}/x86_64-unknown-linux-gnu/release"
fi
mkdir -p log
round=0
while [ "$round" -lt "$rounds" ]; do
  for target in "$@"; do
    mkdir -p "corpus/$target" "artifacts/$target"
    nice -n 19 "$FUZZ_BINARIES/$target" "corpus/$target" -artifact_prefix="artifacts/$target/" -max_total_time="$seconds" \
      -timeout=20 -rss_limit_mb=3000 -print_final_stats=1 >"log/$target-$round-$(date +%s)" 2>&1
    echo "$(date +%T) $target: $?"
  done
  round=$((round + 1))
done
