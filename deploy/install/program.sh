# Sourced by install.sh: packages, user, program, configuration, units.
# shellcheck shell=sh

HOME_FOLDER=/opt/swimup
DATA=/var/lib/swimup
CONFIG=/etc/swimup/swimup.toml
PAGE_PASSWORD=$DATA/page.password
TLS_FOLDER=/etc/swimup/tls
UNIT=/etc/systemd/system/swimup.service
LOG_LIMITS=/etc/systemd/system/swimup.service.d/log-limits.conf
COMMAND=/usr/local/bin/swimup
READERS=/etc/swimup/.readers

put_packages() {
    wanted="systemd python3 python3-venv ca-certificates openssl"
    [ "$BROKER" = no ] || wanted="$wanted mosquitto mosquitto-clients"
    missing=""
    for package in $wanted; do
        dpkg-query -W -f '${db:Status-Status}\n' "$package" 2>/dev/null | grep -qx installed || missing="$missing $package"
    done
    [ -n "$missing" ] || return 0
    act "refresh the list of system packages" apt-get update -qq
    # shellcheck disable=SC2086  # one word a package
    act "install system packages:$missing" fetch_packages $missing
}

fetch_packages() { DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "$@" >/dev/null; }

put_user() {
    getent passwd swimup >/dev/null || act "make the system user swimup, who cannot log in" \
        useradd --system --user-group --home-dir "$DATA" --no-create-home --shell /usr/sbin/nologin swimup
    put_folder /etc/swimup 751 root:root
    put_folder "$DATA" 750 swimup:swimup
    # What an earlier installation left belongs to root meanwhile.
    [ ! -f "$READERS" ] || act "let swimup read its files in /etc/swimup again" give_back
    if [ -d "$DATA" ] && [ -n "$(find "$DATA" ! -user swimup -print -quit 2>/dev/null)" ] && [ "$DRY" = no ]; then
        act "give $DATA to swimup" chown -R swimup:swimup "$DATA"
    fi
}

give_back() {
    xargs -r -d '\n' chgrp -f swimup <"$READERS" || true # one that the keeper has removed meanwhile is no loss
    rm -f "$READERS"
}

