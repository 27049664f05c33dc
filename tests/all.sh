#!/usr/bin/env bash
# Everything that is checked, in one run: here, on a desk, as in CI. Each check runs even if one before it failed, so that
# one run shows all that is wrong; the table at the end says what passed, failed or was skipped, and why.
#
#   tests/all.sh            all of it
#   tests/all.sh NAME…      only the checks so named (see the table)
#
# What is missing is fetched where that is possible: ARM targets and components by rustup, QEMU by apt-get when this runs
# as root or sudo asks for no password.
set -euo pipefail
cd "$(dirname "$0")/.."
export CI="${CI:-}" CARGO_TERM_COLOR="${CARGO_TERM_COLOR:-auto}"

targets=(thumbv6m-none-eabi thumbv7em-none-eabihf)
only=("$@")
names=() results=() notes=() took=()

wanted() {
    [ "${#only[@]}" -eq 0 ] && return 0
    local n
    for n in "${only[@]}"; do [ "$n" = "$1" ] && return 0; done
    return 1
}

record() { names+=("$1") results+=("$2") notes+=("$3") took+=("$4"); }

# check NAME COMMAND…: runs it and keeps the result.
check() {
    local name=$1 from=$SECONDS
    shift
    wanted "$name" || return 0
    printf '\n=== %s\n' "$name"
    if ("$@"); then
        record "$name" ok "" $((SECONDS - from))
    else
        record "$name" FAILED "$*" $((SECONDS - from))
    fi
}

# skip NAME WHY: says so at once and again in the table.
skip() {
    wanted "$1" || return 0
    printf '\n=== %s\nSKIPPED: %s\n' "$1" "$2"
    record "$1" SKIPPED "$2" 0
}

have() { command -v "$1" >/dev/null 2>&1; }

as_root() {
    if [ "$(id -u)" -eq 0 ]; then "$@"; elif have sudo && sudo -n true 2>/dev/null; then sudo -n "$@"; else return 1; fi
}

fetch_tools() {
    if have rustup; then
        rustup target add "${targets[@]}" || true
        rustup component add rustfmt clippy llvm-tools || true
    fi
    if ! have qemu-system-arm && have apt-get; then
        (as_root apt-get update -qq && as_root apt-get install -y -qq --no-install-recommends qemu-system-arm) >&2 ||
            echo "qemu-system-arm could not be installed" >&2
    fi
}

has_target() { [ -d "$(rustc --print target-libdir --target "$1" 2>/dev/null)" ]; }

docs() { RUSTDOCFLAGS="-D warnings" cargo doc --workspace --all-features --no-deps; }

# -p, never the workspace: host crates do not build for a board, and features would be unified with theirs.
bare() {
    local t
    for t in "${targets[@]}"; do
        cargo build -p timing-core --target "$t"
        cargo build -p timing-core --target "$t" --features serde,defmt,embedded-hal
        cargo clippy -p firmware-example -p nopanic --bins --target "$t" -- -D warnings
        cargo clippy -p firmware-example --bin log --features emulated-log --target "$t" -- -D warnings
        cargo clippy -p nopanic --bins --features parts --target "$t" -- -D warnings
    done
    # The program for a real board: built, because nobody here can run it.
    cargo build -p firmware-example --bin stm32f411 --features stm32f411 --profile firmware --target thumbv7em-none-eabihf
}

fetch_tools

missing_targets=""
for t in "${targets[@]}"; do has_target "$t" || missing_targets+=" $t"; done

check fmt cargo fmt --all --check
check clippy cargo clippy --workspace --all-targets --all-features -- -D warnings
# Optimised, because the tests run the modelled line for simulated hours; with checks for overflow and for the core's inner
# rules kept on; not across crates, which would take longer to build than it saves.
check test env CARGO_PROFILE_RELEASE_DEBUG_ASSERTIONS=true CARGO_PROFILE_RELEASE_OVERFLOW_CHECKS=true \
    CARGO_PROFILE_RELEASE_LTO=off CARGO_PROFILE_RELEASE_CODEGEN_UNITS=16 \
    cargo test --release --workspace --all-features --target-dir target/checked
check explore tests/explore.sh
check doc docs
if [ -z "$missing_targets" ]; then
    check no-std bare
    check no-panic tests/no_panic.sh
    if have qemu-system-arm; then
        check firmware tests/firmware.sh
        check lockstep tests/lockstep.sh
        check budget tests/budget.sh
        check log tests/log.sh
    else
        for n in firmware lockstep budget log; do skip "$n" "no qemu-system-arm; on Debian: apt-get install qemu-system-arm"; done
    fi
else
    for n in no-std no-panic firmware lockstep budget log; do skip "$n" "no Rust target$missing_targets; rustup target add$missing_targets"; done
fi
check generated cargo run --quiet -p tests --bin gen-docs -- --check
if have mdbook; then
    check book mdbook build docs
else
    skip book "no mdbook; cargo install --locked mdbook"
fi
if have cargo-deny; then
    check deny cargo deny check licenses bans sources
else
    skip deny "no cargo-deny; cargo install --locked cargo-deny"
fi

printf '\n%-10s %-8s %6s  %s\n' check result time note
failed=0
for i in "${!names[@]}"; do
    printf '%-10s %-8s %5ss  %s\n' "${names[$i]}" "${results[$i]}" "${took[$i]}" "${notes[$i]}"
    if [ "${results[$i]}" = FAILED ]; then failed=$((failed + 1)); fi
done
if [ "${#names[@]}" -eq 0 ]; then
    echo "no check has that name" >&2
    exit 2
fi
if [ "$failed" -ne 0 ]; then
    echo "$failed failed" >&2
    exit 1
fi
