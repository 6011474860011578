"""Facts for check-ups: a shed in which all is well, to be changed where a test wants it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from monitor.core.checkup_facts import Card, Facts, Inside, Machine, ProbeFacts, ServerFacts, Versions
from monitor.core.house import ChannelHealth, Kept
from monitor.core.model import DAY, HOUR, MINUTE, SECOND, Ms

NOW: Ms = 1_772_413_800_000  # 2026-03-02T01:10:00Z, 02:10 in Berlin
VERSIONS = Versions("1.2.3", "3.13.1", "3.46.0", "an invented system, aarch64", (("paho-mqtt", "2.1.0"),))
MACHINE = Machine(
    disk_free=24_000_000_000,
    disk_size=31_000_000_000,
    store_size=60_000_000,
    card=Card("mmcblk0", 32_000_000_000, 2_400_000_000),
    up_for=10 * DAY,
    written=300_000_000,
    ran_for=10 * DAY,
    memory_used=90_000_000,
    memory_limit=400_000_000,
    memory_free=600_000_000,
    memory_size=1_000_000_000,
    processor_c=48.2,
    power_low=False,
    power_was_low=False,
)
PROBES = tuple(
    ProbeFacts(f"{vessel}-water", 10 * SECOND, 10 * SECOND, 4 * SECOND, fresh=True, suspect=0.0, messages=900)
    for vessel in ("ash", "birch", "cedar")
)
INSIDE = Inside(
    now=NOW,
    began=NOW - 10 * DAY,
    clock_synced=True,
    disk_limit=1_000_000_000,
    broker_since=NOW - 10 * DAY,
    broker_version="5",
    probes=PROBES,
    channels=(ChannelHealth("phone", works=True),),
    tries={"phone": (7, 0)},
    servers=(ServerFacts("charts", "current"),),
    sizes=((NOW - 20 * DAY, 20_000_000), (NOW - HOUR, 59_000_000)),
    ends_since=NOW - 30 * DAY,
    backups=Kept(NOW - 22 * HOUR, NOW - 90 * DAY, folder="/srv/backups"),
)


def well(inside: dict[str, Any] | None = None, **machine: Any) -> Facts:
    """All is well but for what is given."""
    return Facts(VERSIONS, replace(MACHINE, **machine), replace(INSIDE, **(inside or {})), "Europe/Berlin")


def ill() -> Facts:
    """A neglected shed: a probe is silent, one is slower than told, the phone fails, the power cable is thin."""
    ash, birch, cedar = PROBES
    return well(
        {
            "probes": (
                ash,
                replace(birch, gap=30 * SECOND),
                replace(cedar, fresh=False, age=25 * MINUTE, reason="-127 C means that the sensor did not answer"),
            ),
            "channels": (ChannelHealth("phone", failing_for=2 * HOUR, error="channel phone: connection refused"),),
            "ends": (NOW - 3 * DAY,),
        },
        power_low=True,
    )
