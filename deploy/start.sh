#!/bin/sh
# Starts the brooder monitor from this folder: makes its own Python environment the first time,
# installs exactly what the lock names, then runs `brooder watch`, or the verb it is given:
#   sh deploy/start.sh                  watch, with config/brooder.toml
#   sh deploy/start.sh rehearse         an invented cold night, at speed
#   sh deploy/start.sh --help           everything else
# Writes only into this folder (.venv, state).
set -eu

here=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
venv="$here/.venv"
lock="$here/deploy/requirements.lock"

python=${PYTHON:-python3}
if ! command -v "$python" >/dev/null 2>&1; then
    echo "start.sh: $python is not installed. On Debian or Raspberry Pi OS: sudo apt install python3 python3-venv" >&2
    exit 2
fi
if ! "$python" -c 'import sys; sys.exit(sys.version_info < (3, 11))'; then
    echo "start.sh: $("$python" --version) is too old; Python 3.11 or newer is needed. Set PYTHON=/path/to/python3.11" >&2
    exit 2
fi

# The stamp is the lock's own checksum: a new lock is installed at the next start, and an
# installation that was cut off is done again.
want="$(cksum <"$lock") $(cksum <"$here/pyproject.toml")"
if [ "$(cat "$venv/.installed" 2>/dev/null || true)" != "$want" ]; then
    echo "Setting up in $venv (the first time takes a minute or two)..." >&2
    rm -f "$venv/.installed"
    if ! "$python" -m venv "$venv" >&2; then
        echo "start.sh: could not make a Python environment. On Debian: sudo apt install python3-venv" >&2
        exit 2
    fi
    "$venv/bin/python" -m pip install --quiet --disable-pip-version-check --require-hashes -r "$lock" >&2
    # The package itself runs from this folder: nothing is built, nothing is copied.
    site=$("$venv/bin/python" -c 'import sysconfig; print(sysconfig.get_paths()["purelib"])')
    printf '%s\n' "$here" >"$site/brooder.pth"
    # A wrapper, because a first line that names the interpreter allows no space in its path and no
    # long one. Modules come from here and never from the folder that somebody happens to be in.
    cat >"$venv/bin/brooder" <<'EOF'
#!/bin/sh
export PYTHONSAFEPATH=1
exec "$(dirname -- "$(readlink -f -- "$0")")/python" -m monitor "$@"
EOF
    chmod +x "$venv/bin/brooder"
    printf '%s' "$want" >"$venv/.installed"
fi

case "${1-}" in
    '')
        set -- watch
        echo 'Where it says "brooder VERB", type in a second terminal: sh deploy/start.sh VERB' >&2
        ;;
esac
export BROODER_CONFIG="${BROODER_CONFIG:-$here/config/brooder.toml}"
exec "$venv/bin/brooder" "$@"
