#!/bin/sh
# Makes the site's own certificate authority and a certificate for its broker.
#
#   sh certificates.sh FOLDER NAME...      for example: sh certificates.sh . broker.local 192.168.1.10
#
# FOLDER/ca.crt goes to the service (ca_file) and onto the probes; ca.key stays where nobody else
# can read it. Run again, it keeps the authority and makes a new certificate for the broker.
set -eu

[ $# -ge 2 ] || { echo "usage: sh certificates.sh FOLDER NAME..." >&2; exit 2; }
folder=$1
shift
umask 077
mkdir -p "$folder"

names=
for name in "$@"; do
    case $name in
        *[!0-9.]*:* | *:*) kind=IP ;;
        *[!0-9.]*) kind=DNS ;;
        *) kind=IP ;;
    esac
    names="${names:+$names,}$kind:$name"
done

if [ ! -e "$folder/ca.key" ]; then
    openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 3650 \
        -subj "/CN=brooder site authority" \
        -addext "basicConstraints=critical,CA:TRUE,pathlen:0" \
        -addext "keyUsage=critical,keyCertSign,cRLSign" \
        -keyout "$folder/ca.key" -out "$folder/ca.crt" 2>/dev/null
fi

request=$(mktemp)
extra=$(mktemp)
trap 'rm -f "$request" "$extra"' EXIT
openssl req -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -subj "/CN=$1" \
    -keyout "$folder/broker.key" -out "$request" 2>/dev/null
printf 'subjectAltName=%s\nextendedKeyUsage=serverAuth\n' "$names" > "$extra"
openssl x509 -req -in "$request" -days 1825 -CA "$folder/ca.crt" -CAkey "$folder/ca.key" \
    -CAcreateserial -extfile "$extra" -out "$folder/broker.crt" 2>/dev/null
chmod 644 "$folder/ca.crt" "$folder/broker.crt"
echo "Made $folder/broker.crt for $*; give $folder/ca.crt to the service and the probes."
