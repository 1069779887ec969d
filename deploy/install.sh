#!/bin/sh
# Installs the brooder monitor as a service on Debian or Raspberry Pi OS. Run as root from a
# checkout; run again to upgrade. Asks nothing; doing it twice changes nothing.
#   sudo sh deploy/install.sh              install or upgrade, start the service
#   sudo sh deploy/install.sh mosquitto    the same, with Mosquitto as its broker
#   sudo sh deploy/install.sh rollback     back to the version before
#   sudo sh deploy/install.sh uninstall    remove the program; configuration and records stay
# For a dry run into a folder: ROOT=/some/folder sh deploy/install.sh (touches no system service).
set -eu
# The service's own user reads the program, whatever root's umask and the checkout's modes are.
umask 022

root=${ROOT:-}
here=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
home="$root/opt/brooder"
conf="$root/etc/brooder"
state="$root/var/lib/brooder"
unit="$root/etc/systemd/system/brooder.service"
logs="$root/etc/systemd/journald.conf.d/brooder.conf"
command="$root/usr/local/bin/brooder"

say() { echo "install.sh: $*"; }
stop() { echo "install.sh: $*" >&2; exit 2; }
system() { if [ -z "$root" ] && command -v systemctl >/dev/null 2>&1; then systemctl "$@"; fi; }

[ -n "$root" ] || [ "$(id -u)" = 0 ] || stop "needs root; run: sudo sh deploy/install.sh"

case "${1:-install}" in
install | mosquitto) ;;
rollback)
    [ -L "$home/previous" ] || stop "there is no version before this one to go back to"
    before=$(readlink "$home/previous")
    now=$(readlink "$home/current")
    [ -e "$home/$before/.complete" ] || stop "the version before is not whole; install it again"
    ln -sfn "$before" "$home/current"
    ln -sfn "$now" "$home/previous"
    install -D -m 644 "$home/current/deploy/systemd/brooder.service" "$unit"
    system daemon-reload
    system restart brooder.service
    say "back to $(basename "$before")"
    say "records that only the newer version can read are kept in $state as journal.db.newer-*;" \
        "then the watch goes on with their ledger, and says so"
    exit 0
    ;;
uninstall)
    system disable --now brooder.service 2>/dev/null || true
    rm -rf "$home" "$unit" "$logs" "$command"
    system daemon-reload
    say "removed; the configuration in $conf and the records in $state are kept"
    exit 0
    ;;
*) stop "\"$1\" is not known; say nothing, mosquitto, rollback or uninstall" ;;
esac

python=${PYTHON:-python3}
if ! command -v "$python" >/dev/null 2>&1 || ! "$python" -c 'import venv, ensurepip' 2>/dev/null; then
    if [ -z "$root" ] && command -v apt-get >/dev/null 2>&1; then
        apt-get update -q >/dev/null
        DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends python3 python3-venv >/dev/null
    else
        stop "Python with venv is missing; install python3 and python3-venv"
    fi
fi
"$python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' ||
    stop "$("$python" --version) is too old; Python 3.11 or newer is needed (Debian 12, Raspberry Pi OS 12)"

# A version is named by what is in it, so the same checkout is never installed twice.
version=$(cd "$here" && find monitor config deploy pyproject.toml README.md -type f \
    ! -path '*/__pycache__/*' -exec cksum {} + | sort -k3 | cksum | cut -d' ' -f1)
target="$home/versions/$version"

if [ ! -e "$target/.complete" ]; then
    rm -rf "$target"
    mkdir -p "$target"
    for part in monitor config deploy pyproject.toml README.md DEVELOPERS.md; do
        cp -R "$here/$part" "$target/"
    done
    find "$target" -name __pycache__ -type d -prune -exec rm -rf {} +
    # start.sh makes the environment: one way to install, tried by everybody.
    sh "$target/deploy/start.sh" --help >/dev/null
    touch "$target/.complete"
fi
chmod 755 "$home" "$home/versions"
chmod -R u=rwX,go=rX "$target"

if [ "$(readlink "$home/current" 2>/dev/null || true)" != "versions/$version" ]; then
    if [ -L "$home/current" ]; then
        ln -sfn "$(readlink "$home/current")" "$home/previous"
    fi
    ln -sfn "versions/$version" "$home/current"
    # Only this version and the one before are kept.
    for old in "$home"/versions/*; do
        name="versions/$(basename "$old")"
        [ "$name" = "versions/$version" ] || [ "$name" = "$(readlink "$home/previous" 2>/dev/null || true)" ] || rm -rf "$old"
    done
fi

if [ -z "$root" ]; then
    getent group brooder >/dev/null || groupadd --system brooder
    getent passwd brooder >/dev/null ||
        useradd --system --gid brooder --home-dir /var/lib/brooder --no-create-home --shell /usr/sbin/nologin brooder
fi
mkdir -p "$conf" "$state"
if [ ! -e "$conf/brooder.toml" ]; then
    # The records go to the state folder that systemd makes, not beside the configuration.
    sed -e '/^\[journal\]/,$d' "$here/config/brooder.toml" >"$conf/brooder.toml"
    say "wrote $conf/brooder.toml: make it yours, then: sudo systemctl restart brooder"
fi
if [ -z "$root" ]; then
    chown -R root:brooder "$conf"
    chown -R brooder:brooder "$state"
fi
chmod 750 "$conf"
chmod 640 "$conf/brooder.toml"
chmod 700 "$state"

install -D -m 644 "$here/deploy/systemd/brooder.service" "$unit"
install -D -m 644 "$here/deploy/systemd/journald-brooder.conf" "$logs"
mkdir -p "$(dirname "$command")"
# The service's configuration, also for who stands in a checkout that has one of its own.
cat >"$command" <<END
#!/bin/sh
export BROODER_CONFIG="\${BROODER_CONFIG:-$conf/brooder.toml}"
exec "$home/current/.venv/bin/brooder" "\$@"
END
chmod 755 "$command"
system daemon-reload
if [ -z "$root" ] && command -v systemctl >/dev/null 2>&1; then
    systemctl try-restart systemd-journald.service || true
    systemctl enable --quiet brooder.service
    systemctl restart brooder.service
    say "version $version runs; look with: systemctl status brooder"
else
    say "version $version is in place; no service manager was touched"
fi
if [ "${1:-install}" = mosquitto ]; then
    sh "$here/deploy/mosquitto/set-up.sh"
fi
