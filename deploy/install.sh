#!/bin/sh
# Installs swimup on Debian 12 or 13, or 64-bit Raspberry Pi OS: broker, service, page. Safe to run again at any time.
#   sudo sh deploy/install.sh --tls
set -eu
here=$(cd "$(dirname "$0")" && pwd)
# shellcheck source=deploy/install/act.sh
. "$here/install/act.sh"
# shellcheck source=deploy/install/broker.sh
. "$here/install/broker.sh"
# shellcheck source=deploy/install/program.sh
. "$here/install/program.sh"
# shellcheck source=deploy/install/health.sh
. "$here/install/health.sh"
# shellcheck source=deploy/install/remove.sh
. "$here/install/remove.sh"

usage() {
    cat <<END
sudo sh deploy/install.sh [options]

  --tls              page and broker are reached from the room's network with TLS; makes an authority of your own.
                     Without it the page is for this machine only, and probes come in without TLS
  --plain-too        with --tls: probes that know no TLS come in as well; who listens on the network hears their passwords
  --here-only        the broker is reached from this machine only
  --name NAME        one more name by which phones and probes reach this machine, such as shed.home.arpa
  --no-broker        you have a broker of your own
  --broker-port N    its port (1883); with --tls the network's is 7000 higher (8883)
  --page-port N      the page's port (8417)
  --from PATH        the tree to install from (the one this script is in)
  --dry-run          tells each action, does nothing
  --uninstall        removes it all but record and configuration; with --purge those too
  --only broker      writes the broker's files only, with --root DIR below that folder; --only packages: these only
END
    exit "${1:-2}"
}

FROM=$(dirname "$here")
ANSWERS=/etc/swimup/install.answers
TLS="" PLAIN="" LAN="" BROKER="" NAME="" BROKER_PORT="" PAGE_PORT=""
UNINSTALL=no PURGE=no ONLY="" FIRST_PASSWORD=""
while [ $# -gt 0 ]; do
    case $1 in
        --tls) TLS=yes ;;
        --plain-too) PLAIN=yes ;;
        --here-only) LAN=no ;;
        --no-broker) BROKER=no ;;
        --name) NAME=${2:?"--name needs a name"} && shift ;;
        --broker-port) BROKER_PORT=${2:?"--broker-port needs a number"} && shift ;;
        --page-port) PAGE_PORT=${2:?"--page-port needs a number"} && shift ;;
        --from) FROM=$(cd "${2:?"--from needs a folder"}" && pwd) && shift ;;
        --root) ROOT=${2:?"--root needs a folder"} && shift ;;
        --only) ONLY=${2:?"--only needs packages or broker"} && shift ;;
        --dry-run) DRY=yes ;;
        --uninstall) UNINSTALL=yes ;;
        --purge) PURGE=yes ;;
        -h | --help) usage 0 ;;
        *) usage ;;
    esac
    shift
done

# What is not said now is as it was said the first time.
answer() {
    if [ -n "$2" ]; then
        echo "$2"
    else
        said=$(sed -n "s/^$1=//p" "$ROOT$ANSWERS" 2>/dev/null || true)
        echo "${said:-$3}"
    fi
}
TLS=$(answer tls "$TLS" no)
PLAIN=$(answer plain "$PLAIN" no)
LAN=$(answer lan "$LAN" yes)
BROKER=$(answer broker "$BROKER" yes)
NAME=$(answer name "$NAME" "")
BROKER_PORT=$(answer broker_port "$BROKER_PORT" 1883)
PAGE_PORT=$(answer page_port "$PAGE_PORT" 8417)
for number in "$BROKER_PORT" "$PAGE_PORT"; do
    case $number in
        "" | *[!0-9]* | 0* | ??????*) stop "\"$number\" is no port." "A number from 1 to 65535." ;;
    esac
done
case $NAME in
    *[!A-Za-z0-9.-]*) stop "\"$NAME\" is no name of a machine." "Letters, digits, dots and hyphens." ;;
esac
TLS_PORT=$((BROKER_PORT + 7000))
TRIAL_PORT=$((PAGE_PORT + 1))

keep_answers() {
    printf '%s\n' "# What install.sh was told; it is taken when it is run again without these options." "tls=$TLS" \
        "plain=$PLAIN" "lan=$LAN" "broker=$BROKER" "name=$NAME" "broker_port=$BROKER_PORT" "page_port=$PAGE_PORT" |
        put_file "$ANSWERS" 644 root:root answers
}

check_machine() {
    [ "$(id -u)" = 0 ] || [ "$DRY" = yes ] || stop "this needs root." "Run it as: sudo sh $0"
    command -v apt-get >/dev/null 2>&1 || stop "this machine has no apt-get." "Debian 12 or 13, or Raspberry Pi OS, is needed."
    [ -f "$FROM/deploy/swimup.service" ] || stop "$FROM is no tree of swimup." "Name it: --from PATH"
    case $(uname -m) in
        x86_64 | aarch64) ;;
        *) stop "this machine is a $(uname -m)." "A 64-bit system is needed: flash the 64-bit Raspberry Pi OS." ;;
    esac
}

tell_how_it_goes_on() {
    [ "$DRY" = no ] || return 0
    say ""
    if [ "$TLS" = yes ]; then
        say "The page: https://${NAME:-$(uname -n | sed 's/\.local$//').local}:$PAGE_PORT/"
        say "A phone trusts it once it has $TLS_FOLDER/ca.pem, whose SHA-256 fingerprint is:"
        say "  $(openssl x509 -in "$TLS_FOLDER/ca.pem" -noout -fingerprint -sha256 | sed 's/.*=//')"
    else
        say "The page: http://127.0.0.1:$PAGE_PORT/ on this machine only. For phones run this again with --tls."
    fi
    tell_page_password
    [ "$BROKER" = no ] || say "Next: let a probe in.  sudo sh $here/add-probe.sh NAME TOPIC"
    say "Then say what you have in $CONFIG"
}

if [ "$UNINSTALL" = yes ]; then
    check_machine
    remove_all
    exit 0
fi
case $ONLY in
    packages)
        check_machine
        put_packages
        exit 0
        ;;
    broker)
        [ "$TLS" = no ] || [ -z "$ROOT" ] || stop "--root cannot make certificates." "Leave --tls out."
        put_broker
        exit 0
        ;;
    "") [ -z "$ROOT" ] || stop "--root goes with --only broker." ;;
    *) usage ;;
esac

check_machine
[ "$BROKER" = no ] || refuse_a_foreign_broker
put_packages
put_user
keep_answers
put_program
put_certificates
[ "$BROKER" = no ] || put_broker
put_config
put_page_password
put_command
put_units
start_all
check_health
tell_how_it_goes_on
