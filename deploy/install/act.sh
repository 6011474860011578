# Sourced by install.sh and add-probe.sh: how an action is told, tried out, and left alone when its result is there already.
# shellcheck shell=sh

DRY=${DRY:-no}
ROOT=${ROOT:-}

# Drafts and marks of this run; only the caller's user can look into it.
STATE=$(mktemp -d "${TMPDIR:-/tmp}/swimup.XXXXXX")
at_end() { rm -rf "$STATE"; }
trap at_end EXIT
trap 'exit 130' INT TERM HUP

say() { printf '%s\n' "$*"; }
ok() { printf '  ok: %s\n' "$*"; }

# stop WHAT TO-DO: ends with one sentence of what was found and one of what to do.
stop() {
    printf 'Stopped: %s\n' "$1" >&2
    [ $# -lt 2 ] || printf '  %s\n' "$2" >&2
    exit 1
}

# act WORDS COMMAND...: tells the action and does it; with --dry-run it is only told.
act() {
    words=$1
    shift
    if [ "$DRY" = yes ]; then
        say "would: $words"
        return 0
    fi
    say "- $words"
    "$@"
}

# changed KIND, has_changed KIND: marks are files, as the end of a pipe could not set a variable.
changed() { : >"$STATE/changed-$1"; }
has_changed() { [ -e "$STATE/changed-$1" ]; }

# Where the machine's users and groups are not those of the tree that is written to, files keep the caller's.
owner_known() {
    [ -z "$ROOT" ] && getent passwd "${1%%:*}" >/dev/null && getent group "${1##*:}" >/dev/null
}

# put_file PATH MODE OWNER:GROUP KIND: writes standard input there, as a whole, unless just that is there already.
put_file() {
    target=$ROOT$1
    draft=$STATE/draft
    cat >"$draft"
    if [ -f "$target" ] && cmp -s "$draft" "$target"; then
        :
    elif [ "$DRY" = yes ]; then
        say "would: write $1"
        changed "$4"
        return 0
    else
        say "- write $1"
        mkdir -p "$(dirname "$target")"
        # The content only ever stands in a file that the wrong people cannot open, and a power cut leaves the old or the new.
        (umask 077 && cp "$draft" "$target.new")
        grant "$target.new" "$2" "$3"
        sync "$target.new"
        mv -f "$target.new" "$target"
        changed "$4"
        return 0
    fi
    grant "$target" "$2" "$3"
}

# put_folder PATH MODE OWNER:GROUP
put_folder() {
    if [ -d "$ROOT$1" ]; then
        grant "$ROOT$1" "$2" "$3"
        return 0
    fi
    if [ "$DRY" = yes ]; then
        say "would: make the folder $1"
        return 0
    fi
    mkdir -p "$ROOT$1"
    grant "$ROOT$1" "$2" "$3"
}

# grant FILE MODE OWNER:GROUP: only what differs is touched.
grant() {
    [ "$DRY" = no ] || return 0
    if owner_known "$3" && [ "$(stat -c %U:%G "$1")" != "$3" ]; then
        chown "$3" "$1"
    fi
    [ "$(stat -c %a "$1")" = "$2" ] || chmod "$2" "$1"
}

# new_password: twenty letters and digits that are not taken for each other, 98 bits.
new_password() {
    LC_ALL=C tr -dc 'abcdefghjkmnpqrstuvwxyz23456789' </dev/urandom | head -c 20 | sed 's/...../&-/g; s/-$//'
}

# systemd_runs: whether units can be started; in a chroot or a container they can only be enabled.
systemd_runs() { [ -z "$ROOT" ] && [ -d /run/systemd/system ]; }
