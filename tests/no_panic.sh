#!/usr/bin/env bash
# The core cannot panic, and its tick divides no 64-bit number: both seen in what is linked for two boards.
#
# tests/nopanic links the core with a panic handler that calls a function without a body. A panic that can be reached is
# an undefined symbol, so the link fails and says from where. Division is seen in the names that remain in the program.
# The check is first shown a planted panic and a planted division: if it does not see them, it proves nothing.
set -euo pipefail
cd "$(dirname "$0")/.."

targets=(thumbv6m-none-eabi thumbv7em-none-eabihf)
panicking='core9panicking|panic_fmt|panic_bounds_check|panic_nounwind|unwrap_failed|expect_failed|slice_.*index.*fail|len_mismatch_fail|a_panic_can_be_reached|rust_begin_unwind'
dividing='__aeabi_uldivmod|__aeabi_ldivmod|__udivdi3|__divdi3|__umoddi3|__moddi3|__udivmoddi4|u64_div_rem|__aeabi_[fd](add|sub|mul|div)|__(add|sub|mul|div)[sd]f3'

tool() { # NAME: the one that came with the compiler, else the system's
    local found
    found=$(find "$(rustc --print sysroot)" -name "llvm-$1" -type f 2>/dev/null | head -n1)
    [ -n "$found" ] || found=$(command -v "llvm-$1" || command -v "arm-none-eabi-$1" || true)
    echo "$found"
}
nm=$(tool nm)
[ -n "$nm" ] || { echo "no nm that reads ARM programs: rustup component add llvm-tools" >&2; exit 2; }

link() { # TARGET BIN [FEATURES]
    cargo build --quiet -p nopanic --profile firmware --target "$1" --bin "$2" ${3:+--features "$3"} \
        --target-dir target/nopanic
}
names() { "$nm" --demangle "target/nopanic/$1/firmware/$2" | awk '{ $1 = ""; print }'; }

# Where in the source a panic can be reached: links it after all, and lists the calls into panicking code, innermost first.
explain() { # TARGET BIN
    local dump lines program=target/nopanic/$1/firmware/$2
    dump=$(tool objdump)
    lines=$(tool addr2line)
    [ -n "$dump" ] || { echo "  (for the places: rustup component add llvm-tools)"; return 0; }
    link "$1" "$2" let-through 2>/dev/null || return 0
    "$dump" --demangle -d -l --no-show-raw-insn "$program" |
        awk -v bad="$panicking" '
            /^[0-9a-f]+ <[^$].*>:$/ { inside = $0 }
            /^; .*:[0-9]+$/ { line = $2 }
            $2 ~ /^b/ && $0 ~ bad && inside !~ bad { sub(/:$/, "", $1); print $1, line }' |
        while read -r address line; do
            if [ -n "$lines" ]; then
                "$lines" --inlines --functions --demangle --pretty-print -e "$program" "0x$address" | sed 's/^/  /'
            else
                echo "  $line"
            fi
        done
}

fail=0
log=$(mktemp)
trap 'rm -f "$log"' EXIT
for t in "${targets[@]}"; do
    # Planted: must not link for the panic; must show the division once the panic is let through.
    if link "$t" tick planted 2>"$log"; then
        echo "$t: the planted panic was linked without a word: this check is blind" >&2
        exit 1
    fi
    grep -q 'undefined symbol: a_panic_can_be_reached' "$log" || {
        cat "$log" >&2
        echo "$t: the planted build failed for another reason than its panic" >&2
        exit 1
    }
    link "$t" tick planted,let-through
    names "$t" tick >"$log"
    grep -qE "$dividing" "$log" || { echo "$t: the planted division is not seen: this check is blind" >&2; exit 1; }
    grep -qE "$panicking" "$log" || { echo "$t: the planted panic has no name: this check is blind" >&2; exit 1; }

    for bin in whole tick recorder; do
        if ! link "$t" "$bin" 2>"$log"; then
            if grep -q 'undefined symbol: a_panic_can_be_reached' "$log"; then
                echo "$t $bin: a panic can be reached from" >&2
                explain "$t" "$bin" >&2
            else
                cat "$log" >&2
                echo "$t $bin: does not link" >&2
            fi
            fail=1
            continue
        fi
        names "$t" "$bin" >"$log"
        if grep -E "$panicking" "$log"; then
            echo "$t $bin: the panicking names above are linked in" >&2
            fail=1
        fi
        # A check that finds an empty program clean would be blind too.
        grep -qE ' [Tt] .*entry' "$log" || { echo "$t $bin: no entry in the program" >&2; fail=1; }
        if [ "$bin" != whole ] && grep -E "$dividing" "$log"; then
            echo "$t $bin: 64-bit division or floating point is linked into the tick" >&2
            fail=1
        fi
        echo "$t $bin: $(wc -l <"$log") names, none panicking"
    done
done
exit "$fail"
