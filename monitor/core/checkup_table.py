"""All facts of a check-up as one table: what about, which fact, its value with unit for programs, its words for people."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from monitor.core.checkup import size, worst, worst_first
from monitor.core.checkup_machine import a_day, on_machine, pace
from monitor.core.checkup_reach import on_reach
from monitor.core.light import light
from monitor.core.model import SECOND
from monitor.core.wording import clock, duration, rfc3339

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.core.checkup import Finding
    from monitor.core.checkup_facts import Facts, Inside, Machine
    from monitor.core.model import Ms


@light
class Row:
    """``unit`` is a UCUM code; By are bytes, d days, 1 a share or a plain number."""

    about: str
    name: str
    text: str
    value: float | str | bool | None = None
    unit: str | None = None

    def document(self) -> dict[str, Any]:
        return {"about": self.about, "name": self.name, "value": self.value, "unit": self.unit, "text": self.text}


def findings(facts: Facts) -> tuple[Finding, ...]:
    """All that can be said, the worst first."""
    found = list(on_machine(facts))
    if facts.inside is not None:
        found += on_reach(facts.inside, facts.timezone)
    return worst_first(found)


def document(facts: Facts, now: Ms) -> dict[str, Any]:
    """Ready for JSON."""
    found = findings(facts)
    return {
        "now": rfc3339(now),
        "level": worst(found).value,
        "findings": [one.document() for one in found],
        "facts": [row.document() for row in rows(facts)],
    }


def rows(facts: Facts) -> Iterator[Row]:
    versions = facts.versions
    yield Row("versions", "swimup", versions.ours, versions.ours)
    yield Row("versions", "Python", versions.python, versions.python)
    yield Row("versions", "SQLite", versions.sqlite, versions.sqlite)
    for name, version in versions.packages:
        yield Row("versions", name, version, version)
    if versions.system:
        yield Row("versions", "system", versions.system, versions.system)
    yield from _machine(facts.machine, facts.inside)
    if facts.inside is not None:
        yield from _inside(facts.inside, facts.timezone)


def _bytes(about: str, name: str, count: float | None, per: str = "") -> Iterator[Row]:
    if count is not None:
        yield Row(about, name, f"{size(count)}{per}", round(count), "By/d" if per else "By")


def _length(about: str, name: str, length: Ms | None) -> Iterator[Row]:
    if length is not None:
        yield Row(about, name, duration(length), length // SECOND, "s")


def _machine(machine: Machine, inside: Inside | None) -> Iterator[Row]:
    yield from _bytes("disk", "free", machine.disk_free)
    yield from _bytes("disk", "size", machine.disk_size)
    yield from _bytes("store", "size", machine.store_size)
    grows = None if inside is None else pace(inside.sizes, inside.now, machine.store_size)
    yield from _bytes("store", "growth", None if grows is None else grows[0], " a day")
    if machine.card is not None:
        yield Row("card", "device", machine.card.name, machine.card.name)
        yield from _bytes("card", "size", machine.card.size)
        yield from _bytes("card", "written by all", a_day(machine.card.written, machine.up_for), " a day")
    yield from _bytes("card", "written by the monitor", a_day(machine.written, machine.ran_for), " a day")
    yield from _bytes("memory", "held by the monitor", machine.memory_used)
    yield from _bytes("memory", "limit", machine.memory_limit)
    yield from _bytes("memory", "left on the machine", machine.memory_free)
    if machine.processor_c is not None:
        yield Row("heat", "processor", f"{machine.processor_c:.1f} °C", round(machine.processor_c, 1), "Cel")
    yield from _length("machine", "runs for", machine.up_for)
    yield from _length("monitor", "runs for", machine.ran_for)


def _yes(about: str, name: str, value: bool | None) -> Row:
    return Row(about, name, "can't be told" if value is None else "yes" if value else "no", value)


def _inside(inside: Inside, timezone: str) -> Iterator[Row]:
    if not inside.simulated:
        yield _yes("clock", "kept by a reference", inside.clock_synced)
    yield _yes("broker", "reached", inside.broker_up)
    yield Row("broker", "link lost", str(inside.broker_losses), inside.broker_losses, "1")
    if inside.broker_version:
        yield Row("broker", "speaks", f"MQTT {inside.broker_version}", inside.broker_version)
    for probe in inside.probes:
        about = f"probe {probe.id}"
        yield from _length(about, "should report every", probe.every)
        yield from _length(about, "reports every", probe.gap)
        yield from _length(about, "newest usable reading", probe.age)
        if probe.suspect is not None:
            yield Row(about, "doubtful", f"{100 * probe.suspect:.0f} %", round(probe.suspect, 3), "1")
    for channel in inside.channels:
        got, failed = inside.tries.get(channel.id, (0, 0))
        about = f"channel {channel.id}"
        yield Row(about, "got through", str(got), got, "1")
        yield Row(about, "failed tries", str(failed), failed, "1")
        yield Row(about, "letters that wait", str(channel.waiting), channel.waiting, "1")
    for server in inside.servers:
        yield from _length(f"copy {server.id}", "behind by", server.lag)
    yield Row("restarts", "without warning", str(len(inside.ends)), len(inside.ends), "1")
    if inside.backups is not None:
        good = inside.backups.good
        when = "none yet" if good is None else clock(good, timezone, inside.now)
        yield Row("backup", "newest good one", when, None if good is None else rfc3339(good))
