#!/bin/sh
# Sets up what is missing, then does the main job on the stages in this folder.
set -eu
root=$(cd "$(dirname "$0")/.." && pwd -P)
. "$root/demo/setup.sh"
prepare
cd "$root"

# An exit code of 1 only says that there was something to report.
show() {
    printf '\n$ biaspredict %s\n\n' "$*"
    code=0
    .venv/bin/biaspredict "$@" || code=$?
    [ "$code" -le 1 ] || exit "$code"
}

show proof demo/*.stage
show bias demo/preamp.stage
show suspect demo/preamp.stage demo/preamp.readings
