#!/bin/sh
# Compile the simulated day and the networks, so that the first command after installing answers at
# once. Two processes share the work; what is compiled is kept, and needs no network. Without this
# step, or after a change of the code, the first command that needs it compiles it instead.
set -u
cd "$(dirname "$0")/.."
plant=examples/rows_two_by_twenty/plant.yaml

echo "Compiling the simulated day and the networks (half a minute on two cores, once for each version) ..."
.venv/bin/byrewright day "$plant" --json >/dev/null && .venv/bin/byrewright vacuum "$plant" >/dev/null ||
    echo "That did not work; it is compiled on first use instead."
