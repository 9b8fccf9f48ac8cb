#!/bin/sh
# Makes or refreshes .venv from the locked requirements; does nothing when it is up to date.
#   tools/environment.sh run|test|bench
# PYTHON=/path/to/python picks the interpreter; otherwise the newest working python3 on PATH, 3.11 or later.
set -eu
unset CDPATH PYTHONHOME PYTHONPATH
cd "$(dirname "$0")/.."

wanted=${1:?"run, test or bench"}
venv=.venv

say() { printf '%s\n' "$*" >&2; }

# What the present environment must have been made from: a moved folder breaks the scripts inside it, so the path counts.
key() { { pwd; cat "$@"; } | cksum; }
current() { [ -f "$venv/$1.stamp" ] && [ "$(cat "$venv/$1.stamp")" = "$2" ] && [ -x "$venv/bin/python" ]; }

# The lists, each built on the one before.
case $wanted in
run) lists="run" ;;
test) lists="run test" ;;
bench) lists="run test bench" ;;
*) say "environment: found '$wanted'; wanted run, test or bench"; exit 2 ;;
esac

# A version manager's shim may stand on PATH and run nothing, so every candidate is started, in every folder of PATH.
candidates() {
    if [ -n "${PYTHON:-}" ]; then
        command -v "$PYTHON" || say "environment: PYTHON=$PYTHON is no command"
        return
    fi
    for name in python3.14 python3.13 python3.12 python3.11 python3; do
        old_ifs=$IFS
        IFS=:
        for folder in $PATH; do
            if [ -x "${folder:-.}/$name" ]; then printf '%s\n' "${folder:-.}/$name"; fi
        done
        IFS=$old_ifs
    done
}

make_venv() {
    found= lacking= tried=
    list=$(candidates)
    old_ifs=$IFS
    IFS='
'
    for candidate in $list; do
        version=$("$candidate" -c 'import sys; print("%d.%d" % sys.version_info[:2])' 2>/dev/null) || continue
        tried="$tried $version"
        "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' || continue
        if "$candidate" -c 'import ensurepip, venv' 2>/dev/null; then
            found=$candidate
            break
        fi
        lacking=${lacking:-$version}
    done
    IFS=$old_ifs
    if [ -n "$found" ]; then
        say "making $venv with Python $version ($found)"
        rm -rf "$venv"
        "$found" -m venv "$venv"
    elif [ -n "$lacking" ]; then
        say "Python $lacking is here, but its venv module is not."
        if [ -f /etc/debian_version ]; then
            say "Install it, then run make again:  sudo apt install python$lacking-venv"
        else
            say "Install your system's package for Python $lacking's venv and ensurepip, then run make again."
        fi
        exit 1
    else
        say "Python 3.11 or later is needed; found on PATH:${tried:- none}."
        say "Install it (or name one: make PYTHON=/path/to/python3 demo), then run make again."
        exit 1
    fi
}

install() {
    say "installing requirements/$1.txt into $venv"
    requirements=requirements/$1.txt
    shift
    "$venv/bin/python" -m pip install -qq --disable-pip-version-check --no-input --require-hashes \
        --only-binary :all: "$@" -r "$requirements"
}

# 32-bit MicroPython comes from npm and runs under Node.js: the machine's own where it has both, else those of a wheel.
node_works() { node -e 'process.exit(parseInt(process.versions.node) < 18 ? 1 : 0)' && npm --version; }
install_npm() (
    PATH=$PWD/$venv/bin:$PATH
    node_works >/dev/null 2>&1 || install node || exit 1
    say "installing requirements/package-lock.json into $venv/npm"
    mkdir -p "$venv/npm" && cp requirements/package.json requirements/package-lock.json "$venv/npm" &&
        npm ci --prefix "$venv/npm" --ignore-scripts --no-audit --no-fund --loglevel=error >/dev/null
)

began=$(date +%s) changed=
base=$(pwd | cksum)
if ! current base "$base" || ! "$venv/bin/python" -c '' 2>/dev/null ||
    { [ -n "${PYTHON:-}" ] && [ "$(command -v "$PYTHON")" != "$(cat "$venv/chosen")" ]; }; then
    make_venv
    changed=yes
    printf '%s\n' "$found" >"$venv/chosen"
    printf '%s\n' "$base" >"$venv/base.stamp"
fi

for list in $lists; do
    wanted_key=$(key "requirements/$list.txt")
    if ! current "$list" "$wanted_key"; then
        changed=yes
        install "$list"
        printf '%s\n' "$wanted_key" >"$venv/$list.stamp"
    fi
done

# No error where it cannot be had: the tests that need it are skipped, or fail in CI.
if [ "$wanted" != run ]; then
    npm_key=$(key requirements/node.txt requirements/package-lock.json)
    if ! current npm "$npm_key"; then
        changed=yes
        if install_npm; then
            printf '%s\n' "$npm_key" >"$venv/npm.stamp"
        else
            say "environment: the 32-bit MicroPython could not be installed; the tests that need it will say so"
        fi
    fi
fi

# For the type checker alone: a folder of its own, so that no test imports a stub.
if [ "$wanted" != run ]; then
    stubs_key=$(key requirements/stubs.txt)
    if ! current stubs "$stubs_key"; then
        changed=yes
        rm -rf "$venv/stubs"
        install stubs --target "$venv/stubs"
        printf '%s\n' "$stubs_key" >"$venv/stubs.stamp"
    fi
fi

# Without isolation the build uses the locked backend that was just installed. The second file holds the version.
project_key=$(key pyproject.toml firmware/changeover/__init__.py)
if ! current project "$project_key"; then
    changed=yes
    "$venv/bin/python" -m pip install -qq --disable-pip-version-check --no-input --no-deps --no-build-isolation \
        --editable .
    printf '%s\n' "$project_key" >"$venv/project.stamp"
fi

if [ -n "$changed" ]; then say "environment ready after $(($(date +%s) - began)) s"; fi
