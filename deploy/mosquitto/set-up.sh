#!/bin/sh
# Sets up Mosquitto 2 on this board for the brooder monitor: certificate, the service's own account,
# rights, and the lines in its configuration. Called by: sudo sh deploy/install.sh mosquitto
# Asks nothing; what is there already stays, so doing it twice changes nothing.
set -eu
umask 077

root=${ROOT:-}
here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd)
files="$root/etc/mosquitto/brooder"
conf="$root/etc/mosquitto/conf.d/brooder.conf"
own="$root/etc/brooder"

say() { echo "install.sh: $*"; }
stop() { echo "install.sh: $*" >&2; exit 2; }

if [ -z "$root" ] && ! command -v mosquitto_passwd >/dev/null 2>&1; then
    command -v apt-get >/dev/null 2>&1 || stop "Mosquitto is missing; install mosquitto 2 and openssl"
    apt-get update -q >/dev/null
    DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends mosquitto openssl >/dev/null
fi
[ -e "$own/brooder.toml" ] || stop "$own/brooder.toml is missing; first: sudo sh deploy/install.sh"
if grep -q '^\[built_in_broker\]' "$own/brooder.toml"; then
    stop "$own/brooder.toml has a [built_in_broker]; take it out, the probes get new accounts"
fi

mkdir -p "$files" "$(dirname "$conf")"
if [ ! -e "$files/broker.crt" ]; then
    # By its name and by each of its addresses: a probe may be told either.
    # shellcheck disable=SC2046 # several words on purpose
    sh "$here/certificates.sh" "$files" "$(hostname).local" localhost 127.0.0.1 \
        $(hostname -I 2>/dev/null | tr ' ' '\n' | grep -v : || true) >/dev/null
    say "made a certificate; keep $files/ca.key somewhere else than on this board"
fi
sh "$here/first-files.sh" "$files" "$own/broker-password"
if ! grep -q '^\[broker\]' "$own/brooder.toml"; then
    cp -p "$own/brooder.toml" "$own/brooder.toml.before"
    cat >>"$own/brooder.toml" <<'LINES'

[broker]
host = "localhost"
username = "monitor"
password_file = "broker-password"
LINES
fi
[ -e "$conf" ] || install -m 644 "$here/brooder.conf" "$conf"
chmod 750 "$files"
chmod 640 "$files/broker.key" "$own/broker-password"
if [ -z "$root" ]; then
    chgrp mosquitto "$files" "$files/passwords" "$files/rights" "$files"/broker.*
    chgrp brooder "$own/broker-password"
    systemctl restart mosquitto.service || stop "Mosquitto does not start; look: journalctl -u mosquitto"
    systemctl restart brooder.service
fi
say "Mosquitto is set up. Each probe gets its account with: sudo brooder probes add NAME"
