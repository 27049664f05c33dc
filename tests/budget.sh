#!/usr/bin/env bash
# What the core costs on a small controller, in one table: instructions of its ticks on emulated boards (repeatable counts), bytes of station, stack
# and flash. Each figure is held against the last one that was accepted, in tests/budgets.txt: 2 % more is an error.
#
#   tests/budget.sh            count and compare; flash at opt-level 3, of the link and of products only with --full
#   tests/budget.sh --bless    count, and take these figures from now on (then say why in the commit)
#
# Quiet: a tick at which nothing is due. Deciding: one that went through all stages. Worst in jobs: over all shipped jobs. Struck: drawn wires that change
# all at once, pins that fail, counters that jump.
set -euo pipefail
cd "$(dirname "$0")/.."

declare -A boards=([M0]=microbit [M4]=mps2-an386)
declare -A targets=([M0]=thumbv6m-none-eabi [M4]=thumbv7em-none-eabihf)
golden=tests/budgets.txt
full=no
case "${1:-}" in --full | --bless) full=yes ;; esac
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
command -v qemu-system-arm >/dev/null || { echo "no qemu-system-arm; on Debian: apt-get install qemu-system-arm" >&2; exit 2; }
size=$(find "$(rustc --print sysroot)" -name llvm-size -type f | head -n1)
[ -n "$size" ] || { echo "no llvm-size: rustup component add llvm-tools" >&2; exit 2; }

cargo build --quiet --release -p host-sim --bin capcycle
cargo build --quiet --release -p tests --bin wires
for job in host-sim/jobs/*.toml; do
    # 1 is a verdict (a job may be meant to end badly); only 2, a wrong input, is a failure here.
    target/release/capcycle run "$job" --inputs "$work/one.bin" --force --json >/dev/null || [ "$?" -eq 1 ]
    cat "$work/one.bin" >>"$work/jobs.bin"
done
for seed in 1 2 3; do
    target/release/wires "$seed" 20000 "$work/one.bin" struck >/dev/null 2>&1
    cat "$work/one.bin" >>"$work/struck.bin"
done

count() { # BOARD FILE: figures, one a line
    timeout 600 qemu-system-arm -M "${boards[$1]}" -icount shift=10 -display none -monitor none -nic none -serial null \
        -semihosting-config "enable=on,target=native,arg=budget,arg=$2" \
        -kernel "target/${targets[$1]}/firmware/budget" </dev/null 2>"$work/err" >"$work/out" || { cat "$work/err" >&2; exit 1; }
    awk '/^ticks/ { t += $2; s += $4; if ($6 > most) most = $6; d += $10; ds += $12; q += $14; qs += $16; next }
        { print }
        END { printf "mean %.0f\nworst %d\ndeciding %.0f\nquiet %.0f\n", s / t, most, ds / d, qs / q }' "$work/out"
}

flash() { # BOARD LEVEL BIN: bytes of code and constants of a program that holds the tick, or the whole core with its checks, and nothing else
    CARGO_PROFILE_FIRMWARE_OPT_LEVEL=$2 cargo build --quiet -p nopanic --profile firmware --target "${targets[$1]}" --bin "$3" \
        --target-dir "target/flash-$2"
    "$size" -A "target/flash-$2/${targets[$1]}/firmware/$3" | awk '$1 == ".text" || $1 == ".rodata" { n += $2 } END { print n }'
}

# BOARD: what the board's end of a link, and products in flash, add to the same program. Built as one, so that all hold the same core.
parts() {
    local bin
    for bin in whole link products; do
        cargo build --quiet -p nopanic --profile firmware --target "${targets[$1]}" --bin "$bin" --features parts --target-dir target/flash-parts
        "$size" -A "target/flash-parts/${targets[$1]}/firmware/$bin" | awk -v bin="$bin" '$1 == ".text" || $1 == ".rodata" { n += $2 } END { print bin, n }'
    done | awk -v b="$1" '{ n[$1] = $2 } END { print b, "flash-link-bytes", n["link"] - n["whole"]; print b, "flash-products-bytes", n["products"] - n["whole"] }'
}

for b in M0 M4; do
    cargo build --quiet -p firmware-example --bin budget --profile firmware --target "${targets[$b]}"
    count "$b" "$work/jobs.bin" >"$work/jobs"
    count "$b" "$work/struck.bin" >"$work/struck"
    figure() { sed -nE "s/^$1 //p" "$work/$2"; }
    deeper() { printf '%s\n' "$(figure stack_bytes jobs)" "$(figure stack_bytes struck)" | sort -n | tail -n1; }
    {
        echo "$b quiet $(figure quiet jobs)"
        echo "$b mean $(figure mean jobs)"
        echo "$b deciding $(figure deciding jobs)"
        echo "$b worst-in-jobs $(figure worst jobs)"
        echo "$b worst-struck $(figure worst struck)"
        echo "$b station-bytes $(figure station_bytes jobs)"
        echo "$b stack-bytes $(deeper)"
        echo "$b flash-s-bytes $(flash "$b" s tick)"
        echo "$b flash-s-checks-bytes $(flash "$b" s whole)"
        # Optimised for speed it is another build of everything: when it is asked for, not in every check.
        if [ "$full" = yes ]; then
            echo "$b flash-3-bytes $(flash "$b" 3 tick)"
            parts "$b"
        fi
    } >>"$work/seen"
done

awk '{ v[$1, $2] = $3; if ($1 == "M0") order[++n] = $2 }
    END { printf "%-20s %9s %9s %14s\n", "figure", "M0", "M4", "M4 at 48 MHz"
        for (i = 1; i <= n; i++) { f = order[i]; us = f ~ /bytes/ ? "" : sprintf("%8.1f µs", v["M4", f] / 48)
            printf "%-20s %9d %9d %14s\n", f, v["M0", f], v["M4", f], us } }' "$work/seen"
echo "(at one instruction a cycle, which is the least a processor takes)"
[ "$full" = yes ] || echo "SKIPPED: flash at opt-level 3, of the link, of products (tests/budget.sh --full)"

if [ "${1:-}" = --bless ]; then
    cp "$work/seen" "$golden"
    echo "accepted: $golden"
    exit 0
fi
awk 'NR == FNR { was[$1, $2] = $3; next }
    !(($1, $2) in was) { print $1, $2 ": never accepted"; bad = 1; next }
    $3 > was[$1, $2] * 1.02 { print $1, $2 ": " $3 ", was " was[$1, $2]; bad = 1 }
    $3 < was[$1, $2] * 0.98 { print $1, $2 ": " $3 ", was " was[$1, $2] " (better: accept it)" }
    END { exit bad }' "$golden" "$work/seen" || {
    echo "more than 2 % above what was accepted; if that is meant: tests/budget.sh --bless, and say why" >&2
    exit 1
}
