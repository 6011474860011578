# Sourced by install.sh: takes away what it put there. Record, configuration and the probes' passwords stay unless purged.
# shellcheck shell=sh

remove_all() {
    if systemd_runs && systemctl is-active --quiet swimup; then
        act "stop swimup" systemctl stop swimup
    fi
    if systemctl is-enabled --quiet swimup.service 2>/dev/null; then
        act "have swimup no longer started with the machine" systemctl disable --quiet swimup.service
    fi
    remove_path "$UNIT"
    remove_path "$LOG_LIMITS"
    remove_empty "$(dirname "$LOG_LIMITS")"
    if systemd_runs; then
        act "have systemd read its units again" systemctl daemon-reload
    fi
    [ "$(readlink "$COMMAND" 2>/dev/null)" != "$HOME_FOLDER/bin/swimup" ] || remove_path "$COMMAND"
    remove_path "$HOME_FOLDER"
    if [ -e "$BROKER_CONF" ]; then
        remove_path "$BROKER_CONF"
        if systemd_runs && systemctl is-active --quiet mosquitto; then
            act "start the broker anew without our rules (it then answers this machine only)" systemctl restart mosquitto
        fi
    fi
    if [ "$PURGE" = yes ]; then
        remove_path /etc/swimup
        remove_path "$DATA"
    else
        keep_data
    fi
    if getent passwd swimup >/dev/null; then
        act "remove the user swimup" userdel swimup
    fi
    say "System packages stay; if nothing else needs the broker: apt-get remove mosquitto mosquitto-clients"
}

# The number of a user that is gone may be given to another: what stays belongs to root until the next installation.
keep_data() {
    if [ -d "$DATA" ]; then
        act "keep the record in $DATA, for root only" chown -R root:root "$DATA"
    fi
    if [ -d /etc/swimup ]; then
        act "keep the configuration in /etc/swimup, for root only" give_to_root
    fi
    say "Kept: $DATA and /etc/swimup. --uninstall --purge removes them too."
}

# The list is for the next installation: the keeper's own files, such as a channel's address, must be readable again.
give_to_root() {
    find /etc/swimup -group swimup -print >"$STATE/ours"
    put_file "$READERS" 600 root:root readers <"$STATE/ours" >/dev/null
    xargs -r -d '\n' chgrp root <"$STATE/ours"
}

remove_path() {
    if [ -e "$1" ] || [ -L "$1" ]; then
        act "remove $1" rm -rf "$1"
    fi
}

remove_empty() {
    [ ! -d "$1" ] || [ -n "$(ls -A "$1")" ] || act "remove $1" rmdir "$1"
}
