# shellcheck shell=sh
# Read by demo/run.sh and tests/run.sh, which set `root` to the project's folder and call
# `prepare` with the extras they need. Afterwards "$root/.venv/bin/python" can run biaspredict.
#
# All that is installed into the system comes through apt-get; all the rest lies in .venv.
# Once that is done, a run costs one short look and touches no network.

: "${root:?is to be set before this file is read}"

say() { printf 'biaspredict: %s\n' "$*" >&2; }

die() {
    say "$*"
    exit 2
}

# What somebody's shell or pip settings say about other projects must not reach into .venv.
unset PYTHONHOME PYTHONPATH PIP_USER PIP_TARGET PIP_PREFIX

# Fails unless every distribution that biaspredict names, for the extras given, is there whole.
installed_check='
import os, re, sys
from importlib.metadata import distribution
for requirement in distribution("biaspredict").requires or []:
    extra = re.search(r"extra == .(\w+)", requirement)
    if extra is None or extra[1] in sys.argv[1:]:
        found = distribution(re.match(r"[\w.-]+", requirement)[0])
        for file in found.files or []:
            if file.suffix != ".pyc":
                os.stat(found.locate_file(file))
'

library_check='
import ctypes, ctypes.util, os, sys
named = os.environ.get("NGSPICE_LIBRARY_PATH")
for name in filter(None, [named, "libngspice.so.0", "libngspice.so", ctypes.util.find_library("ngspice")]):
    try:
        ctypes.CDLL(name)
    except OSError:
        continue
    sys.exit(0)
sys.exit(1)
'

# Sets `python` to an interpreter that is new enough; $PYTHON, where set, is tried first.
find_python() {
    too_old=
    for python in ${PYTHON:+"$PYTHON"} python3 python3.14 python3.13 python3.12 python3.11; do
        version=$("$python" -c 'import sys; print("%d.%d" % sys.version_info[:2])' 2>/dev/null) ||
            continue
        case $version in
            3.[0-9] | 3.10 | [012].*) too_old=${too_old:-$version} ;;
            *) return 0 ;;
        esac
    done
    if [ -n "$too_old" ]; then
        die "Python 3.11 or newer is needed, here is $too_old: install python3.11 and" \
            "python3.11-venv (Ubuntu 22.04: sudo apt-get install python3.11 python3.11-venv)," \
            "then run this again."
    fi
    die "Python 3.11 or newer is needed and no python3 was found: install python3, then run this again."
}

# apt_install PACKAGE...: asks the index only when the packages cannot be had without.
apt_install() {
    remedy="then run this again."
    command -v apt-get >/dev/null 2>&1 ||
        die "no apt-get here: install what Debian calls $* with your system's own tools, $remedy"
    as_root=
    if [ "$(id -u)" -ne 0 ]; then
        as_root=sudo
        if ! command -v sudo >/dev/null 2>&1 || ! sudo -v; then
            die "$* must be installed by an administrator: apt-get install $* (as root), $remedy"
        fi
    fi
    say "installing $* with apt-get (once)"
    install="$as_root env DEBIAN_FRONTEND=noninteractive LC_ALL=C apt-get -q -y"
    install="$install -o DPkg::Lock::Timeout=120"
    new_log
    # The words of `install` are to be split; none of them holds a space.
    # shellcheck disable=SC2086
    $install install --no-install-recommends "$@" >>"$log" 2>&1 || {
        $install update >>"$log" 2>&1
        $install install --no-install-recommends "$@" >>"$log" 2>&1
    } || die "apt-get could not install $*: check the network (and on Ubuntu that the part called" \
        "universe is on), $remedy Its own words: $log"
    rm -f "$log"
}

new_log() {
    log=$(mktemp "${TMPDIR:-/tmp}/biaspredict-setup.XXXXXX") ||
        die "cannot write in ${TMPDIR:-/tmp}: make room there, or set TMPDIR, then run this again."
}

is_stamped() {
    [ ! -e "$unfinished" ] && [ "$(cat "$stamp" 2>/dev/null)" = "$key" ]
}

