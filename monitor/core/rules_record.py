"""Alarms about what is kept: no good backup for long, and a store that was found damaged and begun anew."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.alarms import Condition, over
from monitor.core.model import DAY, HOUR, Ms, Priority
from monitor.core.quality import CLOCK_UNSET
from monitor.core.wording import clock, duration

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.core.house import Anew
    from monitor.core.state import State

BACKUP_OLD: Final = "backup-old"
RECORD_DAMAGED: Final = "record-damaged"
RULES: Final = (BACKUP_OLD, RECORD_DAMAGED)
"""Of the site."""

BACKUP_OLD_AFTER: Final[Ms] = 3 * DAY
"""One night may fail for any reason; three in a row don't mend themselves. Common practice, no source."""
PATIENCE: Final[Ms] = HOUR
"""After a holiday a machine makes one by itself, soon after its start."""
ANEW_LASTS: Final[Ms] = 14 * DAY
"""By then a new record has all that forecasts use of the past, and whoever wanted the old one has fetched it."""


def on_tick(state: State, now: Ms) -> Iterator[Condition | None]:
    yield backup_old(state, now)
    yield record_damaged(state, now)


def can_ring() -> dict[str, tuple[str, str]]:
    """Rule and subject by the alarm's id."""
    return {f"{rule}:site": (rule, "site") for rule in RULES}


def backup_old(state: State, now: Ms) -> Condition | None:
    """There is no good backup of the last days. A store younger than that owes none."""
    alarm = f"{BACKUP_OLD}:site"
    host = state.house.host
    kept = None if host is None else host.backups
    if kept is None:
        return None
    since = kept.good if kept.good is not None else kept.begun
    old = since is not None and now - since >= BACKUP_OLD_AFTER
    began = state.house.began
    may_come = not kept.error and (began is None or now - began < PATIENCE)  # the machine was off
    if not old or since is None or (may_come and state.idle(alarm)):
        return None if state.idle(alarm) else _over(BACKUP_OLD)
    timezone = state.site.timezone
    newest = "There is no backup yet." if kept.good is None else f"The newest is of {clock(since, timezone, now)}."
    why = f" The last try failed: {kept.error.rstrip('.')}." if kept.error else ""
    return Condition(
        id=alarm,
        rule=BACKUP_OLD,
        subject="site",
        priority=Priority.LOW,
        active=True,
        clear=False,
        since=since,
        on_delay=0,
        off_delay=0,
        title=f"No good backup for {duration(now - since)}",
        text=f"{newest}{why} All goes on; but should this card fail now, what came since is gone.",
        todo=f"See that {kept.folder or 'the folder of backups'} is there, can be written and has room. "
        "Then try: swimup backup.",
    )


def record_damaged(state: State, now: Ms) -> Condition | None:
    """The store could not be read at a start: it was put aside, and the newest good backup waits to be taken."""
    alarm = f"{RECORD_DAMAGED}:site"
    host = state.house.host
    if host is None:
        return None
    anew = host.anew
    if anew is None or not (0 <= now - anew.time < ANEW_LASTS or anew.time < CLOCK_UNSET):
        return None if state.idle(alarm) else _over(RECORD_DAMAGED)
    timezone = state.site.timezone
    return Condition(
        id=alarm,
        rule=RECORD_DAMAGED,
        subject="site",
        priority=Priority.MEDIUM if anew.log_taken else Priority.HIGH,
        active=True,
        clear=False,
        since=anew.time,
        on_delay=0,
        off_delay=0,
        title="The record was damaged; a new one was begun",
        text=f"Found {clock(anew.time, timezone, now)}. Alarms go on. {_what_is_known(anew)} "
        f"The damaged file is kept as {anew.aside}. A card that damages files may be worn out.",
        todo=_todo(anew, timezone, now),
    )


def _what_is_known(anew: Anew) -> str:
    if anew.log_taken:
        return "Your log, phones and tins were taken over; readings, and with them forecasts of the water, begin anew."
    return "Nothing is known of batches that were running: for them nothing rings."


def _todo(anew: Anew, timezone: str, now: Ms) -> str:
    enter = "" if anew.log_taken else "Enter the running batches now. "
    if anew.backup is None:
        return f"{enter}There is no backup to go back to. Replace the card soon."
    of = clock(anew.backup, timezone, now)
    return (
        f"{enter}To have the history back, up to {of}: stop the service, then: swimup restore newest. "
        "What came since is put aside then."
    )


def _over(rule: str) -> Condition:
    return over(f"{rule}:site", rule, "site", Priority.LOW, 0)
