#!/usr/bin/env bash
# Broken controllers, each of which must be caught: a harness that has never failed proves nothing.
#
# Each line of tests/broken.txt is put into a copy of the workspace: one place of the core's source is changed. Then the soak runs on it
# (profile wild, from seed 1 on); if that sees nothing, the timelines of the rules do, then the shipped jobs, then the core's own unit tests. The table
# says who caught it first, and how soon. The rule that the soak names need not be the one that was broken: look at it where it is another.
#
#   tests/broken.sh            all of them (half an hour on a desk; no part of CI)
#   tests/broken.sh WORD…      only those whose name has one of these words
#
# RUNS says how many runs the soak may take (300).
set -euo pipefail
cd "$(dirname "$0")/.."
runs=${RUNS:-300}
copy=$(mktemp -d)
trap 'rm -rf "$copy"' EXIT
tar --exclude=./target --exclude=./.git -cf - . | tar -xf - -C "$copy"
# What is built of other people's crates need not be built again.
if [ -d target/debug ]; then mkdir -p "$copy/target" && cp -a target/debug "$copy/target/"; fi

wanted() { # NAME WORD…
    local name=$1 w
    shift
    [ $# -eq 0 ] && return 0
    for w in "$@"; do case "$name" in *"$w"*) return 0 ;; esac; done
    return 1
}

change() { # FILE OLD NEW: exactly one place, literally
    FROM=$2 TO=$3 perl -0pi -e '
        my ($from, $to) = ($ENV{FROM}, $ENV{TO});
        s/\\n/\n/g for ($from, $to);
        my $n = () = /\Q$from\E/g;
        if ($n != 1) { print STDERR "found $n times: $from\n"; exit 3 }
        s/\Q$from\E/$to/;
    ' "$copy/timing-core/src/$1"
}

soak() { (cd "$copy" && ./target/debug/capcycle soak "$@" --fail-fast --no-shrink --json 2>/dev/null) || true; }
first() { grep -o '"failed_seeds":\[[0-9]*' | grep -o '[0-9]*$' || true; }
rule() { grep -o '"rule":[0-9]*' | head -n1 | grep -o '[0-9]*$' || true; }
name_rule() { if [ "$1" = 0 ]; then echo "liveness"; else echo "R$1"; fi; }

(cd "$copy" && cargo build --quiet -p host-sim)
if [ -n "$(soak --runs "$runs" | first)" ]; then
    echo "the controller as it is fails within $runs runs: mend that first" >&2
    exit 1
fi

missed=0
printf '%-62s %-12s %s\n' 'broken controller' 'caught by' 'how soon'
while IFS=$'\t' read -r name file old new; do
    case "$name" in '' | \#*) continue ;; esac
    wanted "$name" "$@" || continue
    cp "timing-core/src/$file" "$copy/timing-core/src/$file"
    change "$file" "$old" "$new"
    (cd "$copy" && cargo build --quiet -p host-sim 2>/dev/null) || { echo "$name: does not build" >&2; exit 2; }
    from=$(date +%s)
    said=$(soak --runs "$runs")
    seed=$(first <<<"$said")
    if [ -n "$seed" ]; then
        printf '%-62s %-12s %s\n' "$name" "soak" "run $seed, $(name_rule "$(rule <<<"$said")"), $(($(date +%s) - from)) s"
    else
        by="" n=0
        for stage in "timelines -p tests --test all rules_" "jobs -p tests --test all jobs::" "units -p timing-core --lib"; do
            # shellcheck disable=SC2086
            out=$(cd "$copy" && cargo test --quiet ${stage#* } 2>&1) && continue
            n=$(grep -c '^    [a-z_]*::' <<<"$out" || true)
            [ "$n" -gt 0 ] && { by=${stage%% *}; break; }
        done
        if [ -n "$by" ]; then
            printf '%-62s %-12s %s\n' "$name" "$by" "$n tests; not in $runs runs"
        else
            printf '%-62s %-12s %s\n' "$name" "NOBODY" "not in $runs runs, nor by timelines, jobs and units"
            missed=$((missed + 1))
        fi
    fi
    cp "timing-core/src/$file" "$copy/timing-core/src/$file"
    touch "$copy/timing-core/src/$file"
done <tests/broken.txt
[ "$missed" -eq 0 ] || { echo "$missed broken controllers were caught by nobody" >&2; exit 1; }
