#!/usr/bin/env bash
# Fuzzes every target for an equal share of the given time (seconds, 3600 by default), with one
# worker at the lowest priority, counts the executions, then measures the grown corpora in an
# optimised build (time and peak memory of every input, and of every input stretched to 1 MiB).
#
# usage: tests/fuzz/run.sh [SECONDS] [TARGET ...]
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
seconds=${1:-3600}
shift || true
targets=("$@")
[ ${#targets[@]} -gt 0 ] || targets=(recording session plan journal keys)
share=$((seconds / ${#targets[@]}))
export RUSTC_BOOTSTRAP=1 # cargo-fuzz wants flags that are not stable yet

cd "$here/../.."
cargo run --quiet --example fuzz-corpus
cd "$here"
total=0
for target in "${targets[@]}"; do
    mkdir -p "corpus/$target"
    log=$(mktemp)
    # No sanitiser: the crate is without unsafe code, and so more is run. What hangs or takes hold
    # of much at once is caught here; the limits are measured below, in a release build.
    nice -n 19 cargo fuzz run --sanitizer none --fuzz-dir . "$target" "corpus/$target" -- \
        -max_total_time="$share" -timeout=10 -malloc_limit_mb=256 -rss_limit_mb=1024 \
        -max_len=1048576 -print_final_stats=1 >"$log" 2>&1 || {
        tail -n 60 "$log"
        exit 1
    }
    runs=$(sed -n 's/^stat::number_of_executed_units: *//p' "$log")
    covered=$(grep -o 'cov: [0-9]*' "$log" | tail -n 1)
    printf '%-10s %10d executions in %d s, %s, %d inputs kept\n' \
        "$target" "$runs" "$share" "$covered" "$(find "corpus/$target" -type f | wc -l)"
    total=$((total + runs))
    rm -f "$log"
done
echo "executions in all: $total"
cd "$here/../.."
cargo run --quiet --profile quick --example fuzz-limits
