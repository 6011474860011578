"""Before the store is open: a backup ahead of an update, and a new beginning where the store is damaged."""

from __future__ import annotations

import json
import os
import sqlite3
from contextlib import closing, suppress
from typing import TYPE_CHECKING, Final

from monitor import failpoint
from monitor.core.house import Anew
from monitor.failpoint import Point
from monitor.loglines import log
from monitor.service.backing import newest_of
from monitor.store import Store, StoreCorrupt
from monitor.store.aside import marked_damaged, move_aside, unfinished, unmark, was_a_store
from monitor.store.backup import BEFORE_UPDATE, faults_of, make_backup
from monitor.store.backups import BackupProblem
from monitor.store.files import hold
from monitor.store.past import open_to_read
from monitor.store.salvage import take_over

if TYPE_CHECKING:
    from pathlib import Path

    from monitor.core.model import Ms
    from monitor.service.backing import Plan
    from monitor.store.backups import Backup

ANEW_KEY: Final = "run/anew"


def open_store(path: Path, now: Ms, plan: Plan | None) -> Store:
    """The store, brought up to date. Raises StoreCorrupt, also for what an earlier run has found; StoreError.

    A new beginning that was cut short is brought to its end first.
    """
    aside = unfinished(path)
    if aside is not None:
        _begin(path, now, plan, aside, "an earlier start was cut short while it began anew")
    if marked_damaged(path):
        faults = faults_of(path) if path.exists() else []
        if faults:
            raise StoreCorrupt(f"{path}: the file is damaged: {'; '.join(faults[:3])}.")
        unmark(path)

    def before_update(schema: int) -> None:
        if plan is not None:
            _before_update(path, now, plan, schema)

    return Store.open(path, now=now, before_update=before_update)


def begin_anew(path: Path, now: Ms, plan: Plan | None, why: StoreCorrupt) -> None:
    """Put the damaged store aside and make a new one, with the log, phones and tins of the old where they can be read.

    Raises StoreError, and ``why`` itself where the file does not look as if it ever was a store.
    """
    if not was_a_store(path):
        raise why
    lock = hold(path)
    try:
        aside = move_aside(path, now)
    finally:
        os.close(lock)
    failpoint.reach(Point.PUT_ASIDE)
    _begin(path, now, plan, aside, str(why))


def _begin(path: Path, now: Ms, plan: Plan | None, aside: Path, why: str) -> None:
    newest = _newest(plan, now)
    with Store.open(path, now=now) as store:
        if store.kept(ANEW_KEY) is not None:
            unmark(path)
            return
        source = take_over(store, [aside] if newest is None else [aside, newest.path])
        anew = Anew(now, aside.name, None if newest is None else newest.time, log_taken=source is not None)
        store.keep(ANEW_KEY, json.dumps(anew.document()))
        store.commit()
    failpoint.reach(Point.BEGUN_ANEW)
    unmark(path)
    log.error(
        "store.damaged",
        reason=why,
        aside=str(aside),
        log_from="nowhere" if source is None else source.name,
        backup="none" if newest is None else str(newest.path),
        todo="to go back: stop the service, swimup restore newest" if newest else "replace the card soon",
    )


def noted_anew(store: Store) -> Anew | None:
    """What ``begin_anew`` has left in a store."""
    with suppress(ValueError, AttributeError):
        return Anew.from_document(json.loads(store.kept(ANEW_KEY) or ""))
    return None


def anew_in(path: Path) -> Anew | None:
    """The same of a store that is not open here; None also where it cannot be read."""
    with suppress(sqlite3.Error, ValueError, AttributeError, TypeError), closing(open_to_read(path)) as connection:
        row = connection.execute("SELECT value FROM kept WHERE key = ?", (ANEW_KEY,)).fetchone()
        return None if row is None else Anew.from_document(json.loads(row[0]))
    return None


def _newest(plan: Plan | None, now: Ms) -> Backup | None:
    with suppress(BackupProblem):
        return None if plan is None else newest_of(plan.folder, now)
    return None


def _before_update(path: Path, now: Ms, plan: Plan, schema: int) -> None:
    """Whoever watches over living animals must start: without room for a backup the update, one transaction, goes ahead."""
    try:
        made = make_backup(path, plan.folder, now, BEFORE_UPDATE, plan.config())
    except BackupProblem as problem:
        log.error("update.without-backup", schema=schema, reason=str(problem))  # noqa: TRY400  (the reason says it all)
    else:
        log.info("update.backup", schema=schema, file=str(made.path))
