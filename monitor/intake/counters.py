"""How many messages came for each probe and what became of them. One thread writes; a snapshot is a copy."""

from __future__ import annotations

from dataclasses import field, replace
from typing import TYPE_CHECKING

from monitor.core.light import light

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.core.model import Sample
    from monitor.intake.unreadable import Kind, Unreadable


@light(frozen=False)
class ProbeCount:
    """Totals since the start. ``oversize`` messages are among the ``unreadable`` ones."""

    messages: int = 0
    samples: int = 0
    unreadable: int = 0
    oversize: int = 0
    reasons: dict[Kind, int] = field(default_factory=dict)


class Counters:
    """Counts per probe id."""

    def __init__(self) -> None:
        self._probes: dict[str, ProbeCount] = {}

    def read(self, probe: str, samples: Sequence[Sample]) -> None:
        """One message was read."""
        count = self._of(probe)
        count.messages += 1
        count.samples += len(samples)

    def refused(self, probe: str, why: Unreadable) -> None:
        """One message could not be read."""
        count = self._of(probe)
        count.messages += 1
        count.unreadable += 1
        count.oversize += why.kind == "oversize"
        count.reasons[why.kind] = count.reasons.get(why.kind, 0) + 1

    def snapshot(self) -> dict[str, ProbeCount]:
        """A copy by probe id, which later messages do not change."""
        return {probe: replace(count, reasons=dict(count.reasons)) for probe, count in self._probes.items()}

    def _of(self, probe: str) -> ProbeCount:
        count = self._probes.get(probe)
        if count is None:
            count = self._probes[probe] = ProbeCount()
        return count
