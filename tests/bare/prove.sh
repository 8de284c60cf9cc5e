#!/bin/sh
# Proves demo/run.sh and tests/run.sh on a Debian that has python3 and nothing else.
#
#   sudo sh tests/bare/prove.sh SUITE [MIRROR] [--base FILE] [--working-copy] [--keep]
#
#   SUITE           a Debian release that debootstrap knows: bookworm, trixie
#   MIRROR          where debootstrap and apt-get fetch from; debootstrap's own choice if left out
#   --base FILE     take the bare root from this tar file; make it and keep it there if missing
#   --working-copy  prove the files as they lie here, not the last commit
#   --keep          leave the root standing, to look around in
#
# Each command runs twice: first with the network, then with none, which it must not miss.
# The runs use a mount namespace of their own, so that nothing stays mounted behind them.
# Settings by which this machine reaches the network (name servers, pip's, certificates) are
# carried into the root.
set -eu

say() { printf 'prove: %s\n' "$*"; }
die() { say "$*" >&2; exit 2; }
usage() { sed -n '4,9s/^# \{0,1\}//p' "$0" >&2; exit 2; }

suite='' mirror='' base='' source=commit keep=no
while [ $# -gt 0 ]; do
    case $1 in
        --base) [ $# -ge 2 ] || usage; base=$2; shift ;;
        --working-copy) source=files ;;
        --keep) keep=yes ;;
        -*) usage ;;
        *) if [ -z "$suite" ]; then suite=$1; elif [ -z "$mirror" ]; then mirror=$1; else usage; fi ;;
    esac
    shift
done
[ -n "$suite" ] || usage
[ "$(id -u)" -eq 0 ] || die "making and entering a root takes root: run this with sudo."
for tool in unshare chroot tar git; do
    command -v "$tool" >/dev/null || die "$tool is missing: install it, then run this again."
done

project=$(cd "$(dirname "$0")/../.." && pwd -P)
work=$(mktemp -d "${TMPDIR:-/tmp}/biaspredict-bare.XXXXXX")
# shellcheck disable=SC2329
finish() {
    if [ "$keep" = yes ]; then say "left standing: $work/root"; else rm -rf --one-file-system "$work"; fi
}
trap finish EXIT
trap 'exit 130' INT TERM
root=$work/root
mkdir "$root"

# -- the bare root
if [ -n "$base" ] && [ -s "$base" ]; then
    say "root from $base"
    tar --numeric-owner -C "$root" -xf "$base"
else
    command -v debootstrap >/dev/null || die "debootstrap is missing: install it, then run this again."
    say "making a bare $suite (a minute or so)"
    debootstrap --variant=minbase --include=python3 "$suite" "$root" ${mirror:+"$mirror"} \
        >"$work/log" 2>&1 || { tail -n 5 "$work/log" >&2; die "debootstrap failed."; }
    rm -f "$root"/var/cache/apt/archives/*.deb
    if [ -n "$base" ]; then
        tar --numeric-owner -C "$root" -cf "$base.part" .
        mv "$base.part" "$base"
    fi
fi
# A fresh image has no package lists; the suite is the one asked for, whatever the base holds.
rm -rf "$root"/var/lib/apt/lists/*
grep -qs "VERSION_CODENAME=$suite" "$root/etc/os-release" || die "$base holds another suite than $suite."

# -- the way to the network
carry() {
    [ -e "$1" ] || return 0
    mkdir -p "$root$(dirname "$1")"
    cp -RL "$1" "$root$(dirname "$1")/"
}
# Local certificates travel too: Debian's own package rewrites the bundle when it arrives.
for file in /etc/resolv.conf /etc/hosts /etc/pip.conf /etc/xdg/pip /usr/local/share/ca-certificates \
    "${PIP_CERT:-}" "${SSL_CERT_FILE:-}" "${REQUESTS_CA_BUNDLE:-}"; do
    [ -z "$file" ] || carry "$file"
done
settings=$(env | grep -E '^(PIP_[A-Z_]+|SSL_CERT_FILE|REQUESTS_CA_BUNDLE|(https?|no)_proxy)=' |
    grep -v '[[:space:]]' || true)

# -- the project, in a folder whose name has a space, as people's folders do
place="/home/bench/old radio/biaspredict"
mkdir -p "$root$place"
if [ "$source" = commit ]; then
    say "project: commit $(git -C "$project" rev-parse --short HEAD)"
    git -C "$project" archive HEAD | tar -C "$root$place" -xf -
else
    say "project: the files as they lie in $project"
    git -C "$project" ls-files -z --cached --others --exclude-standard |
        (cd "$project" && tar --null --files-from=- --ignore-failed-read -cf -) |
        tar -C "$root$place" -xf -
fi

ls -A "$root$place" >"$work/before"

# -- the runs
# shellcheck disable=SC2016
inside='mount -t proc proc "$1/proc" && mkdir -p "$1/dev/pts" && mount -t devpts -o newinstance,ptmxmode=0666 pts "$1/dev/pts" && cd / && exec chroot "$1" /bin/sh -c "cd \"$2\" && exec sh $3"'
failed=0
# enter NETWORK COMMAND
enter() {
    if [ "$1" = without ]; then net=--net; else net=; fi
    began=$(date +%s)
    code=0
    # shellcheck disable=SC2086
    env -i PATH=/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin HOME=/root $settings \
        unshare --mount --propagation private --pid --fork $net \
        /bin/sh -c "$inside" inside "$root" "$place" "$2" >"$work/log" 2>&1 </dev/null || code=$?
    tail -n "${PROVE_LINES:-12}" "$work/log" | sed 's/^/    | /'
    seconds=$(($(date +%s) - began))
    say "$2, $1 the network: exit code $code, $seconds s"
    [ "$code" -eq 0 ] || failed=1
}
for network in with without; do
    enter "$network" demo/run.sh
    enter "$network" tests/run.sh
done

# -- what is left behind in the folder: nothing but .venv
ls -A --ignore=.venv "$root$place" >"$work/after"
if ! diff "$work/before" "$work/after"; then
    say "the runs left something behind in the project's folder"
    failed=1
fi
if [ "$failed" -eq 0 ]; then say "$suite: all four runs passed"; else say "$suite: FAILED"; fi
exit "$failed"
