#!/bin/sh
# Sets up what is missing, then runs ruff, mypy and pytest; arguments go to pytest.
# All three run, so that one look shows everything; the exit code is 0 only if all passed.
set -eu
root=$(cd "$(dirname "$0")/.." && pwd -P)
. "$root/demo/setup.sh"
prepare test
cd "$root"

python=$root/.venv/bin/python
cache=$root/.venv/cache
failed=0
"$python" -m ruff check --cache-dir "$cache/ruff" . || failed=1
"$python" -m mypy --cache-dir "$cache/mypy" || failed=1
HYPOTHESIS_STORAGE_DIRECTORY=$cache/hypothesis \
    "$python" -m pytest -n 2 -o cache_dir="$cache/pytest" "$@" || failed=$?
exit "$failed"
