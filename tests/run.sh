#!/bin/sh
# Runs every check: style, types, import rules, tests. Installs the test servers and the browser
# from Debian where it may; where it may not, it says what is missing and stops.
#   sh tests/run.sh              everything
#   sh tests/run.sh tests/unit   only these (any pytest words; -n 0: one after the other)
#   BROODER_LONG=1 sh tests/run.sh   the long forms of the fault tests too
# Uses its own Python environment in .venv-test, or the one that is active.
set -eu

here=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
cd "$here"

missing=""
for pair in mosquitto:mosquitto mosquitto_pub:mosquitto-clients chromium:chromium victoria-metrics:victoria-metrics cc:gcc; do
    command -v "${pair%%:*}" >/dev/null 2>&1 || [ -x "/usr/sbin/${pair%%:*}" ] || missing="$missing ${pair#*:}"
done
if [ -n "$missing" ]; then
    if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
        echo "Installing for the tests:$missing" >&2
        apt-get update -q >/dev/null
        # No service may start by itself: the tests start their own, on ports of their own.
        policy=/usr/sbin/policy-rc.d
        if [ ! -e "$policy" ]; then
            printf '#!/bin/sh\nexit 101\n' >"$policy"
            chmod +x "$policy"
            trap 'rm -f "$policy"' EXIT
        fi
        # shellcheck disable=SC2086 - a list of package names
        DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends $missing fonts-dejavu-core libc6-dev >/dev/null
    else
        echo "tests/run.sh: the tests need these Debian packages, which are not installed:$missing" >&2
        echo "  sudo apt install$missing" >&2
        exit 2
    fi
fi

[ "$(id -u)" = 0 ] ||
    echo "tests/run.sh: without root the tests of a full and of a read-only card are left out: they mount a small disk" >&2

if [ -n "${VIRTUAL_ENV-}" ]; then
    venv=$VIRTUAL_ENV
else
    venv="$here/.venv-test"
    [ -x "$venv/bin/python" ] || "${PYTHON:-python3}" -m venv "$venv"
fi
want="$(cksum <deploy/requirements-test.lock) $(cksum <pyproject.toml)"
if [ "$(cat "$venv/.test-installed" 2>/dev/null || true)" != "$want" ]; then
    echo "Installing the test environment in $venv" >&2
    # Not compiled: most of it is never imported, and the rest is compiled when it is.
    "$venv/bin/python" -m pip install --quiet --disable-pip-version-check --no-compile --require-hashes -r deploy/requirements-test.lock
    site=$("$venv/bin/python" -c 'import sysconfig; print(sysconfig.get_paths()["purelib"])')
    printf '%s\n' "$here" >"$site/brooder.pth"
    printf '%s' "$want" >"$venv/.test-installed"
fi
PATH="$venv/bin:/usr/sbin:$PATH"
export PATH

if [ $# -eq 0 ]; then
    # Meanwhile, on another processor: what each worker would compile for itself is compiled once.
    pytest --collect-only -q >/dev/null 2>&1 &
    echo "== style" >&2
    ruff check .
    ruff format --check .
    echo "== types" >&2
    mypy
    echo "== import rules" >&2
    lint-imports
    wait
fi
echo "== tests" >&2
# Many wait for a broker, a child or a browser: four for each core keep it busy. A file stays with one
# worker, which makes what its tests share once; the order is that of tests/conftest.py.
workers=$(($(nproc) * 4))
room=$(awk '/^MemAvailable/ { print int($2 / 600000) + 1 }' /proc/meminfo) # each with what it starts
[ "$workers" -le "$room" ] || workers=$room
exec pytest -n "$workers" --dist loadfile --no-loadscope-reorder "$@"
