#!/bin/sh
# Lets a probe in at the broker: a name, a password that is shown once, and the topics it may publish, nothing else.
#   sudo sh deploy/add-probe.sh ash-probe home/ash/water home/ash/air
#   sudo sh deploy/add-probe.sh --again ash-probe home/ash/water     a new password, and these topics in place of the old
#   sudo sh deploy/add-probe.sh --remove ash-probe
set -eu
here=$(cd "$(dirname "$0")" && pwd)
# shellcheck source=deploy/install/act.sh
. "$here/install/act.sh"
# shellcheck source=deploy/install/broker.sh
. "$here/install/broker.sh"

usage() {
    say "sh deploy/add-probe.sh [--again] NAME TOPIC...    or    --remove NAME"
    exit "${1:-2}"
}

# Names and topics become lines of the rules: nothing that could end a line or mean more than one topic gets in.
check_name() {
    case $1 in
        "" | *[!a-z0-9-]* | -*) stop "\"$1\" is no name for a probe." "Small letters, digits and hyphens, such as ash-probe." ;;
        "$MONITOR_USER") stop "\"$1\" is the monitor's own name." "Choose another." ;;
    esac
    [ "${#1}" -le 40 ] || stop "\"$1\" is too long." "At most 40 characters."
}

check_topic() {
    case $1 in
        "" | *[!A-Za-z0-9._:@/-]*)
            stop "\"$1\" is no topic that can be given to a probe." \
                "Letters, digits and . _ : @ - between slashes, such as home/ash/water; no + and no #."
            ;;
        swimup | swimup/*) stop "\"$1\" belongs to the monitor." "Use another first word, such as home/ash/water." ;;
    esac
    [ "${#1}" -le 200 ] || stop "\"$1\" is too long." "At most 200 characters."
}

mode=new
while [ $# -gt 0 ]; do
    case $1 in
        --again) mode=again ;;
        --remove) mode=remove ;;
        --root) ROOT=${2:?} && shift ;;
        -h | --help) usage 0 ;;
        -*) usage ;;
        *) break ;;
    esac
    shift
done
[ $# -ge 1 ] || usage
name=$1
shift
check_name "$name"
has_login "$MONITOR_USER" || stop "there is no broker set up by install.sh here." "Run it first; as root."
[ -w "$ROOT$RULES" ] || stop "$RULES cannot be written." "Run this as root: sudo sh $0 ..."

if [ "$mode" = remove ]; then
    [ $# -eq 0 ] || usage
    has_login "$name" || stop "no probe \"$name\" is known." "Known: $(cut -d: -f1 "$ROOT$PASSWORDS" | tr '\n' ' ')"
    without_login "$name" | put_file "$PASSWORDS" 640 root:mosquitto rules
    without_rules "$name" | put_file "$RULES" 640 root:mosquitto rules
    read_rules_again
    exit 0
fi

[ $# -ge 1 ] || usage
for topic in "$@"; do
    check_topic "$topic"
done
if [ "$mode" = new ] && has_login "$name"; then
    stop "\"$name\" is known already." "--again makes a new password and replaces its topics."
fi

# how_to_enter: by which port a probe of the room's network comes in.
how_to_enter() {
    conf=$ROOT$BROKER_CONF
    if grep -q '^certfile ' "$conf"; then
        say "It comes in with TLS on port $(sed -n 's/^listener \([0-9]*\)$/\1/p' "$conf" | tail -n 1)," \
            "and trusts /etc/swimup/tls/ca.pem."
    else
        say "It comes in on port $(sed -n 's/^listener \([0-9]*\).*/\1/p' "$conf")."
    fi
}

password=$(new_password)
put_rules "$name" "$(printf 'topic write %s\n' "$@")"
put_login "$name" "$password"
cat <<END

Give the probe these; the password is not shown again:
  user      $name
  password  $password
It may publish on: $*
It may read nothing. $(how_to_enter)
Once it speaks, have it watched:  sudo swimup listen --write && sudo systemctl restart swimup
END
read_rules_again
