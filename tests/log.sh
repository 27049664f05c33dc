#!/usr/bin/env bash
# A firmware's log, as a person reads it: an emulated board tells each kind of line, its bytes are formatted here, and the lines are compared with those
# agreed on.
#
#   tests/log.sh            compare with tests/golden/log.txt; BLESS=1 renews it
set -euo pipefail
cd "$(dirname "$0")/.."

golden=tests/golden/log.txt
target=thumbv7em-none-eabihf
firmware=target/log/$target/firmware/log
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
command -v qemu-system-arm >/dev/null || { echo "no qemu-system-arm; on Debian: apt-get install qemu-system-arm" >&2; exit 2; }

# The level is settled when it is built; in a folder of its own, so that no other build is made anew for it.
DEFMT_LOG=debug cargo build --quiet -p firmware-example --bin log --features emulated-log --profile firmware --target "$target" \
    --target-dir target/log
cargo build --quiet -p log-lines
timeout 300 qemu-system-arm -M mps2-an386 -display none -monitor none -nic none -serial null -semihosting-config enable=on,target=native \
    -kernel "$firmware" </dev/null >"$work/bytes" 2>"$work/err" || { cat "$work/err" >&2; echo "the board ended with an error" >&2; exit 1; }
target/debug/log-lines "$firmware" <"$work/bytes" >"$work/lines"

if [ -n "${BLESS:-}" ]; then
    cp "$work/lines" "$golden"
    echo "accepted: $golden"
    exit 0
fi
diff -u --label "$golden" "$golden" --label "as the board told it" "$work/lines" || {
    echo "the log reads otherwise than was agreed; if that is meant: BLESS=1 tests/log.sh, and say why" >&2
    exit 1
}
echo "$(wc -l <"$golden") lines of $(wc -c <"$work/bytes") bytes read as agreed"
