"""``swimup restore``: a backup in the place of the store, on this card or on a new one."""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import click

from monitor.cli.backup import as_its_owner, many
from monitor.cli.client import json_option
from monitor.cli.told import plain, tell
from monitor.core.wording import duration, rfc3339
from monitor.service.anew import anew_in
from monitor.settings.credentials import outside_problems
from monitor.settings.discover import candidates, config_option, exit_with, find_config, load_or_exit
from monitor.settings.errors import ConfigError
from monitor.settings.spare import from_spare
from monitor.store.backups import Backup, BackupFolder, BackupProblem, read_backup
from monitor.store.errors import StoreError, StoreInUse
from monitor.store.restore import restore as take_back

if TYPE_CHECKING:
    from monitor.settings.settings import Settings
    from monitor.store.restore import Restored

EXIT_FAILED = 1
NEWEST = "newest"


@click.command()
@click.argument("which", metavar="[FILE|newest]", default=NEWEST)
@click.option(
    "--from",
    "folder",
    metavar="FOLDER",
    type=click.Path(path_type=Path, exists=True, file_okay=False),
    help="Where backups lie, such as a stick: its newest is taken, and where there is no configuration yet, that one too.",
)
@config_option
@json_option
def restore(which: str, folder: Path | None, config: Path | None, as_program: bool) -> None:
    """Make a backup the store. The daemon must be stopped; the store that is there is moved aside, never deleted.

    The backup is verified first. Onto a new card, in one command: swimup restore --from FOLDER

    Secrets and the files that the configuration names are in no backup; what is missing is listed at the end.
    """
    try:
        backup, settings, notes = _chosen(which, folder, config)
        as_its_owner(settings.store.path)
        done = take_back(backup, settings.store.path, time.time_ns() // 1_000_000)
    except StoreInUse as problem:
        _fail(f"{problem} With systemd: systemctl stop swimup. Nothing was changed.")
    except (BackupProblem, StoreError, OSError) as problem:
        _fail(str(problem))
    notes += [str(problem) for problem in outside_problems(settings)]
    told = {
        "store": str(done.store),
        "backup": str(backup.path),
        "time": rfc3339(backup.time),
        "aside": None if done.aside is None else str(done.aside),
        "counts": done.counts,
        "notes": notes,
    }
    tell(told, "\n".join([_sentence(done), *notes]), as_program=as_program)


def _fail(why: str) -> NoReturn:
    click.echo(plain(why), err=True)
    sys.exit(EXIT_FAILED)


def _chosen(which: str, folder: Path | None, config: Path | None) -> tuple[Backup, Settings, list[str]]:
    """The backup, the settings it goes by, and what a keeper must still do. Raises BackupProblem."""
    if folder is None:
        settings = load_or_exit(config)
        place = BackupFolder.of(settings.store.path, settings.backup.folder)
        return _named(which, place, settings.store.path), settings, []
    try:
        there = find_config(config)
    except ConfigError:
        backup = _in_any(which, folder)
        settings, notes = _place_config(backup, config)
        return backup, settings, notes
    settings = load_or_exit(there)
    place = BackupFolder.of(settings.store.path, folder.absolute())
    return _named(which, place, settings.store.path), settings, []


def _named(which: str, folder: BackupFolder, store: Path | None = None) -> Backup:
    """A file, or the newest of a folder; over a store that was begun anew, the newest from before that."""
    if which != NEWEST:
        path = Path(which)
        found = read_backup(path if path.exists() or path.is_absolute() else folder.path / which)
        if found is not None and found.path.is_file():
            return found
        if path.is_file():
            return Backup(path, round(path.stat().st_mtime) * 1000, None)
        raise BackupProblem(f"{which}: there is no such file. What there is: swimup backup --list")
    anew = None if store is None else anew_in(store)
    newest = folder.newest(None if anew is None else anew.backup)
    if newest is None:
        raise BackupProblem(
            f"{folder.path} has no backup of {folder.stem}. Give the file, or the folder: swimup restore --from FOLDER"
        )
    return newest


def _in_any(which: str, folder: Path) -> Backup:
    """The newest in a folder of which nothing is known. Raises BackupProblem when it has those of several stores."""
    if which != NEWEST:
        return _named(which, BackupFolder(folder, ""))
    found = [one for path in folder.iterdir() if (one := read_backup(path)) is not None]
    stems = sorted({one.path.stem.rpartition("-")[0] for one in found})
    if len(stems) > 1:
        raise BackupProblem(
            f"{folder} has backups of {', '.join(stems)}. Name the file: swimup restore FILE --from {folder}"
        )
    if not found:
        raise BackupProblem(f"{folder} has no backup in it.")
    return max(found, key=lambda one: one.time)


def _place_config(backup: Backup, config: Path | None) -> tuple[Settings, list[str]]:
    """Put the copy of the configuration where the program looks for it. Raises BackupProblem when there is none."""
    place = config or candidates()[1]
    try:
        text = backup.config.read_text("utf-8")
    except OSError:
        raise BackupProblem(
            f"There is no configuration here, and none beside {backup.path}. Write one first; begin with config/minimal.toml."
        ) from None
    try:
        settings, lacking = from_spare(text, place)
    except ConfigError as error:
        exit_with(error)
    place.parent.mkdir(parents=True, exist_ok=True)
    handle = os.open(place, os.O_CREAT | os.O_EXCL | os.O_WRONLY | os.O_CLOEXEC, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        file.write(text)
    notes = [f"{place}: the configuration is back."]
    notes += [f"{place}: put the secret back into {table}; it is in no backup." for table in lacking]
    return settings, notes


def _sentence(done: Restored) -> str:
    age = duration(max(time.time_ns() // 1_000_000 - done.backup.time, 0))
    told = f"{done.store}: as it was {age} ago ({rfc3339(done.backup.time)}), {many(done.counts.get('reading', 0))}."
    if done.aside is not None:
        told += f" What was there is kept as {done.aside.name}."
    return f"{told} Start the service again."
