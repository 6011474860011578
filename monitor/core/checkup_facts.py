"""What a check-up looks at. ``None`` wherever a thing cannot be told: that is no trouble by itself."""

from __future__ import annotations

from dataclasses import field
from typing import TYPE_CHECKING

from monitor.core.light import light

if TYPE_CHECKING:
    from monitor.core.house import ChannelHealth, Kept
    from monitor.core.model import Ms


@light
class Versions:
    ours: str
    python: str
    sqlite: str
    system: str = ""  # name of the operating system, and the processor's family
    packages: tuple[tuple[str, str], ...] = ()  # name and version of those that matter


@light
class Card:
    """The disk, or memory card, that the store lies on. Bytes."""

    name: str
    size: int | None = None
    written: int | None = None  # by all programs, since the machine began


@light
class Machine:
    """What was measured of the machine just now. Sizes in bytes, lengths in ms."""

    disk_free: int | None = None
    disk_size: int | None = None
    store_size: int | None = None  # the file and the log beside it
    card: Card | None = None
    up_for: Ms | None = None  # since the machine began
    written: int | None = None  # handed to the system for writing by this process
    ran_for: Ms | None = None  # this process
    memory_used: int | None = None  # by this process
    memory_limit: int | None = None  # what it may use at most, where a limit is set
    memory_free: int | None = None  # what the machine can still give
    memory_size: int | None = None
    processor_c: float | None = None
    power_low: bool | None = None  # the voltage is too low at this moment
    power_was_low: bool | None = None  # it was at some time before


@light
class ProbeFacts:
    id: str
    every: Ms  # as it is configured
    gap: Ms | None = None  # the middle one between its newest messages, as they came
    age: Ms | None = None  # of its newest usable reading
    fresh: bool = False
    suspect: float | None = None  # the share of its newest messages that could not be used
    messages: int = 0  # since the service started
    unreadable: int = 0  # of these
    reason: str = ""  # why the last was not used


@light
class ServerFacts:
    """A time-series server that gets a copy."""

    id: str
    state: str  # starting, current, behind, failing
    lag: Ms = 0
    reason: str = ""
    todo: str = ""
    refused: int = 0  # lines it will never take


@light
class Inside:
    """What only the running service knows."""

    now: Ms
    began: Ms
    simulated: bool = False
    clock_synced: bool | None = None
    early: int | None = None  # readings that wait for the clock to be set; None when it is
    disk_limit: int = 0  # bytes; less free than this rings
    broker_up: bool = True
    broker_since: Ms = 0
    broker_losses: int = 0  # since the service started
    broker_version: str = ""  # of the protocol, once the broker has answered
    probes: tuple[ProbeFacts, ...] = ()
    channels: tuple[ChannelHealth, ...] = ()
    tries: dict[str, tuple[int, int]] = field(
        default_factory=dict
    )  # by channel: letters that got through, and failed tries
    servers: tuple[ServerFacts, ...] = ()
    unsaved_for: Ms | None = None
    unsaved_why: str = ""
    lost_readings: int = 0
    sizes: tuple[tuple[Ms, int], ...] = ()  # when, and how large the store was: about one a day, the oldest first
    ends: tuple[Ms, ...] = ()  # when it was last known to run before it ended without warning, the oldest first
    ends_since: Ms | None = None  # since when such ends are counted
    backups: Kept | None = None  # None where none are made


@light
class Facts:
    """``inside`` is missing when no service runs."""

    versions: Versions
    machine: Machine
    inside: Inside | None = None
    timezone: str = "UTC"
