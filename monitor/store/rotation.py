"""Which backups stay. Files are only chosen, never copied: the newest of a week is one of its days' that was left."""

from __future__ import annotations

from datetime import UTC, datetime, tzinfo
from typing import TYPE_CHECKING, Protocol, TypeVar

from monitor.core.light import light

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable, Iterable

    from monitor.core.model import Ms


class Dated(Protocol):
    @property
    def time(self) -> Ms: ...

    @property
    def kin(self) -> Hashable: ...


B = TypeVar("B", bound=Dated)


@light
class Stay:
    """How many of each stay. Days, weeks and months without a backup do not count: a holiday uses up nothing."""

    daily: int = 7
    weekly: int = 4
    monthly: int = 6


def staying(backups: Iterable[B], stay: Stay, zone: tzinfo = UTC) -> list[B]:
    """Those that stay, oldest first: the newest of each of the last days, weeks and months, and of each kin.

    The newest of all stays whatever the numbers say. Kin are of one schema and one history: the newest of an older schema is
    the way back to the program that wrote it, the newest from before a store was begun anew the way back to all there was.
    """
    newest_first = sorted(backups, key=lambda backup: backup.time, reverse=True)
    if not newest_first:
        return []
    chosen = {newest_first[0].time}
    periods: tuple[tuple[int, Callable[[B], Hashable]], ...] = (
        (stay.daily, lambda backup: _local(backup, zone).date()),
        (stay.weekly, lambda backup: _local(backup, zone).isocalendar()[:2]),
        (stay.monthly, lambda backup: (_local(backup, zone).year, _local(backup, zone).month)),
        (len(newest_first), lambda backup: backup.kin),
    )
    for most, period in periods:
        first: dict[Hashable, Ms] = {}
        for backup in newest_first:
            first.setdefault(period(backup), backup.time)
        chosen.update(list(first.values())[:most])
    return [backup for backup in reversed(newest_first) if backup.time in chosen]


def _local(backup: Dated, zone: tzinfo) -> datetime:
    return datetime.fromtimestamp(backup.time / 1000, zone)
