"""Readings as SenML (RFC 8428, JSON): one file a probe, one pack a line, so that each line is a message by itself.

Only readings that can be used are in it: SenML has no place for a doubt. Temperatures are in Cel, the registry's degrees
Celsius. What air does is told by the words running, weak and stopped (``vs``): a ``vb`` could not tell weak air, and the
registry has no unit for the number of a pump. A reading's number within its millisecond, and when it arrived, are left out.
"""

from __future__ import annotations

import json
import re
from contextlib import ExitStack
from typing import TYPE_CHECKING, Any, Final, Self

from monitor.archive.files import Sink
from monitor.core.model import Air, Measures, Quality
from monitor.store.records import series_of, time_of

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path
    from types import TracebackType

    from monitor.archive.manifest import FileNote
    from monitor.archive.tables import Names, Row

RECORDS: Final = 1_000
"""In one pack: it stays below the 64 KiB that a message may have."""
UNIT: Final = "Cel"
FIRST: Final = 2**28 * 1000
"""ms. What is earlier would be read as relative to now (section 4.5.3)."""
LAST: Final = 253_402_300_799_999  # 9999-12-31T23:59:59.999Z


class Packs:
    """Takes rows of readings in order of time. Use as a context; ``notes`` are those of its files afterwards."""

    def __init__(self, folder: Path, names: Names, measures: Mapping[str, Measures]) -> None:
        self._folder = folder
        self._names = names
        self._measures = measures
        self._files: dict[int, Sink] = {}
        self._open: dict[int, _Pack] = {}
        self._end = ExitStack()

    @property
    def notes(self) -> list[FileNote]:
        return [sink.note for sink in self._files.values()]

    def add(self, row: Row) -> None:
        at, milli, mark, _late, _seq = row
        time = time_of(at)
        if not Quality(mark & 7).usable or not FIRST <= time <= LAST:
            return
        series = series_of(at)
        state = mark >> 4 & 3
        probe = self._names.probes[series]
        if not state and self._measures.get(probe) is Measures.AIR:
            return  # a count that told nothing yet
        pack = self._open.get(series)
        if pack is not None and (pack.full or pack.by_word != bool(state)):
            self._write(series, pack)
            pack = None
        if pack is None:
            pack = self._open[series] = _Pack(probe, time // 1000, by_word=bool(state))
        pack.add(time, Air(state - 1).word if state else milli / 1000)

    def _write(self, series: int, pack: _Pack) -> None:
        sink = self._files.get(series)
        if sink is None:
            tame = re.sub(r"[^a-z0-9]+", "-", pack.probe.casefold(), flags=re.ASCII).strip("-")[:40]
            sink = self._end.enter_context(Sink(self._folder, f"readings/{series:05}-{tame or 'probe'}.jsonl"))
            self._files[series] = sink
        sink.write(pack.text())
        sink.rows += pack.count

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> bool | None:
        if kind is None:
            for series, pack in self._open.items():
                self._write(series, pack)
        return self._end.__exit__(kind, problem, trace)


class _Pack:
    """The base time is the whole second of its first record."""

    def __init__(self, probe: str, begin: int, *, by_word: bool) -> None:
        self.probe = probe
        self.by_word = by_word
        self._begin = begin
        self._base: dict[str, Any] = {"bn": probe, "bt": begin, **({} if by_word else {"bu": UNIT})}
        self._records: list[dict[str, Any]] = []

    @property
    def count(self) -> int:
        return len(self._records)

    @property
    def full(self) -> bool:
        return len(self._records) >= RECORDS

    def add(self, time: int, value: str | float) -> None:
        after, milli = divmod(time - self._begin * 1000, 1000)
        told = {"t": after + milli / 1000 if milli else after, "vs" if self.by_word else "v": value}
        self._records.append(told)

    def text(self) -> str:
        first, *rest = self._records
        return json.dumps([{**self._base, **first}, *rest], separators=(",", ":"), ensure_ascii=False) + "\n"
