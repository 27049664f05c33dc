#!/usr/bin/env bash
# The same inputs give the same bits everywhere: recorded inputs run through the core as built in several ways, and a table of the digests over every
# tick. Fails on the first difference; what cannot run here says SKIPPED and why.
#
#   tests/digests.sh            debug, release, opt-level s, 32-bit host, emulated Cortex-M0 and Cortex-M4
#   tests/digests.sh --miri     besides, shorter recordings under Miri: 64 bits, 32 bits, and big-endian (needs a nightly compiler with miri; minutes)
#
# The recordings are those of tests/firmware.sh (drawn wires, rehearsals of three jobs) and one that is struck by everything at once. It is
# no part of tests/all.sh: the boards are compared there by firmware and lockstep, and this builds the same program four times more.
set -euo pipefail
cd "$(dirname "$0")/.."
miri=no
case "${1:-}" in
"") ;;
--miri) miri=yes ;;
*) echo "usage: tests/digests.sh [--miri]" >&2; exit 2 ;;
esac
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

out=${CARGO_TARGET_DIR:-target}
build() { cargo build --quiet -p firmware-example --bin emulated "$@" >&2; }
on_board() { # MACHINE TARGET FILE
    timeout 300 qemu-system-arm -M "$1" -display none -monitor none -nic none -serial null \
        -semihosting-config "enable=on,target=native,arg=emulated,arg=$3" -kernel "$out/$2/firmware/emulated" </dev/null 2> >(grep -v "has no peer" >&2)
}

# Each way: a word, and a function of that word that runs a file.
ways=() skipped=()
skip() { skipped+=("$1: SKIPPED, $2"); }
has_target() { [ -d "$(rustc --print target-libdir --target "$1" 2>/dev/null)" ]; }

build && ways+=(debug)
debug() { "$out/debug/emulated" "$1"; }
build --release && ways+=(release)
release() { "$out/release/emulated" "$1"; }
build --profile firmware && ways+=(opt-s)
opt-s() { "$out/firmware/emulated" "$1"; }

# 32 bits: statically linked by the linker that comes with the compiler, so that no C compiler for 32 bits is needed.
x86=i686-unknown-linux-musl
if has_target $x86; then
    RUSTFLAGS="-C linker=rust-lld" build --release --target $x86 && ways+=(32-bit)
else
    skip 32-bit "no Rust target $x86; rustup target add $x86"
fi
32-bit() { "$out/$x86/release/emulated" "$1"; }

for board in cortex-m0:thumbv6m-none-eabi cortex-m4:thumbv7em-none-eabihf; do
    t=${board#*:}
    if ! command -v qemu-system-arm >/dev/null; then
        skip "${board%:*}" "no qemu-system-arm; on Debian: apt-get install qemu-system-arm"
    elif ! has_target "$t"; then
        skip "${board%:*}" "no Rust target $t; rustup target add $t"
    else
        build --profile firmware --target "$t" && ways+=("${board%:*}")
    fi
done
cortex-m0() { on_board microbit thumbv6m-none-eabi "$1"; }
cortex-m4() { on_board mps2-an386 thumbv7em-none-eabihf "$1"; }

under_miri() { # TARGET FILE
    MIRIFLAGS=-Zmiri-disable-isolation CARGO_TARGET_DIR=$out/miri cargo +nightly miri run --quiet -p firmware-example --bin emulated \
        --target "$1" -- "$2" 2>"$work/miri.log" || { cat "$work/miri.log" >&2; return 1; }
}
miri-64() { under_miri x86_64-unknown-linux-gnu "$1"; }
miri-32() { under_miri i686-unknown-linux-gnu "$1"; }
miri-big-endian() { under_miri s390x-unknown-linux-gnu "$1"; }

# compare FILE WAY…: one row a way.
compare() {
    local file=$1 way first="" seen
    shift
    for way in "$@"; do
        "$way" "$file" >"$work/seen" || { echo "$(basename "$file"), $way: it ended with an error" >&2; exit 1; }
        seen=$(sed -n 's/^ticks //p; s/^digest //p; s/^trace_digest //p' "$work/seen" | paste -sd' ')
        # shellcheck disable=SC2086
        printf '%-28s %-16s %9s  %s  %s\n' "$(basename "$file" .bin)" "$way" $seen
        [ -n "$first" ] || first=$seen
        [ "$seen" = "$first" ] || { echo "$(basename "$file"): $way differs" >&2; exit 1; }
    done
}

cargo build --quiet --release -p tests --bin wires
cargo build --quiet --release -p host-sim --bin capcycle
wires() { "$out/release/wires" "$@" >/dev/null 2>&1; }

printf '%-28s %-16s %9s  %-16s  %s\n' recording built ticks digest 'every tick'
for seed in 1 2 3; do
    wires $seed 20000 "$work/wires-$seed.bin"
    compare "$work/wires-$seed.bin" "${ways[@]}"
done
wires 4 20000 "$work/struck-4.bin" struck
compare "$work/struck-4.bin" "${ways[@]}"
for job in steady-day jam-cleared early-release-late-head; do
    # 1 is a verdict (a job may be meant to end badly); only 2, a wrong input, is a failure here.
    "$out/release/capcycle" run "host-sim/jobs/$job.toml" --inputs "$work/$job.bin" --json >/dev/null || [ "$?" -eq 1 ]
    compare "$work/$job.bin" "${ways[@]}"
done
if [ "$miri" = yes ]; then
    for seed in 5 6; do
        wires $seed 2000 "$work/short-$seed.bin"
        compare "$work/short-$seed.bin" release miri-64 miri-32 miri-big-endian
    done
    wires 7 2000 "$work/short-struck-7.bin" struck
    compare "$work/short-struck-7.bin" release miri-64 miri-32 miri-big-endian
else
    skip miri "not asked for; tests/digests.sh --miri"
fi
# It must fail where something differs, or all of the above could pass on nothing.
other() { release "$work/wires-2.bin"; }
if (compare "$work/wires-1.bin" release other) >/dev/null 2>&1; then
    echo "two different recordings passed for equal" >&2
    exit 1
fi
[ "${#skipped[@]}" -eq 0 ] || printf '%s\n' "${skipped[@]}"
echo "equal in all of: ${ways[*]}"
