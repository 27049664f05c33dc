#!/usr/bin/env bash
# Explores the core in small worlds with every placement of faults: up to one in every model, each state asked whether it
# recovers and comes to rest; up to two, rules only. Overflow and the core's inner rules are checked as it runs.
#
#   tests/explore.sh          as CI does
#   tests/explore.sh --long   up to two with recovery, every fault in every model; then three in two models, for hours
set -euo pipefail
cd "$(dirname "$0")/.."
export CARGO_PROFILE_RELEASE_DEBUG_ASSERTIONS=true CARGO_PROFILE_RELEASE_OVERFLOW_CHECKS=true
cargo build --release --quiet -p explore --target-dir target/checked
explore=target/checked/release/explore
"$explore" --sabotage
"$explore" -k 1
if [ "${1:-}" = --long ]; then
    "$explore" -k 2 --whole
    "$explore" -k 3 --no-recovery --deep -m maintenance -m torque
else
    "$explore" -k 2 --no-recovery
fi
