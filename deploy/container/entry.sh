#!/bin/sh
# What the container runs: writes a first configuration into the volume, then does as it is told.
# Writes nowhere else. Without a container: BROODER_DATA=/some/folder sh entry.sh check
set -eu
umask 077

here=$(CDPATH='' cd -- "$(dirname -- "$0")/../.." && pwd)
data=${BROODER_DATA:-/data}
export BROODER_CONFIG="$data/brooder.toml"
[ -w "$data" ] || { echo "entry.sh: $data cannot be written; mount a volume there" >&2; exit 2; }

# With everything else read-only there may be no /tmp either.
if [ ! -w /tmp ]; then
    export TMPDIR="$data/tmp"
    mkdir -p "$TMPDIR"
fi

chance() { od -An -N12 -tx1 /dev/urandom | tr -d ' \n'; }

if [ ! -e "$data/page-passphrase" ]; then
    chance >"$data/page-passphrase"
fi
if [ ! -e "$BROODER_CONFIG" ]; then
    # From outside a container nothing reaches 127.0.0.1 in it, so the page listens to the container's
    # network, which wants a passphrase. Who may come from where, the port mapping says.
    {
        sed -e '/^\[journal\]/,$d' "$here/config/brooder.toml"
        printf '[page]\nlisten = "0.0.0.0"\npassphrase_file = "page-passphrase"\n'
        printf '\n[journal]\nfolder = "state"\n'
        if [ -n "${BROODER_MOSQUITTO:-}" ]; then
            printf '\n[broker]\nhost = "%s"\nusername = "monitor"\npassword_file = "broker-password"\n' \
                "$BROODER_MOSQUITTO"
        fi
        if [ -n "${BROODER_INFLUXDB:-}" ]; then
            printf '\n[influx]\nurl = "%s"\ntoken_file = "/run/secrets/influx-token"\n' \
                "$BROODER_INFLUXDB"
        fi
    } >"$BROODER_CONFIG.new"
    mv "$BROODER_CONFIG.new" "$BROODER_CONFIG"
    echo "Wrote $BROODER_CONFIG: make it yours. The page's passphrase is in $data/page-passphrase." >&2
fi
# Mosquitto's passwords and rights, in the folder that both containers see.
files=/etc/mosquitto/brooder
if [ -n "${BROODER_MOSQUITTO:-}" ] && [ -w "$files" ]; then
    sh "$here/deploy/mosquitto/first-files.sh" "$files" "$data/broker-password"
fi
unset BROODER_DATA BROODER_MOSQUITTO BROODER_INFLUXDB
exec "$here/.venv/bin/brooder" "$@"
