"""A record run through the engine, to be looked into on the way."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.core.engine import Engine
from monitor.core.model import LogEntry

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from monitor.core.model import Ms, SiteSpec
    from monitor.core.replay import Measured


def played(
    site: SiteSpec, measured: Sequence[Measured], log: Sequence[LogEntry], moments: Iterable[Ms]
) -> Iterator[tuple[Ms, Engine]]:
    """The engine as it stood at each of these instants, in order; readings and entries at or before it are in."""
    inputs: list[tuple[Ms, int, Measured | LogEntry]] = [(m.time, 0, m) for m in measured]
    inputs += [(max(entry.logged, entry.time), 1, entry) for entry in log]
    inputs.sort(key=lambda item: item[:2])
    asked = sorted(set(moments))
    if not inputs or not asked:
        return
    engine = Engine(site, inputs[0][0], rules=False)
    k = 0
    for time in asked:
        while k < len(inputs) and inputs[k][0] <= time:
            _feed(engine, inputs[k][2])
            k += 1
        yield time, engine


def _feed(engine: Engine, item: Measured | LogEntry) -> None:
    if isinstance(item, LogEntry):
        engine.step(item)
    elif item.probe in engine.state.probes:
        engine.step(engine.judge(item.probe, item.sample, item.time))
