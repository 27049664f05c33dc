#!/usr/bin/env bash
# The core's unit tests under Miri, which interprets them and stops at undefined behaviour, overflow and reads of what was never written: with 64 bits,
# with 32, and big-endian. Needs a nightly compiler with miri and rust-src; no part of tests/all.sh. The tick itself runs under Miri, on the
# same three, by tests/digests.sh --miri, where its digests must equal the host's.
#
#   tests/miri.sh
set -euo pipefail
cd "$(dirname "$0")/.."
cargo +nightly miri --version >/dev/null 2>&1 ||
    { echo "no miri; rustup toolchain install nightly --component miri,rust-src" >&2; exit 2; }

# Left out: one_contact_of_each_actuator goes through all 786 432 cases of plain bit arithmetic, minutes here and a moment without Miri.
for target in x86_64-unknown-linux-gnu i686-unknown-linux-gnu s390x-unknown-linux-gnu; do
    told=$(CARGO_TARGET_DIR=${CARGO_TARGET_DIR:-target}/miri cargo +nightly miri test --quiet -p timing-core --lib \
        --features serde,embedded-hal --target $target -- --skip one_contact_of_each_actuator 2>&1) ||
        { echo "$told" >&2; echo "$target: FAILED" >&2; exit 1; }
    echo "$target: $(grep -o '[0-9]* passed.*filtered out' <<<"$told")"
done
echo "left out everywhere: one_contact_of_each_actuator (tested without Miri)"
