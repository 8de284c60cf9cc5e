"""A machine made of stand-ins: what demo/setup.sh does on it is written down, not done.

The search path holds links to the few tools that every Debian has, and stand-ins for those that
would change the machine. A stand-in writes its own call into `calls`; small files in `state` say
what the machine has and what shall go wrong.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

PROJECT = Path(__file__).parents[2]

# What demo/setup.sh may use: tools from packages that Debian marks essential.
TOOLS = ["cat", "cksum", "dirname", "env", "flock", "ls", "mkdir", "mktemp", "rm", "sed", "sh"]
TOOLS += ["cp", "touch"]  # the stand-ins use these

PYTHON = """#!/bin/sh
here=$(dirname "$0")
case "$*" in
    *version_info*) cat "$STATE/version" ;;
    *ctypes*) [ -e "$STATE/library" ] ;;
    *importlib.metadata*) [ -e "$here/../packages" ] ;;
    *ensurepip*) [ -e "$STATE/ensurepip" ] ;;
    "-m venv "*)
        echo venv >>"$CALLS"
        mkdir -p "$3/bin"
        cp "$0" "$3/bin/python"
        touch "$3/pyvenv.cfg" ;;
    "-m pip --version") [ -e "$here/../pyvenv.cfg" ] ;;
    "-m pip install"*)
        for last in "$@"; do :; done
        echo "pip $last" >>"$CALLS"
        [ ! -e "$STATE/no-index" ] || exit 1
        touch "$here/../packages" ;;
    "-m "*)
        (IFS="|"; echo "$*") >>"$CALLS"
        [ ! -e "$STATE/$2-fails" ] ;;
    *) echo "unforeseen: python $*" >>"$CALLS"; exit 99 ;;
esac
"""

APT_GET = """#!/bin/sh
while [ "${1#-}" != "$1" ]; do [ "$1" = -o ] && shift; shift; done
echo "apt-get $*" >>"$CALLS"
[ ! -e "$STATE/no-mirror" ] || exit 100
[ "$1" = update ] && { touch "$STATE/lists"; exit 0; }
[ -e "$STATE/lists" ] || exit 100
for package in "$@"; do
    case $package in
        libngspice0) touch "$STATE/library" ;;
        python3.*-venv) touch "$STATE/ensurepip" ;;
    esac
done
"""

SUDO = """#!/bin/sh
[ ! -e "$STATE/no-rights" ] || exit 1
[ "$1" = -v ] && exit 0
echo sudo >>"$CALLS"
exec "$@"
"""

PREPARE = """set -eu
root=$(cd "$1" && pwd -P)
. "$root/demo/setup.sh"
shift
prepare "$@"
"""


@dataclass(frozen=True, slots=True)
class Outcome:
    code: int
    said: list[str]
    calls: list[str]
    out: str


class Machine:
    """Has Python 3.11, apt-get with fresh lists and root's rights; lacks library and ensurepip."""

    def __init__(self, folder: Path) -> None:
        self.root = folder / "old radio" / "biaspredict"
        self.bin = folder / "bin"
        self.state = folder / "state"
        self.calls = folder / "calls"
        for new in (self.root / "demo", self.root / "tests", self.bin, self.state):
            new.mkdir(parents=True)
        for name in ("pyproject.toml", "demo/setup.sh", "demo/run.sh", "tests/run.sh"):
            shutil.copy(PROJECT / name, self.root / name)
        for tool in TOOLS:
            found = shutil.which(tool)
            assert found is not None, tool
            (self.bin / tool).symlink_to(found)
        self.provide("python3", PYTHON)
        self.provide("apt-get", APT_GET)
        self.provide("id", "#!/bin/sh\necho 0\n")
        self.has("version", "3.11")
        self.has("lists")

    @property
    def venv(self) -> Path:
        return self.root / ".venv"

    def provide(self, name: str, text: str, folder: Path | None = None) -> None:
        path = (folder or self.bin) / name
        path.unlink(missing_ok=True)
        path.write_text(text)
        path.chmod(0o755)

    def lacks(self, name: str) -> None:
        (self.bin / name).unlink()

    def has(self, fact: str, text: str = "") -> None:
        (self.state / fact).write_text(text)

    def environment(self) -> dict[str, str]:
        return {
            "PATH": str(self.bin),
            "STATE": str(self.state),
            "CALLS": str(self.calls),
            "TMPDIR": str(self.state),
        }

    def command(self, *arguments: str, extra: str | None = None) -> list[str]:
        if arguments:
            return [str(self.bin / "sh"), *arguments]
        extras = [] if extra is None else [extra]
        return [str(self.bin / "sh"), "-c", PREPARE, "prepare", str(self.root), *extras]

    def run(self, *arguments: str, extra: str | None = None, **environment: str) -> Outcome:
        """Run `prepare EXTRA`, or a script of the project where one is named."""
        self.calls.write_text("")
        done = subprocess.run(
            self.command(*arguments, extra=extra),
            env=self.environment() | environment,
            capture_output=True,
            text=True,
            timeout=20,
            check=False,
        )
        calls = self.calls.read_text().splitlines()
        assert not [call for call in calls if call.startswith("unforeseen")], calls
        return Outcome(done.returncode, done.stderr.splitlines(), calls, done.stdout)

    def move(self, name: str) -> None:
        target = self.root.with_name(name)
        os.rename(self.root, target)
        self.root = target
