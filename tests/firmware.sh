#!/usr/bin/env bash
# The same core over the same inputs gives the same bits on this host, on a Cortex-M0 and on a Cortex-M4, emulated.
#
#   tests/firmware.sh                 drawn recordings, and the rehearsals of three jobs (all of them: tests/lockstep.sh)
#   tests/firmware.sh FILE…           these files of recorded inputs only
set -euo pipefail
cd "$(dirname "$0")/.."

declare -A boards=([thumbv6m-none-eabi]=microbit [thumbv7em-none-eabihf]=mps2-an386)
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

command -v qemu-system-arm >/dev/null || { echo "no qemu-system-arm; on Debian: apt-get install qemu-system-arm" >&2; exit 2; }

for t in "${!boards[@]}"; do
    cargo build --quiet -p firmware-example --bin emulated --profile firmware --target "$t"
done
cargo build --quiet --release -p firmware-example --bin emulated

on_board() { # TARGET FILE
    timeout 300 qemu-system-arm -M "${boards[$1]}" -display none -monitor none -nic none -serial null \
        -semihosting-config "enable=on,target=native,arg=emulated,arg=$2" \
        -kernel "target/$1/firmware/emulated" </dev/null
}

# compare FILE EXPECTED: EXPECTED holds the lines that the recording host printed.
compare() {
    local t
    for t in host "${!boards[@]}"; do
        if [ "$t" = host ]; then target/release/emulated "$1" >"$work/seen"; else on_board "$t" "$1" >"$work/seen"; fi ||
            { echo "$1 on $t: it ended with an error" >&2; exit 1; }
        diff -u --label expected "$2" --label "$t" "$work/seen" || { echo "$1: $t differs" >&2; exit 1; }
    done
    echo "$(basename "$1"): $(tr '\n' ' ' <"$2")— the same on host, ${boards[*]}"
}

if [ "$#" -gt 0 ]; then
    for file in "$@"; do
        target/release/emulated "$file" >"$work/expected"
        compare "$file" "$work/expected"
    done
    exit 0
fi

cargo build --quiet --release -p tests --bin wires
for seed in 1 2 3; do
    target/release/wires "$seed" 20000 "$work/wires-$seed.bin" >"$work/expected"
    compare "$work/wires-$seed.bin" "$work/expected"
done

# What a rehearsal says of itself, and what its recorded inputs give elsewhere.
cargo build --quiet --release -p host-sim --bin capcycle
json() { sed -nE "s/.*\"$1\": *\"?([0-9a-f]+)\"?.*/\1/p" "$2" | head -n1; }
for job in host-sim/jobs/{steady-day,jam-cleared,early-release-late-head}.toml; do
    file=$work/$(basename "$job" .toml).bin
    # 1 is a verdict (a job may be meant to end badly); only 2, a wrong input, is a failure here.
    target/release/capcycle run "$job" --inputs "$file" --json >"$work/run.json" || [ "$?" -eq 1 ]
    target/release/emulated "$file" >"$work/expected"
    for key in ticks digest; do
        told=$(json "$key" "$work/run.json")
        seen=$(sed -n "s/^$key //p" "$work/expected")
        [ -n "$told" ] && [ "$told" = "$seen" ] ||
            { echo "$job: the rehearsal says $key '$told', its recorded inputs give '$seen'" >&2; exit 1; }
    done
    compare "$file" "$work/expected"
done

# A file that is cut off must end in an error on a board too, or the comparisons above could pass on nothing.
head -c 3000 "$work/wires-1.bin" >"$work/short.bin"
for t in "${!boards[@]}"; do
    if on_board "$t" "$work/short.bin" >/dev/null 2>&1; then
        echo "$t: a file that is cut off ended well" >&2
        exit 1
    fi
done
