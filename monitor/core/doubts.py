"""How much of what a probe has told lately could be used: counts that fade with time."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.light import light
from monitor.core.model import MINUTE

if TYPE_CHECKING:
    from monitor.core.model import Ms

SHORTEST: Final[Ms] = 30 * MINUTE
PERIODS: Final = 8
"""A message counts half after so long, or so many periods of its probe, whichever is longer."""
FEW: Final = 8.0  # of fewer messages no share is told
MOST: Final = 0.5  # every second message of no use: a cable or plug that comes loose; common practice, no source
FINE: Final = 0.2


@light(frozen=False)
class Doubts:
    """Messages of one probe by whether they could be used, each worth half as much after every half-life."""

    good: float = 0.0
    bad: float = 0.0
    at: Ms = 0
    last_bad: Ms | None = None

    def add(self, time: Ms, every: Ms, *, bad: bool) -> None:
        """Count one message that arrived at ``time`` from a probe that reports each ``every``; order need not be kept."""
        if time > self.at:
            fades = 0.5 ** ((time - self.at) / max(SHORTEST, PERIODS * every)) if self.at else 0.0
            self.good, self.bad, self.at = self.good * fades, self.bad * fades, time
        if bad:
            self.bad += 1.0
            self.last_bad = time if self.last_bad is None else max(self.last_bad, time)
        else:
            self.good += 1.0

    def lately(self, since: Ms) -> bool:
        """Whether a message since then was of no use."""
        return self.last_bad is not None and self.last_bad > since

    @property
    def share(self) -> float | None:
        """Of the newest messages, how many were of no use; ``None`` while there are too few to say."""
        count = self.good + self.bad
        return self.bad / count if count >= FEW else None
