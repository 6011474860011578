# Sourced by install.sh and add-probe.sh: the broker's configuration, passwords and rules.
# shellcheck shell=sh

BROKER_FOLDER=/etc/swimup/broker
PASSWORDS=$BROKER_FOLDER/passwords
RULES=$BROKER_FOLDER/rules
BROKER_CONF=/etc/mosquitto/conf.d/swimup.conf
MONITOR_USER=swimup
MONITOR_SECRET=/etc/swimup/broker.password

# refuse_a_foreign_broker: what somebody set up by hand is not changed under their feet.
refuse_a_foreign_broker() {
    for file in "$ROOT"/etc/mosquitto/mosquitto.conf "$ROOT"/etc/mosquitto/conf.d/*.conf; do
        if [ "$file" = "$ROOT$BROKER_CONF" ] || ! [ -f "$file" ]; then
            continue
        fi
        if grep -Eq '^[[:space:]]*(listener|port|allow_anonymous|password_file|acl_file|per_listener_settings)[[:space:]]' "$file"
        then
            stop "$file already says who may use the broker." \
                "Run this with --no-broker, and give the monitor a name and a password there (README, \"Broker\")."
        fi
    done
}

# broker_listeners: the lines that say where the broker listens.
broker_listeners() {
    if [ "$LAN" = no ]; then
        echo "listener $BROKER_PORT 127.0.0.1"
    elif [ "$TLS" = yes ]; then
        if [ "$PLAIN" = yes ]; then
            echo "listener $BROKER_PORT"
        else
            echo "# Without TLS on this machine only; the room's probes come in with TLS."
            echo "listener $BROKER_PORT 127.0.0.1"
        fi
        cat <<END
listener $TLS_PORT
certfile $BROKER_FOLDER/broker.pem
keyfile $BROKER_FOLDER/broker.key
tls_version tlsv1.2
END
    else
        echo "listener $BROKER_PORT"
    fi
}

broker_conf() {
    cat <<END
# Made by swimup's deploy/install.sh, which writes it anew. Options of your own belong into a file beside this one.
per_listener_settings false
allow_anonymous false
password_file $PASSWORDS
acl_file $RULES

$(broker_listeners)

# The monitor acknowledges what it has stored, once a minute: there must be room on the way, and the rest must wait.
max_inflight_messages 2000
max_queued_messages 100000
max_queued_bytes 67108864
persistence true
autosave_interval 60
persistent_client_expiration 14d

# A reading is small. What is larger is no reading; who sends packets far larger is cut off before they fill the memory.
message_size_limit 65536
max_packet_size 98304
max_connections 200
END
}

# put_broker: all files of the broker. A probe's lines, which add-probe.sh made, stay.
put_broker() {
    refuse_a_foreign_broker
    put_folder /etc/swimup 751 root:root
    put_folder "$BROKER_FOLDER" 750 root:mosquitto
    broker_conf | put_file "$BROKER_CONF" 644 root:root broker
    if ! [ -s "$ROOT$MONITOR_SECRET" ] || ! has_login "$MONITOR_USER"; then
        monitor_password=$(new_password)
        printf '%s\n' "$monitor_password" | put_file "$MONITOR_SECRET" 640 root:swimup service
        put_login "$MONITOR_USER" "$monitor_password"
    fi
    if ! has_rules "$MONITOR_USER"; then
        # It reads what any probe says; it writes below its own name only.
        put_rules "$MONITOR_USER" "topic read #" "topic readwrite swimup/#"
    fi
    grant_broker_files
}

grant_broker_files() {
    [ "$DRY" = no ] || return 0
    grant "$ROOT$MONITOR_SECRET" 640 root:swimup
    grant "$ROOT$PASSWORDS" 640 root:mosquitto
    grant "$ROOT$RULES" 640 root:mosquitto
}

has_login() { [ -f "$ROOT$PASSWORDS" ] && grep -q "^$1:" "$ROOT$PASSWORDS"; }
has_rules() { [ -f "$ROOT$RULES" ] && grep -qx "user $1" "$ROOT$RULES"; }

# put_login USER PASSWORD: in place of an older one. The password stands in no argument, where others could see it.
put_login() {
    if [ "$DRY" = yes ]; then
        say "would: give $1 a password at the broker"
        return 0
    fi
    hashed=$STATE/login
    printf '%s:%s\n' "$1" "$2" >"$hashed"
    mosquitto_passwd -U "$hashed"
    { without_login "$1"; cat "$hashed"; } | put_file "$PASSWORDS" 640 root:mosquitto rules
    rm -f "$hashed"
}

without_login() { [ ! -f "$ROOT$PASSWORDS" ] || grep -v "^$1:" "$ROOT$PASSWORDS" || true; }

# put_rules USER LINE...: the block of a user, in place of an older one.
put_rules() {
    rules_user=$1
    shift
    {
        without_rules "$rules_user"
        printf 'user %s\n' "$rules_user"
        printf '%s\n' "$@"
        echo
    } | put_file "$RULES" 640 root:mosquitto rules
}

without_rules() {
    if [ -f "$ROOT$RULES" ]; then
        awk -v user="$1" '$1 == "user" { mine = ($2 == user) } !mine' "$ROOT$RULES"
    else
        printf '# Who may do what at the broker: blocks made by install.sh and add-probe.sh.\n\n'
    fi
}

# read_rules_again: tells a running broker.
read_rules_again() {
    if systemd_runs; then
        act "tell the broker to read its passwords and rules again" systemctl kill --signal=HUP mosquitto
    else
        say "A running broker reads passwords and rules again at a hangup signal: kill -HUP and its number."
    fi
}
