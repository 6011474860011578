"""Places where this process can be made to end itself without warning, so that tests can try what a crash there costs.

Off unless ``SWIMUP_FAIL_AT`` is in the environment: ``committed`` ends it with SIGKILL when that place is first reached,
``committed:3`` when it is reached for the third time. Nothing is cleaned up then, as in a power cut of the process alone.
"""

from __future__ import annotations

import os
import signal
from enum import StrEnum
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterator

VARIABLE: Final = "SWIMUP_FAIL_AT"


class Point(StrEnum):
    """Named for what has just been done, or is about to be."""

    BEFORE_COMMIT = "before-commit"  # all is written in the open transaction
    COMMITTED = "committed"  # the store has it, nobody was told
    BEFORE_ACKNOWLEDGING = "before-acknowledging"  # readings are stored, the broker does not know
    ACKNOWLEDGED = "acknowledged"  # some are acknowledged, others may not be
    COMMAND_TAKEN = "command-taken"  # a keeper's word counts, and is not on the disk
    COMMAND_SAVED = "command-saved"  # it is, and the keeper was not told
    COMMAND_ANSWERED = "command-answered"
    BEFORE_HAND_OVER = "before-hand-over"  # a letter's time has come, its channel does not have it
    BEFORE_SENDING = "before-sending"
    SENT = "sent"  # the channel has taken it, nothing says so
    STRUCK_OFF = "struck-off"  # it is marked as told, in memory only
    PLAN_FOUND = "plan-found"  # a plan has come, nobody follows it
    PLAN_TAKEN = "plan-taken"  # it is followed, and not on the disk
    BEFORE_UPKEEP_COMMIT = "before-upkeep-commit"  # a step of roll-ups or of clearing away
    UPKEEP_COMMITTED = "upkeep-committed"
    BEFORE_MIGRATION_COMMIT = "before-migration-commit"
    MIGRATED = "migrated"
    BACKUP_COPIED = "backup-copied"  # a backup is whole and has no name yet
    BACKUP_NAMED = "backup-named"
    PUT_ASIDE = "put-aside"  # a damaged store is out of the way, and there is no other yet
    BEGUN_ANEW = "begun-anew"  # there is one, and it is not written down that this was all


def _armed(text: str) -> tuple[Point, Iterator[int]] | None:
    """The place, and how often it must still be reached. Raises ValueError for a place that there is not."""
    if not text:
        return None
    name, _, times = text.partition(":")
    return Point(name), iter(range(int(times or 1) - 1, -1, -1))


_at: tuple[Point, Iterator[int]] | None = None


def arm(text: str) -> None:
    """End at a place from now on, named as in the variable; nowhere when ``text`` is empty. Raises ValueError."""
    global _at  # noqa: PLW0603  (one process has one end)
    _at = _armed(text)


def reach(point: Point) -> None:
    """Say that a place is reached; from any thread."""
    if _at is not None and _at[0] is point and next(_at[1], 0) == 0:
        os.kill(os.getpid(), signal.SIGKILL)


arm(os.environ.get(VARIABLE, ""))
