"""``swimup backup``: a copy of the store now, whether or not the daemon runs; or a list of the copies there are."""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from monitor.cli.client import json_option
from monitor.cli.told import plain, tell
from monitor.core.wording import rfc3339, zone
from monitor.settings.discover import config_option, load_or_exit
from monitor.settings.spare import LEFT_OUT, spare_copy
from monitor.store.backup import BY_HAND, make_backup, rotate
from monitor.store.backups import BackupFolder, BackupProblem
from monitor.store.errors import StoreError

if TYPE_CHECKING:
    from monitor.settings.settings import Settings
    from monitor.store.backups import Backup

EXIT_FAILED = 1


@click.command()
@click.option(
    "--to", metavar="FOLDER", type=click.Path(path_type=Path), help="Into this folder; nothing in it is deleted."
)
@click.option("--list", "only_list", is_flag=True, help="Make none; list those there are.")
@config_option
@json_option
def backup(to: Path | None, only_list: bool, config: Path | None, as_program: bool) -> None:
    """Copy the store and verify the copy. It may run beside the daemon; what that has not written yet is not in it.

    The daemon makes one each night by itself ([backup]). A copy of the configuration is laid beside it, without the secrets that
    stand in it in clear; files that the configuration names, such as passwords and certificates, are not in it. The store
    itself holds the push subscriptions of your phones: keep backups where nobody else reads them.
    """
    settings = load_or_exit(config)
    as_its_owner(settings.store.path)
    folder = BackupFolder.of(settings.store.path, settings.backup.folder if to is None else to.absolute())
    try:
        if only_list:
            _list(folder, as_program=as_program)
            return
        made = _make(settings, folder, keep_all=to is not None)
    except (BackupProblem, StoreError, OSError) as problem:
        click.echo(plain(str(problem)), err=True)
        sys.exit(EXIT_FAILED)
    tell(_document(made), _sentence(made), as_program=as_program)


def as_its_owner(store: Path) -> None:
    """Root would leave files that the daemon's user cannot open: ends the command with what to do instead."""
    folder = store.parent
    if os.geteuid() or not folder.exists():
        return
    owner = folder.stat().st_uid
    if owner:
        click.echo(f"{folder} belongs to user {owner}: run this as that user, with sudo -u '#{owner}'.", err=True)
        sys.exit(EXIT_FAILED)


def _make(settings: Settings, folder: BackupFolder, *, keep_all: bool) -> Backup:
    now = time.time_ns() // 1_000_000
    made = make_backup(settings.store.path, folder, now, BY_HAND, spare_copy(settings))
    if not keep_all:
        rotate(folder, settings.backup.stay(), zone(settings.site.timezone), now)
    return made


def _list(folder: BackupFolder, *, as_program: bool) -> None:
    found = folder.all()
    lines = [_line(one) for one in reversed(found)]
    told = "\n".join(lines) if lines else f"{folder.path}: no backup yet. Make one: swimup backup"
    tell({"folder": str(folder.path), "backups": [_document(one) for one in found]}, told, as_program=as_program)


def _line(one: Backup) -> str:
    more = "" if one.note is None else f", {many(one.note.counts.get('reading', 0))}, {one.note.why}"
    return f"{one.path}  {one.bytes / 1e6:.1f} MB{more}"


def _document(one: Backup) -> dict[str, Any]:
    note = one.note
    more = (
        {} if note is None else {"schema": note.schema, "sha256": note.sha256, "counts": note.counts, "why": note.why}
    )
    return {"file": str(one.path), "time": rfc3339(one.time), "bytes": one.bytes, "config": one.config.exists(), **more}


def many(readings: int) -> str:
    return "1 reading" if readings == 1 else f"{readings} readings"


def _sentence(one: Backup) -> str:
    readings = 0 if one.note is None else one.note.counts.get("reading", 0)
    told = f"{one.path}: verified, {many(readings)}, {one.bytes / 1e6:.1f} MB."
    if not one.config.exists():
        return f"{told} The configuration is not beside it: its secrets cannot be left out; copy it yourself."
    if LEFT_OUT in one.config.read_text("utf-8"):
        return f"{told} Secrets that stand in the configuration are left out of its copy: keep them elsewhere."
    return told
