"""A desk with the real core behind it: what is tapped on the page is decided, refused and undone as the service would."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from monitor.core.bench import bench
from monitor.core.log import Start
from tests.adapters.web.memory_desk import MemoryDesk

if TYPE_CHECKING:
    from monitor.web.desk import Command
    from tests.unit.core.worlds import Shed


class CoreDesk(MemoryDesk):
    def __init__(self, shed: Shed) -> None:
        self.shed = shed
        super().__init__(self._document())

    def _document(self) -> dict[str, Any]:
        engine, now = self.shed.engine, self.shed.now
        estimates = {name: engine.estimate(name, now) for name in engine.open_batches()}
        told: dict[str, Any] = json.loads(json.dumps(bench(engine, estimates, now), allow_nan=False))
        return told

    def _carry_out(self, command: Command) -> dict[str, Any]:
        """Raises Refused."""
        if isinstance(command, Start) and not command.batch:
            command = replace(command, batch=f"{command.vessel}-{len(self.shed.engine.state.batches) + 1}")
        self.shed.do(command)
        self.shed.now += 1  # so that no two entries are of one instant
        self._bench = self._document()
        return {"done": type(command).__name__.lower()}

    def renew(self) -> None:
        """A view of the shed as it is by now."""
        with self._lock:
            self._bench = self._document()
            self._version += 1
