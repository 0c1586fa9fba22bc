#!/usr/bin/env bash
# Tests in a Linux kernel of their own, as few build machines have CAN: Debian's user-mode-linux is a kernel that runs as a
# process on this machine's files. Build first. `run.sh [words of vitest…]`; needs root, as the kernel's first process is
# a script of ours. Without the programs one line says so; with CI=true that fails.
set -euo pipefail
cd "$(dirname "$0")/../.."

missing=()
for program in linux.uml insmod ip candump canplayer slcan_attach mosquitto python3; do
  command -v "$program" >/dev/null || missing+=("$program")
done
[ "$(id -u)" -eq 0 ] || missing+=(root)
if [ ${#missing[@]} -gt 0 ]; then
  echo "skipped: tests in a real kernel need ${missing[*]} (Debian: user-mode-linux kmod iproute2 can-utils mosquitto)"
  [ "${CI:-}" != true ]
  exit
fi
[ -f dist/axlepost.js ] || { echo 'dist/ is not built; npm run test:kernel builds it'; exit 1; }

shared=$(realpath -m "${AXLEPOST_SHARED:-../shared}")
words=$*
if [ -z "${KERNEL_COMMAND:-}" ] && [ ! -f "$shared/data/road-truck/normal.log" ] && [ "${CI:-}" != true ]; then
  echo "skipped: tests/kernel/events.guest.ts needs the recordings; none in $shared (AXLEPOST_SHARED)"
  words+=' --exclude tests/kernel/events.guest.ts'
fi
command=${KERNEL_COMMAND:-node_modules/.bin/vitest run --config tests/kernel/vitest.config.ts}
results=dist/kernel-results.json
messages=dist/kernel-messages
rm -f "$results"
# What the kernel does not know it hands to its first process as environment. The limit is for a kernel that hangs.
timeout --kill-after=10 "${KERNEL_SECONDS:-900}" linux.uml mem=1024M root=/dev/root rootfstype=hostfs \
  rootflags=/ rw init="$PWD/tests/kernel/init.sh" con=null con0=null,fd:1 con1=fd:0,fd:1 quiet loglevel=0 \
  AXLEPOST_SHARED="\"$shared\"" CI="${CI:-}" KERNEL_PATH="\"$PATH\"" KERNEL_COMMAND="\"$command $words\"" \
  </dev/null 2>"$messages" || true
[ -z "${KERNEL_COMMAND:-}" ] || exit 0
[ -f "$results" ] || { tail -n 20 "$messages"; echo 'the kernel ended without results'; echo '0 passed, 1 failed'; exit 1; }
read -r passed failed <<<"$(node .ci/counts.js "$results")"
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
