#!/usr/bin/env bash
# Fuzzes every way in (tests/fuzzed) and prints, for each target, executions and findings. Needs a nightly compiler and cargo-fuzz; no part
# of tests/all.sh, which runs what is kept of it (tests/fuzz_kept.rs).
#
#   tests/fuzz.sh [SECONDS]              each target for so long (60), one after the other
#   tests/fuzz.sh SECONDS TARGET…        only these
#   tests/fuzz.sh --keep [TARGET…]       afterwards: the corpus grown so far, minimised, into tests/fuzz/corpus
#
# Built without a sanitizer: unsafe code is forbidden in all that is fuzzed, and so it is several times faster. Overflow and the core's inner
# rules are checked. A finding is left in tests/fuzz/artifacts; once it is mended, its input goes to tests/fuzz/found/TARGET under a name
# that says what was wrong. Target directory: CARGO_TARGET_DIR, else tests/fuzz/target; what grows lies there as well. With FUZZ_BUILT=DIR the
# programs there are run and nothing is built, so that a long campaign is of one commit.
set -euo pipefail
cd "$(dirname "$0")/fuzz"

all=(job record flash board desk core capture recording)
files=100 bytes=1024
grown=${CARGO_TARGET_DIR:-$PWD/target}/grown
host=$(rustc -vV | sed -n 's/^host: //p')

cargo fuzz --version >/dev/null 2>&1 || { echo "no cargo-fuzz; cargo install --locked cargo-fuzz" >&2; exit 2; }
cargo +nightly --version >/dev/null 2>&1 || { echo "no nightly compiler; rustup toolchain install nightly" >&2; exit 2; }

keep=no seconds=60
case "${1:-}" in
--keep) keep=yes; shift ;;
"") ;;
*[!0-9]*) echo "usage: tests/fuzz.sh [SECONDS [TARGET…]] | --keep [TARGET…]" >&2; exit 2 ;;
*) seconds=$1; shift ;;
esac
targets=("${@:-${all[@]}}")
[ "$#" -gt 0 ] || targets=("${all[@]}")

[ -n "${FUZZ_BUILT:-}" ] || cargo +nightly fuzz build --fuzz-dir . -s none >&2
binary() { echo "${FUZZ_BUILT:-${CARGO_TARGET_DIR:-target}/$host/release}/$1"; }

# The smallest files that together reach what all of them reach, then the first so many.
keep_of() { # TARGET
    local t=$1 work
    work=$(mktemp -d)
    mkdir -p "corpus/$t"
    "$(binary "$t")" -merge=1 -max_len=$bytes "$work" "seeds/$t" "corpus/$t" "$grown/$t" >/dev/null 2>&1
    rm -rf "corpus/$t"
    mkdir -p "corpus/$t"
    # Evenly from small to large, not the smallest alone: those that get far are long.
    find "$work" -type f -size "-$((bytes + 1))c" -printf '%s %p\n' | sort -n | awk '{print $2}' >"$work.list"
    local n
    n=$(wc -l <"$work.list")
    awk -v n="$n" -v want=$files 'n <= want || int((NR - 1) * want / n) != int(NR * want / n)' "$work.list" | head -n $files |
        xargs -r cp -t "corpus/$t"
    echo "$t: $n files reach all that is reached; $(find "corpus/$t" -type f | wc -l) kept"
    rm -rf "$work" "$work.list"
}

if [ "$keep" = yes ]; then
    for t in "${targets[@]}"; do keep_of "$t"; done
    exit 0
fi

printf '%-9s %12s %8s %10s %8s %9s\n' target executions seconds "per second" reached findings
bad=0
for t in "${targets[@]}"; do
    mkdir -p "$grown/$t" "corpus/$t" "artifacts/$t"
    log=$grown/$t.log
    # An input takes a millisecond or less; ten seconds are a finding, as a panic is.
    "$(binary "$t")" "$grown/$t" "seeds/$t" "corpus/$t" -max_total_time="$seconds" -max_len=$bytes -timeout=10 -rss_limit_mb=4096 \
        -artifact_prefix="artifacts/$t/" -print_final_stats=1 >"$log" 2>&1 || true
    runs=$(sed -n 's/^stat::number_of_executed_units: *//p' "$log")
    rate=$(sed -n 's/^stat::average_exec_per_sec: *//p' "$log")
    reached=$(grep -o ' cov: [0-9]*' "$log" | tail -n1 | grep -o '[0-9]*' || echo 0)
    took=$(sed -n 's/^Done [0-9]* runs in \([0-9]*\) second.*/\1/p' "$log")
    found=$(find "artifacts/$t" -type f | wc -l)
    printf '%-9s %12s %8s %10s %8s %9s\n' "$t" "${runs:-?}" "${took:-ended}" "${rate:-?}" "$reached" "$found"
    if [ "$found" -gt 0 ] || [ -z "$took" ]; then
        bad=1
        echo "  see $log" >&2
    fi
done
exit $bad