# source_mark: one line that changes with anything the program is made from.
source_mark() {
    (cd "$FROM" && find monitor simulator pyproject.toml README.md LICENSE deploy/*.lock -type f ! -name '*.pyc' -print0 |
        LC_ALL=C sort -z | xargs -0 sha256sum | sha256sum | cut -d' ' -f1)
}

put_program() {
    mark=$(source_mark)
    kept=$HOME_FOLDER/.made-from
    if [ -f "$kept" ] && [ "$(cat "$kept")" = "$mark" ] && "$HOME_FOLDER/bin/swimup" --version >/dev/null 2>&1; then
        return 0
    fi
    python3 -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null || [ "$DRY" = yes ] ||
        stop "the system's Python is older than 3.11." "Debian 12 or later has what is needed."
    # After an update of the system its Python may be another one; then the environment is made anew.
    if [ -d "$HOME_FOLDER" ] && ! "$HOME_FOLDER/bin/python" -c '' 2>/dev/null; then
        act "remove $HOME_FOLDER, whose Python is gone" rm -rf "$HOME_FOLDER"
    fi
    [ -x "$HOME_FOLDER/bin/python" ] || act "make a virtual environment in $HOME_FOLDER" python3 -m venv "$HOME_FOLDER"
    act "fetch packages whose hashes are in deploy/requirements.lock (minutes on a small board)" install_locked
    act "install swimup from $FROM" install_ours
    act "note what it was made from" write_mark "$kept" "$mark"
    changed service
}

# Only what the locks name, byte for byte, is taken from an index; the tools that build what has no wheel come first.
install_locked() {
    for lock in build requirements; do
        run_pip --require-hashes --no-build-isolation -r "$FROM/deploy/$lock.lock"
    done
}

install_ours() { run_pip --no-deps --no-build-isolation --force-reinstall "$FROM"; }

run_pip() { PIP_DISABLE_PIP_VERSION_CHECK=1 PIP_ROOT_USER_ACTION=ignore "$HOME_FOLDER/bin/python" -m pip install --quiet --no-cache-dir "$@"; }

write_mark() { printf '%s\n' "$2" >"$1"; }

put_command() {
    [ "$(readlink "$COMMAND" 2>/dev/null)" = "$HOME_FOLDER/bin/swimup" ] && return 0
    [ ! -e "$COMMAND" ] || stop "there is another $COMMAND." "Move it away, and run this again."
    act "put the command swimup into $(dirname "$COMMAND")" ln -sfn "$HOME_FOLDER/bin/swimup" "$COMMAND"
}

# names_of_this_machine: by which names and addresses a phone or a probe may reach it.
names_of_this_machine() {
    name=$(uname -n)
    printf '%s\n%s.local\n' "$name" "${name%.local}"
    [ -z "$NAME" ] || printf '%s\n' "$NAME"
    hostname -I 2>/dev/null | tr ' ' '\n' | grep -Ev ':|^$' || true
}

# put_certificates: an authority of the keeper's own, and a certificate that it signed, for the page and the broker.
put_certificates() {
    [ "$TLS" = yes ] || return 0
    if ! [ -f "$TLS_FOLDER/page.pem" ] || ! openssl x509 -in "$TLS_FOLDER/page.pem" -noout -checkend 5184000 >/dev/null; then
        # shellcheck disable=SC2046  # one word a name
        act "make a certificate for this machine in $TLS_FOLDER" make_certificate $(names_of_this_machine | sort -u)
        changed service
    fi
    if [ "$DRY" = no ]; then
        grant "$TLS_FOLDER" 751 root:root
        grant "$TLS_FOLDER/page.key" 640 root:swimup
        if [ "$BROKER" = yes ]; then
            put_folder "$BROKER_FOLDER" 750 root:mosquitto
            put_file "$BROKER_FOLDER/broker.pem" 640 root:mosquitto broker <"$TLS_FOLDER/page.pem"
            put_file "$BROKER_FOLDER/broker.key" 640 root:mosquitto broker <"$TLS_FOLDER/page.key"
        fi
    fi
}

make_certificate() { (umask 022 && "$HOME_FOLDER/bin/swimup" cert --dir "$TLS_FOLDER" "$@" >"$STATE/certificate"); }

zone() {
    named=$(cat /etc/timezone 2>/dev/null || readlink /etc/localtime | sed 's,.*/zoneinfo/,,')
    [ -n "$named" ] && [ "$named" != Etc/UTC ] && echo "$named" || echo UTC
}

page_lines() {
    echo "port = $PAGE_PORT"
    echo "password_file = \"$PAGE_PASSWORD\""
    [ "$TLS" = yes ] || return 0
    echo 'host = "0.0.0.0"'
    echo "cert_file = \"$TLS_FOLDER/page.pem\""
    echo "key_file = \"$TLS_FOLDER/page.key\""
    echo "hostnames = [$(names_of_this_machine | sort -u | sed 's/.*/"&"/' | paste -sd, | sed 's/,/, /g')]"
    echo "address = \"https://${NAME:-$(uname -n | sed 's/\.local$//').local}:$PAGE_PORT\""
}

first_config() {
    cat <<END
# All that is needed; config/swimup.example.toml explains every option. After a change:
#   sudo -u swimup swimup check && sudo systemctl restart swimup

[site]
id = "home"
timezone = "$(zone)"
feeding_times = ["07:00", "18:00"]

[broker]
url = "mqtt://127.0.0.1:$BROKER_PORT"
$([ "$BROKER" = no ] || printf 'user = "%s"\npassword_file = "broker.password"' "$MONITOR_USER")

[store]
path = "$DATA/home.sqlite3"

[web]
$(page_lines)

[[vessel]]
id = "ash"
litres = 1.5

# For each probe: its topic, as it was given to deploy/add-probe.sh, and what it measures. "sudo swimup listen --write"
# hears what comes in and adds it here.
# [[probe]]
# id = "ash-water"
# topic = "home/ash/water"
# measures = "water"
# vessel = "ash"
# every = "10 s"
END
}

# put_config: written once; from then on it is the keeper's.
put_config() {
    [ -f "$CONFIG" ] || first_config | put_file "$CONFIG" 640 root:swimup service
    [ "$DRY" = yes ] || grant "$CONFIG" 640 root:swimup
    if [ "$TLS" = yes ] && [ -f "$CONFIG" ] && ! grep -q '^cert_file' "$CONFIG"; then
        say "The page has no TLS yet. Put these lines under [web] in $CONFIG in place of those of the same name:"
        page_lines | sed 's/^/  /'
    fi
}

put_page_password() {
    [ -s "$PAGE_PASSWORD" ] && return 0
    FIRST_PASSWORD=$(new_password)
    act "make a password for the page" keep_page_password "$FIRST_PASSWORD"
    changed service
}

# tell_page_password: once, and also when a later step fails: nobody could know it otherwise.
tell_page_password() {
    [ -n "$FIRST_PASSWORD" ] && [ -s "$PAGE_PASSWORD" ] || return 0
    say "The page's password, shown this once: $FIRST_PASSWORD"
    say "Another one: sudo -u swimup swimup password"
    FIRST_PASSWORD=""
}

keep_page_password() {
    printf '%s\n' "$1" | as_swimup "$HOME_FOLDER/bin/swimup" password --stdin --file "$PAGE_PASSWORD" >/dev/null
}

as_swimup() { setpriv --reuid swimup --regid swimup --clear-groups --no-new-privs -- "$@"; }

put_units() {
    put_file "$UNIT" 644 root:root unit <"$FROM/deploy/swimup.service"
    put_file "$LOG_LIMITS" 644 root:root unit <"$FROM/deploy/log-limits.conf"
    if has_changed unit && systemd_runs; then
        act "have systemd read its units again" systemctl daemon-reload
    fi
    systemctl is-enabled --quiet swimup.service 2>/dev/null ||
        act "have swimup started when the machine starts" systemctl enable --quiet swimup.service
}

# start_all: what has changed is started anew; what runs well is left alone.
start_all() {
    systemd_runs || return 0
    if [ "$BROKER" = yes ]; then
        if has_changed broker || ! systemctl is-active --quiet mosquitto; then
            act "start the broker anew" systemctl restart mosquitto
        elif has_changed rules; then
            read_rules_again
        fi
    fi
    if has_changed service || has_changed unit || ! systemctl is-active --quiet swimup; then
        act "start swimup" systemctl restart swimup
    fi
}