is_whole() {
    # The extras are words, or nothing at all.
    # shellcheck disable=SC2086
    "$venv/bin/python" -c "$installed_check" $extras 2>/dev/null
}

# True where .venv can be installed into as it stands: it was finished, it was made in this very
# folder, its Python still runs and its pip is there.
is_sound() {
    [ ! -e "$unfinished" ] || return 1
    for old in "$venv"/ready*; do
        [ -f "$old" ] || continue
        [ "$(sed -n 1p "$old")" = "$root" ] || return 1
    done
    "$venv/bin/python" -m pip --version >/dev/null 2>&1
}

# Removes only what is plainly a virtual environment, whole or in part.
remove_venv() {
    if [ -d "$venv" ] && [ ! -e "$venv/pyvenv.cfg" ] && [ ! -e "$unfinished" ] &&
        [ -n "$(ls -A "$venv")" ]; then
        die "$venv is in the way and is no virtual environment: move it elsewhere, then run this again."
    fi
    if [ -e "$venv" ] || [ -L "$venv" ]; then
        say "making .venv afresh: unfinished, broken, or made elsewhere"
        rm -rf "$venv" || die "cannot remove $venv: remove it yourself, then run this again."
    fi
}

make_venv() {
    remove_venv
    { mkdir "$venv" && : >"$unfinished"; } 2>/dev/null ||
        die "cannot write in $root: copy the folder to a place of your own, then run this again."
    new_log
    "$python" -m venv "$venv" >"$log" 2>&1 ||
        die "$python could not make a virtual environment in $venv. Its own words: $log"
    rm -f "$log"
}

# Puts the package and its extras into .venv.
fill_venv() {
    say "installing packages into .venv (once, a minute, by the network)"
    rm -f "$venv"/ready* || die "cannot write in $venv: remove it, then run this again."
    new_log
    (
        cd "$root" &&
            .venv/bin/python -m pip install --quiet --no-input --disable-pip-version-check \
                --editable ".${extras:+[$extras]}" >"$log" 2>&1
    ) || die "pip could not install the Python packages: check that this machine reaches a Python" \
        "package index, then run this again. Its own words: $log"
    rm -f "$log"
}

# Two runs that start together must not pull .venv from under each other: the second waits. The
# lock is on the folder itself, so it leaves no file, and goes when its process goes.
lock() {
    exec 9<"$root"
    command -v flock >/dev/null 2>&1 || return 0
    flock -n 9 && return 0
    say "another setup is under way in this folder: waiting for it"
    flock 9 || true
}

# prepare [EXTRA]
prepare() {
    extras=${1:-}
    venv=$root/.venv
    unfinished=$venv/unfinished
    stamp=$venv/ready${extras:+-$extras}
    key=$(printf '%s\n' "$root" && cksum <"$root/pyproject.toml") ||
        die "$root/pyproject.toml cannot be read: unpack or clone the project again."

    if is_stamped && is_whole; then
        "$venv/bin/python" -c "$library_check" || apt_install libngspice0
        return 0
    fi
    lock
    if ! { is_stamped && is_whole; }; then
        set_up
    fi
    exec 9<&-
}

set_up() {
    find_python
    # A stamp without the files is damage, which pip would take for "already installed".
    state=remake
    if ! is_stamped && is_sound; then
        state=refill
    fi
    wanted=
    "$python" -c "$library_check" || wanted=libngspice0
    if [ "$state" = remake ] && ! "$python" -c 'import ensurepip, venv' 2>/dev/null; then
        wanted="$wanted python$version-venv"
    fi
    if [ -n "$wanted" ]; then
        # shellcheck disable=SC2086
        apt_install $wanted
    fi

    [ "$state" = refill ] || make_venv
    fill_venv
    if [ "$state" = refill ] && ! is_whole; then
        make_venv
        fill_venv
    fi
    is_whole ||
        die "pip reported no error, yet packages are missing from $venv: remove it, then run this again."
    rm -f "$unfinished"
    printf '%s\n' "$key" >"$venv/ready"
    printf '%s\n' "$key" >"$stamp"
    say "ready"
}
