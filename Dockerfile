# Base image: Node 20.19 or newer on a Debian-like system; the default is the current long-term version. Any such image will
# do, for example one of your own registry:
#   docker build --build-arg BASE=my-node:24 -t axlepost .
ARG BASE=node:24-bookworm-slim

FROM ${BASE} AS build
RUN export DEBIAN_FRONTEND=noninteractive \
 && apt-get update \
 && apt-get install -y --no-install-recommends python3 make g++ \
 && rm -rf /var/lib/apt/lists/*
WORKDIR /app
COPY . .
# Installs, compiles the native add-ons and builds dist/; then what only building and testing need is taken out. The headers
# that lie beside the program are used where there are any, so that no others are looked for.
RUN home=$(dirname "$(dirname "$(readlink -f "$(command -v node)")")") \
 && if [ -d "$home/include/node" ]; then export npm_config_nodedir="$home"; fi \
 && npm ci && npm prune --omit=dev --ignore-scripts

FROM ${BASE}
# `run` asks `ip` whether a CAN controller is in listen-only mode.
RUN export DEBIAN_FRONTEND=noninteractive \
 && apt-get update \
 && apt-get install -y --no-install-recommends iproute2 \
 && rm -rf /var/lib/apt/lists/*
COPY --from=build /app/package.json /app/LICENSE /app/
COPY --from=build /app/node_modules /app/node_modules
COPY --from=build /app/config /app/config
COPY --from=build /app/dist /app/dist
# Paths in the truck file (store, recordings) are relative to this folder: mount a volume here.
RUN mkdir -p /var/lib/axlepost && chown 1000:1000 /var/lib/axlepost
WORKDIR /var/lib/axlepost
USER 1000:1000
# The local page of `run`: the truck file's `health: {port: 9471}`. With another port say so here; without the page start with
# --no-healthcheck. Healthy: it answers, and the last second was decided less than ten seconds ago. That a bus or the broker is
# away, for which the page answers 503, is no fault of the container, and starting it anew would not bring them back.
ENV NODE_ENV=production AXLEPOST_HEALTH_PORT=9471
HEALTHCHECK --interval=30s --timeout=5s --start-period=30s --retries=3 \
  CMD ["node", "-e", "fetch(`http://127.0.0.1:${process.env.AXLEPOST_HEALTH_PORT}/health`).then((page) => page.json()).then((health) => process.exit(health.lastTickAgeMs < 10000 ? 0 : 1), () => process.exit(1))"]
# As process 1 node does not die of SIGTERM by itself; the program handles it and goes down in order.
STOPSIGNAL SIGTERM
# As in config/deploy/axlepost.service: memory is scarcer than time.
ENTRYPOINT ["node", "--max-old-space-size=160", "--max-semi-space-size=1", "--optimize-for-size", "/app/dist/axlepost.js"]
CMD ["--help"]
