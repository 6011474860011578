"""Where backups of the store go, when, and how many stay."""

from pathlib import Path
from typing import Annotated

from monitor.settings.base import Section, option
from monitor.settings.forms import Number
from monitor.settings.names import ClockTime, FileName
from monitor.store.rotation import Stay


class Backup(Section):
    """Each night the store is copied while it is in use, and the copy verified. Each copy is as large as the store. A folder
    on another disk, such as a stick, outlives the card.
    """

    folder: Annotated[Path | None, FileName()] = option(
        "Where backups go. The folder itself is made when missing, the one it is in is not: a stick that is not plugged in is "
        "told, and the card below its name stays empty.",
        default=None,
        told='"backups" beside the store',
        example="/media/stick/swimup",
    )
    at: Annotated[str, ClockTime()] = option(
        "When, local time. A machine that is off then makes its backup a little after the next start.", default="03:30"
    )
    daily: Annotated[int, Number(1, 366, whole=True)] = option("Backups of so many days stay, one a day.", default=7)
    weekly: Annotated[int, Number(0, 520, whole=True)] = option("Of so many weeks, the newest of each.", default=4)
    monthly: Annotated[int, Number(0, 120, whole=True)] = option("Of so many months, the newest of each.", default=6)

    def stay(self) -> Stay:
        return Stay(self.daily, self.weekly, self.monthly)
