# Sourced by install.sh: whether what was installed works, told in words. It ends what it started, and leaves nothing behind.
# shellcheck shell=sh

TRIAL=install-check
PATIENCE=${SWIMUP_PATIENCE:-180} # seconds; a small board with an old card takes half a minute for a start
STARTED=""

# until_true WHAT COMMAND...: tries once a second; ends with what was awaited when it never comes.
until_true() {
    awaited=$1
    shift
    deadline=$(($(date +%s) + PATIENCE))
    while ! "$@" >/dev/null 2>&1; do
        if [ "$(date +%s)" -ge "$deadline" ]; then
            tail -n 20 "$STATE"/*.log 2>/dev/null >&2 || true
            stop "$awaited did not come within $PATIENCE s." "See the lines above, or: journalctl -u swimup -u mosquitto"
        fi
        sleep 1
    done
}

end_what_was_started() {
    for number in $STARTED; do
        kill "$number" 2>/dev/null || continue
        wait "$number" 2>/dev/null || true
    done
    STARTED=""
}

at_end() {
    [ "$DRY" = yes ] || tell_page_password
    end_what_was_started
    [ -z "${BROKER_RUN:-}" ] || rm -rf "$BROKER_RUN"
    rm -rf "$STATE"
}

# Without systemd, as in a chroot, broker and service run by hand for as long as the check takes.
start_broker_by_hand() {
    if ! [ -d /run/mosquitto ]; then
        BROKER_RUN=/run/mosquitto
        install -d -o mosquitto -g mosquitto "$BROKER_RUN"
    fi
    mosquitto -c /etc/mosquitto/mosquitto.conf >"$STATE/broker.log" 2>&1 &
    STARTED="$! $STARTED"
}

start_service_by_hand() {
    # Not through as_swimup: the number would be that of a shell around it.
    setpriv --reuid swimup --regid swimup --clear-groups --no-new-privs -- \
        "$HOME_FOLDER/bin/swimup" run --config "$1" >"$STATE/$2.log" 2>&1 &
    STARTED="$! $STARTED"
}

# The tools read name and password from a file, as arguments can be seen by everybody.
make_client_options() {
    mkdir -p "$STATE/login" "$STATE/anonymous"
    for tool in mosquitto_pub mosquitto_sub; do
        printf '%s\n' "-h 127.0.0.1" "-p $BROKER_PORT" >"$STATE/anonymous/$tool"
        printf '%s\n' "-h 127.0.0.1" "-p $BROKER_PORT" "-u $MONITOR_USER" "-P $(cat "$MONITOR_SECRET")" >"$STATE/login/$tool"
    done
}

publish() { XDG_CONFIG_HOME="$STATE/$1" timeout 20 mosquitto_pub -q 1 -t "$2" -m "$3" ${4:+"$4"}; }
lets_in() { publish login "swimup/$TRIAL/hello" hello; }
reached() { python3 -c "import socket; socket.create_connection(('127.0.0.1', $BROKER_PORT), 2).close()"; }

check_broker() {
    make_client_options
    until_true "an answer of the broker" reached
    until_true "the broker's word that it takes the monitor's password" lets_in
    ok "the broker takes the monitor's name and password"
    if publish anonymous "swimup/$TRIAL/hello" hello >/dev/null 2>&1; then
        stop "the broker lets anybody in without a password." "Look for allow_anonymous in /etc/mosquitto."
    fi
    ok "the broker refuses whoever has no password"
}

trial_config() {
    cat <<END
[site]
id = "$TRIAL"
timezone = "UTC"
feeding_times = ["07:00"]
[broker]
url = "mqtt://127.0.0.1:$BROKER_PORT"
user = "$MONITOR_USER"
password_file = "broker.password"
[store]
path = "trial.sqlite3"
[web]
port = $TRIAL_PORT
[[vessel]]
id = "ash"
litres = 1.5
[[probe]]
id = "trial"
topic = "swimup/$TRIAL/water"
measures = "water"
vessel = "ash"
END
}

reading_seen() {
    publish login "swimup/$TRIAL/water" 21.25 || return 1
    as_swimup "$HOME_FOLDER/bin/swimup" status --json --config "$STATE/trial/trial.toml" | grep -q '"value": 21.25'
}

# A second monitor with a store of its own: no invented reading ever gets into the keeper's record.
check_reading() {
    chmod 711 "$STATE"
    mkdir "$STATE/trial"
    trial_config >"$STATE/trial/trial.toml"
    install -m 600 "$MONITOR_SECRET" "$STATE/trial/broker.password"
    chown -R swimup:swimup "$STATE/trial"
    chmod 700 "$STATE/trial"
    start_service_by_hand "$STATE/trial/trial.toml" trial
    trial=${STARTED%% *}
    until_true "a reading on the API" reading_seen
    ok "a reading that came through the broker with a password is on the API"
    kill "$trial"
    wait "$trial" || stop "the trial did not end as it should." "$(tail -n 3 "$STATE/trial.log")"
    # What the trial left at the broker: what it retained, and its session.
    publish login "swimup/$TRIAL/status" "" -r
    publish login "swimup/$TRIAL/summary" "" -r
    XDG_CONFIG_HOME="$STATE/login" timeout 20 mosquitto_sub -i "swimup-$TRIAL" -t "swimup/$TRIAL/none" -E
}

service_answers() { as_swimup "$HOME_FOLDER/bin/swimup" status --config "$CONFIG"; }
service_connected() {
    as_swimup "$HOME_FOLDER/bin/swimup" status --json --config "$CONFIG" | tr -d ' \n' | grep -q '"connected":true'
}

check_service() {
    as_swimup "$HOME_FOLDER/bin/swimup" check --config "$CONFIG" >"$STATE/check.log" 2>&1 ||
        stop "the configuration has mistakes." "$(cat "$STATE/check.log")"
    ok "the configuration is sound"
    if systemd_runs; then
        until_true "a running service" systemctl is-active --quiet swimup
        ok "systemd says that the service runs"
    else
        start_service_by_hand "$CONFIG" service
        say "  (systemd does not run here, so the service was started by hand for this check)"
    fi
    until_true "an answer of the service" service_answers
    ok "the service answers"
    if [ "$BROKER" = yes ]; then
        until_true "the service's connection to the broker" service_connected
        ok "the service is connected to the broker"
    fi
}

check_health() {
    if [ "$DRY" = yes ]; then
        say "would: check that broker and service work"
        return 0
    fi
    say "Checking:"
    if [ "$BROKER" = yes ]; then
        systemd_runs || start_broker_by_hand
        check_broker
        check_reading
    fi
    check_service
    end_what_was_started
}
