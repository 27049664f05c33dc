#!/usr/bin/env bash
# Firmware in the loop: emulated boards tick through what the rehearsals of all shipped jobs gave the core, and every output of every tick is
# compared with the core's here; then once more over a link whose frames are lost, cut, doubled and corrupted; then a firmware whose tick hangs.
set -euo pipefail
cd "$(dirname "$0")/.."

declare -A boards=([microbit]=thumbv6m-none-eabi [mps2-an386]=thumbv7em-none-eabihf)
seeds=${SEEDS:-5}
command -v qemu-system-arm >/dev/null || { echo "no qemu-system-arm; on Debian: apt-get install qemu-system-arm" >&2; exit 2; }

cargo build --quiet --release -p host-sim --bin capcycle
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
total=0
for board in "${!boards[@]}"; do
    target=${boards[$board]}
    cargo build --quiet -p firmware-example --bin emulated --profile firmware --target "$target"
    loop() { target/release/capcycle lockstep --emulator "$board" --firmware "$1" --quiet "${@:2}"; }
    firmware=target/$target/firmware/emulated
    loop "$firmware" host-sim/jobs/*.toml --seeds "$seeds" | tee "$work/told"
    total=$((total + $(sed -nE 's/.*: ([0-9]+) ticks compared, 0 differences.*/\1/p' "$work/told")))
    loop "$firmware" host-sim/jobs/*.toml --link-faults 7

    # A tick that hangs starves the watchdog: the outputs go off, and the desk is told.
    cargo build --quiet -p firmware-example --bin emulated --profile firmware --target "$target" --features stuck-tick \
        --target-dir target/stuck
    if loop "target/stuck/$target/firmware/emulated" host-sim/jobs/steady-day.toml >"$work/told" 2>&1; then
        echo "$board: a tick that hangs was not noticed" >&2
        exit 1
    fi
    grep -E 'watchdog: a tick did not end; coils were 0x[0-9a-f]*[1-9a-f][0-9a-f]* and are off' "$work/told" || {
        cat "$work/told" >&2
        echo "$board: the watchdog did not put the outputs off" >&2
        exit 1
    }
done
echo "$total ticks compared on ${!boards[*]}, every output the same"
[ "$seeds" -lt 5 ] || [ "$total" -ge 1000000 ] || { echo "fewer than a million ticks: the jobs have become shorter" >&2; exit 1; }
