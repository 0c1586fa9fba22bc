#!/usr/bin/env bash
# Builds the container image and uses it, on a machine without a container engine and without a registry of images.
#   scripts/build-image.sh [FILE.tar]     FILE.tar: keep the image there, for "docker load" or "podman load"
# Needs Debian's buildah and debootstrap, npm, and root. The base image is a stand-in: Debian, and Node 24 from npm.
#   BASE=image scripts/build-image.sh     takes an image that buildah can get, and needs no debootstrap
set -euo pipefail
cd "$(dirname "$0")/.."

keep=${1:-}
scratch=$(mktemp -d)
trap 'buildah_ rm --all >/dev/null 2>&1 || true; rm -rf "$scratch"' EXIT
export BUILDAH_ISOLATION=chroot STORAGE_DRIVER=vfs

# Images and containers of the machine are none of our business: ours have a store of their own.
buildah_() { buildah --root "$scratch/images" --runroot "$scratch/run" "$@"; }

# Debian with Node in /usr/local, where the usual images have it too.
stand_in() {
  local root=$scratch/root mirror container arch
  case $(uname -m) in x86_64) arch=x64 ;; aarch64) arch=arm64 ;; *) echo "no Node package for $(uname -m)" >&2; return 1 ;; esac
  # The mirror that this machine uses itself, if it is a Debian.
  mirror=$(apt-get indextargets --format '$(SITE)' 'Codename: bookworm' 'Component: main' 2>/dev/null | sed -n 1p)
  debootstrap --variant=minbase bookworm "$root" ${mirror:+"$mirror"} >"$scratch/debootstrap" 2>&1 ||
    { tail -n 20 "$scratch/debootstrap" >&2; return 1; }
  rm -rf "$root"/var/cache/apt/archives/*.deb
  npm install --silent --no-save --prefix "$scratch/node" "node-linux-$arch@24"
  cp -r "$scratch/node/node_modules/node-linux-$arch"/{bin,include} "$root/usr/local/"
  mkdir -p "$root/usr/local/lib/node_modules"
  cp -r "$(npm root -g)/npm" "$root/usr/local/lib/node_modules/npm"
  ln -s ../lib/node_modules/npm/bin/npm-cli.js "$root/usr/local/bin/npm"
  container=$(buildah_ from scratch)
  # Behind a proxy with certificates of its own the machine's list of authorities is the one that works.
  if [ -f /etc/ssl/certs/ca-certificates.crt ]; then
    install -D -m 644 /etc/ssl/certs/ca-certificates.crt "$root/etc/ssl/certs/ca-certificates.crt"
    buildah_ config --env NODE_EXTRA_CA_CERTS=/etc/ssl/certs/ca-certificates.crt "$container"
  fi
  tar -C "$root" -cf "$scratch/root.tar" .
  rm -rf "$root"
  buildah_ add --quiet "$container" "$scratch/root.tar" / >/dev/null
  rm "$scratch/root.tar"
  buildah_ commit --quiet --rm "$container" axlepost-base >/dev/null
}

# inspect TEMPLATE: one fact of the image.
inspect() { buildah_ inspect --type image --format "{{$1}}" axlepost; }

# in_image [OPTION...] -- COMMAND...: runs in the built image, as its own user.
in_image() { buildah_ run --volume "$PWD/replay-logs:/shift:ro" "$@"; }

check_image() {
  local container user
  user=$(inspect .Docker.Config.User)
  [ "$user" = 1000:1000 ] || { echo "the image runs as '$user'"; return 1; }
  container=$(buildah_ from axlepost)
  [ "$(in_image "$container" -- id -u)" = 1000 ] || { echo 'the program does not run as user 1000'; return 1; }
  in_image "$container" -- node --version
  in_image "$container" -- node /app/dist/axlepost.js --version
  echo 'demonstration shift, against its expected events:'
  in_image "$container" -- node /app/dist/axlepost.js replay /shift/morning-run.log.gz \
    --config /app/config/examples/T-1042.yaml --store shift.db --expect /shift/morning-run.events
  healthy "$container"
}

# The image's own health check: it fails while no page is there, holds beside a running daemon, and SIGTERM ends that one well.
healthy() {
  local container=$1 check result=1 port=19471 truck=$scratch/truck.yaml
  check=$(inspect '(index .Docker.Config.Healthcheck.Test 3)')
  local look=(in_image --env "AXLEPOST_HEALTH_PORT=$port" "$container" -- node -e "$check")
  ! "${look[@]}" >/dev/null 2>&1 || { echo 'the health check holds without a daemon'; return 1; }
  sed -e "\$a health: {port: $port}" -e '/^mqtt:/d' config/examples/T-1042.yaml >"$truck"
  chmod 644 "$truck"
  buildah_ run --volume "$truck:/truck.yaml:ro" "$container" -- \
    sh -c 'node /app/dist/axlepost.js run --config /truck.yaml & echo $! >pid; wait $!' 2>"$scratch/log" &
  local daemon=$!
  for _ in $(seq 60); do
    if "${look[@]}" >/dev/null 2>&1; then result=0; break; fi
    kill -0 "$daemon" 2>/dev/null || break
    sleep 0.5
  done
  in_image "$container" -- sh -c 'kill -TERM "$(cat pid)"' || true
  wait "$daemon" || { echo 'the daemon did not end well'; result=1; }
  [ "$result" = 0 ] && echo 'health check: holds' || { echo 'the health check does not hold'; cat "$scratch/log"; }
  return "$result"
}

began=$SECONDS
base=${BASE:-localhost/axlepost-base}
[ -n "${BASE:-}" ] || stand_in
echo "base image: $((SECONDS - began)) s"
began=$SECONDS
# The docker format, as the other one has no health check.
buildah_ build --quiet --format docker --build-arg "BASE=$base" --tag axlepost . >"$scratch/build" 2>&1 ||
  { tail -n 40 "$scratch/build" >&2; exit 1; }
echo "image: $((SECONDS - began)) s"
check_image
[ -z "$keep" ] || buildah_ push --quiet axlepost "docker-archive:$keep:axlepost:latest"
