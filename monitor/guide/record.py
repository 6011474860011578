"""Alarms about what is kept of the past."""

from __future__ import annotations

from typing import Final

from monitor.core import rules_record
from monitor.guide.entry import PRACTICE, Default, Entry, length, setting, table
from monitor.settings.backup import Backup

ENTRIES: Final = (
    Entry(
        "backup-old",
        "site",
        "No good backup for days",
        "low",
        "Each night the store is copied and the copy verified. That has not succeeded for days. All goes on as it does, but "
        "should this card fail now, what came since the last good backup is gone.",
        (
            "See that the folder of backups is there: is the stick plugged in?",
            "See that it has room, and that the service may write to it.",
            "`swimup backup` tries at once and tells what is wrong.",
            "Is the copy said not to be sound? Copy the store elsewhere by `swimup export`, and replace the card.",
        ),
        "It is told once, and is over, and told, when there is a good backup.",
        (
            Default(
                "waits",
                length(rules_record.BACKUP_OLD_AFTER),
                f"one night may fail for any reason, three in a row don't mend themselves; {PRACTICE}",
            ),
            Default(
                "backups are made at",
                f"{setting(Backup, 'at')}",
                f"an hour at which little happens; {PRACTICE}",
                table("[backup]", "at"),
            ),
        ),
        "Fewer or smaller backups: `daily`, `weekly`, `monthly` in `[backup]`, and `raw_days` in `[store]`.",
    ),
    Entry(
        "record-damaged",
        "site",
        "The record was damaged; a new one was begun",
        "medium; high when not even your log could be taken over",
        "The store could not be read when the service started. It was put aside under another name, and a new one begun, so that "
        "alarms go on. Your log, phones and what tins taught are taken from the damaged file, or else from the newest backup; "
        "readings are not, so forecasts of the water begin anew.",
        (
            "If it is high, your log is gone too: enter the batches that run now, or nothing rings for them.",
            "To have the history back: stop the service, `swimup restore newest`, start it again.",
            "Copy the newest backup to another machine; a card that damages files may be worn out.",
        ),
        f"It is over when you have gone back to a backup, or after {length(rules_record.ANEW_LASTS)}. Acknowledged, it stays "
        "silent until then.",
        (
            Default(
                "ends after",
                length(rules_record.ANEW_LASTS),
                "by then the new record has all that forecasts use of the past, twelve days",
            ),
        ),
        "A better power supply and a new card are the usual cure; keep backups on a stick: `folder` in `[backup]`.",
    ),
)
