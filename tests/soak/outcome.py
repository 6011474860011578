"""What a soak has found, as Markdown."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from tests.soak.limits import Limits, broken, growth, settled, slope

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from tests.soak.record import Found
    from tests.soak.watch import Sample

SHOWN: Final = 12


@dataclass(frozen=True, slots=True)
class Outcome:
    title: str
    samples: Sequence[Sample]
    notes: Mapping[str, str]
    found: Found
    wrote: tuple[float, ...]  # MB: handed over for writing, and what went to a disk
    refused: Sequence[str] = field(default_factory=list)

    def faults(self, limits: Limits) -> list[str]:
        """Every promise that was broken."""
        refused = [f"{len(self.refused)} entries were refused, such as {self.refused[0]}"] if self.refused else []
        return [*broken(self.samples, limits), *self.found.faults(), *refused]

    def markdown(self, limits: Limits) -> str:
        return "\n".join(self._lines(limits))

    def _lines(self, limits: Limits) -> Iterator[str]:
        first, last = self.samples[0], self.samples[-1]
        later = settled(self.samples, limits.warm_up)
        real = last.real_s - first.real_s
        cpu = last.cpu_s - first.cpu_s
        readings = last.readings - first.readings
        yield f"## {self.title}\n"
        yield "| what | found |\n|---|---:|"
        for name, value in self.notes.items():
            yield f"| {name} | {value} |"
        yield f"| readings sent | {self.found.sent} |"
        yield f"| of them not cleared away by now; stored | {self.found.due}; {self.found.kept} |"
        yield f"| in the roll-ups | {self.found.rolled} |"
        yield f"| integrity check | {self.found.integrity} |"
        yield f"| real time, processor time | {real / 60:.1f} min, {cpu / 60:.1f} min |"
        yield f"| readings a second of real time, of processor time | {readings / real:.0f}, {readings / cpu:.0f} |"
        yield f"| memory grows by (after the warm-up) | {slope(later):+.2f} MB a million readings |"
        yield f"| the store's log at most | {max(sample.wal_mb for sample in self.samples):.1f} MB |"
        yield f"| written, handed over; to a disk | {self.wrote[0]:.0f} MB; {self.wrote[1]:.0f} MB |"
        yield "\n| readings | memory MB | handles | threads | children | log MB | store MB | things in all places |"
        yield "|---:|---:|---:|---:|---:|---:|---:|---:|"
        step = max(len(self.samples) // SHOWN, 1)
        for one in [*self.samples[:-1:step], last]:
            yield (
                f"| {one.readings} | {one.rss_mb:.1f} | {one.handles} | {one.threads} | {one.children} | {one.wal_mb:.1f} "
                f"| {one.store_mb:.1f} | {sum(one.sizes.values())} |"
            )
        yield "\n| place | first third | last third |\n|---|---:|---:|"
        grown = growth(later, limits.noise)
        for way, (before, after) in sorted(grown.items(), key=lambda item: item[1][0] - item[1][1])[:SHOWN]:
            yield f"| grows: {way} | {before} | {after} |"
        for way, size in sorted(last.sizes.items(), key=lambda item: -item[1])[:SHOWN]:
            if way not in grown:
                yield f"| large: {way} | | {size} |"
        faults = self.faults(limits)
        yield "\n" + ("\n".join(f"- broken: {fault}" for fault in faults) if faults else "All limits were kept.")
