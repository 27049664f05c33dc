#!/usr/bin/env bash
# Mutation testing of the core: cargo-mutants changes one place at a time, and something must notice.
#
#   tests/mutants.sh FOLDER [ARGUMENT…]    all mutants, results in FOLDER; further arguments go to cargo-mutants (-f FILE, --shard 1/8, …)
#
# Three passes, each over what the one before left alive: recorded inputs (drawn wires and seeds of the soak) whose every tick must give what the core as it
# is gives; the tests that need nothing but the core; the core's own unit tests and examples. Takes hours: no part of CI.
# Needs cargo-mutants (cargo install --locked cargo-mutants). JOBS says how many at once (2).
set -euo pipefail
cd "$(dirname "$0")/.."
[ $# -ge 1 ] || { sed -n '2,9s/^# \{0,1\}//p' "$0" >&2; exit 2; }
out=$1
shift
command -v cargo-mutants >/dev/null || { echo "no cargo-mutants; cargo install --locked cargo-mutants" >&2; exit 2; }
export CAPCYCLE_KEPT
CAPCYCLE_KEPT=$(mktemp -d)
trap 'rm -rf "$CAPCYCLE_KEPT"' EXIT

cargo build --quiet -p tests --bin wires -p mutants --bin keep
bin=${CARGO_TARGET_DIR:-target}/debug
for seed in 1 2 3; do "$bin/wires" "$seed" 20000 "$CAPCYCLE_KEPT/wires-$seed.inputs" >/dev/null 2>&1; done
for seed in 4 5 6 7; do "$bin/wires" "$seed" 20000 "$CAPCYCLE_KEPT/struck-$seed.inputs" struck >/dev/null 2>&1; done
for seed in ${SEEDS:-$(seq 1 20)}; do "$bin/wires" soak "$seed" "$CAPCYCLE_KEPT"; done
find "$CAPCYCLE_KEPT" -name '*.inputs' -print0 | xargs -0 "$bin/keep"
echo "kept: $(find "$CAPCYCLE_KEPT" -name '*.inputs' | wc -l) files, $(du -sm "$CAPCYCLE_KEPT" | cut -f1) MB"

# Built often and run briefly: no debug information.
export CARGO_PROFILE_DEV_DEBUG=0 CARGO_PROFILE_TEST_DEBUG=0
# The baseline by hand: cargo-mutants would try it on the package that is mutated.
cargo test --quiet -p mutants --test kept --test core
cargo test --quiet -p timing-core --features serde,embedded-hal,desk
pass() { # PACKAGE ARGUMENT…
    local package=$1
    shift
    cargo mutants -p timing-core --test-package "$package" --baseline skip -j "${JOBS:-2}" --timeout 30 --output "$out" --iterate \
        --no-shuffle --colors never "$@"
}
status() { [ "$1" -eq 0 ] || [ "$1" -eq 2 ] || [ "$1" -eq 3 ] || exit "$1"; }
pass mutants "$@" -- --test kept || status $?
pass mutants "$@" -- --test core || status $?
pass timing-core "$@" -- --features serde,embedded-hal,desk || status $?
wc -l "$out"/mutants.out/{previously_caught,caught,timeout,missed,unviable}.txt
