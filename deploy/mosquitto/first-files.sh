#!/bin/sh
# The first accounts and rights for Mosquitto: the service's own, and the house's rights. What is
# there already stays. Called by set-up.sh here and by the container.
#   sh first-files.sh FOLDER PASSWORD-FILE      (the service's password is written to the latter)
set -eu
umask 077

here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd)
files=$1
kept=$2

if [ ! -e "$files/rights" ]; then
    # Nobody but the service and the house yet: brooder probes add gives each probe its own.
    {
        echo "# Who may read and write what. brooder probes add writes the probes' blocks here."
        echo
        sed -n '/^user monitor$/,$p' "$here/rights" |
            sed -e '/^topic read brooder\/porch/d' -e '/^topic read brooder\/outside/d' \
                -e 's|^topic read brooder/wires/+$|topic read brooder/#|'
    } >"$files/rights"
fi
[ -e "$files/passwords" ] || : >"$files/passwords"
if ! grep -q '^monitor:' "$files/passwords"; then
    password=$(od -An -N16 -tx1 /dev/urandom | tr -d ' \n')
    if command -v mosquitto_passwd >/dev/null 2>&1; then
        # Through a file for us alone: an argument could be seen by every user of the board.
        made=$(mktemp "$files/.new.XXXXXX")
        printf 'monitor:%s\n' "$password" >"$made"
        mosquitto_passwd -U "$made"
        cat "$made" >>"$files/passwords"
        rm -f "$made"
    else # beside Mosquitto's own container: the same form, written by the monitor
        printf '%s' "$password" | PYTHONPATH="$here/../.." "$here/../../.venv/bin/python" -c '
import sys
from monitor.intake.accounts import hashed
print("monitor:" + hashed(sys.stdin.read()))' >>"$files/passwords"
    fi
    printf '%s\n' "$password" >"$kept"
fi
chmod 640 "$files/passwords" "$files/rights"
