"""Alarms about the house itself, so that it never falls silent unnoticed: disk, clock, channels, restarts, weekly test."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Final

from monitor.core import rules_weekly
from monitor.core.alarms import Condition, over
from monitor.core.house import QUIET_AGAIN, RESTARTS, TRUSTS_NOTHING_AFTER, WEEKLY_TEST
from monitor.core.model import HOUR, MINUTE, SECOND, Learned, Ms, Priority
from monitor.core.quality import CLOCK_UNSET
from monitor.core.wording import clock, duration, how_often, zone

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.core.house import Began, ChannelHealth, Crashes, Host, House
    from monitor.core.model import AlarmSettings
    from monitor.core.state import State

DISK: Final = "disk-low"
CLOCK: Final = "clock-wrong"
RESTARTED: Final = "restarted"
RULES: Final = (DISK, CLOCK, RESTARTED, WEEKLY_TEST)
"""Of the site."""
DELIVERY: Final = "delivery-failing"
"""Of a channel."""

DISK_ROOMY: Final = 2_000_000_000
"""Bytes: with more than this free nobody need act, however large the disk. A busy shed (30 probes, 10 readings a second) fills
20 MB a day."""
DISK_CLEAR: Final = 1.2  # times the limit; common practice, no source
UNSAVED_AFTER: Final[Ms] = 60 * SECOND  # a disk may be busy for that long; common practice, no source

CLOCK_BEHIND: Final[Ms] = 5 * MINUTE  # corrections smaller than this shift no meal; common practice, no source
CLOCK_JUMP: Final[Ms] = 15 * MINUTE  # likewise
CLOCK_ON_DELAY: Final[Ms] = 10 * MINUTE
"""A board without a clock of its own begins wrong; the network sets it within a minute or two. Common practice, no source."""
UNSYNCED_ON_DELAY: Final[Ms] = 2 * HOUR
"""After a power cut the router is back long before. Common practice, no source."""

RESTART_ON_DELAY: Final[Ms] = MINUTE  # by then a clock that begins wrong is often set, and the gap is known
LONG_GAP: Final[Ms] = 10 * MINUTE  # unwatched so long is worth a push of its own; a crash and its restart take seconds
LOOP: Final = 3  # restarts ...
LOOP_LASTS: Final[Ms] = HOUR  # ... over this long that have not stopped are told once more, with their number


def on_tick(state: State, now: Ms) -> Iterator[Condition | None]:
    """What is looked at as time passes."""
    yield disk_low(state, now)
    yield clock_wrong(state, now)
    yield restarted(state, now)
    yield rules_weekly.weekly_test(state, now)
    host = state.house.host
    for channel in () if host is None else host.channels:
        yield delivery_failing(state, channel, now)


def subjects(state: State) -> set[str]:
    """What these alarms can be about. While the channels were not told yet, those that an alarm stands for are taken to be."""
    host = state.house.host
    if host is not None:
        return {"site", *(channel.id for channel in host.channels)}
    standing = (memory.alarm for memory in state.memories.values())
    return {"site", *(alarm.subject for alarm in standing if alarm is not None and alarm.rule == DELIVERY)}


def can_ring(state: State) -> dict[str, tuple[str, str]]:
    """Rule and subject of every alarm there can be, by its id."""
    found = {f"{rule}:site": (rule, "site") for rule in RULES}
    channels = sorted(subjects(state) - {"site"})
    return found | {f"{DELIVERY}:{channel}": (DELIVERY, channel) for channel in channels}


# -- the disk


def disk_limit(settings: AlarmSettings, size: int | None) -> int:
    """Bytes; less free than this is low."""
    share = 0 if size is None else round(settings.disk_share * size)
    return max(settings.disk_bytes, min(share, DISK_ROOMY))


def disk_low(state: State, now: Ms) -> Condition | None:
    """The disk is nearly full, or the store takes nothing any more, for whatever reason."""
    alarm = f"{DISK}:site"
    host = state.house.host
    if host is None:
        return None
    limit = disk_limit(state.site.alarms, host.disk_size)
    low = host.disk_free is not None and host.disk_free < limit
    unsaved = host.unsaved_for is not None and host.unsaved_for >= UNSAVED_AFTER
    if not (low or unsaved) and state.idle(alarm):
        return None
    roomy = host.disk_free is None or host.disk_free >= DISK_CLEAR * limit
    title, text, todo = _unsaved_words(state, host, now) if unsaved else _low_words(host)
    return Condition(
        id=alarm,
        rule=DISK,
        subject="site",
        priority=Priority.MEDIUM if unsaved else Priority.LOW,
        active=low or unsaved,
        clear=roomy and host.unsaved_for is None,
        since=now - (host.unsaved_for or 0),
        on_delay=0 if unsaved else state.site.alarms.on_delay,
        off_delay=state.site.alarms.off_delay,
        title=title,
        text=text,
        todo=todo,
        rises="the store takes nothing any more",
    )


def _free(host: Host) -> str:
    if host.disk_free is None:
        return "How much is free can't be told."
    share = f", {100 * host.disk_free / host.disk_size:.1f} % of the disk" if host.disk_size else ""
    return f"{max(host.disk_free, 0) // 1_000_000} MB are free{share}."


def _low_words(host: Host) -> tuple[str, str, str]:
    return (
        "The disk is nearly full",
        f"{_free(host)} When it is full, alarms and forecasts go on from memory, but readings are not kept any more.",
        "Make room on this disk: delete or move what is not needed. Or move the store to a larger one ([store] path).",
    )


def _unsaved_words(state: State, host: Host, now: Ms) -> tuple[str, str, str]:
    since = clock(now - (host.unsaved_for or 0), state.site.timezone, now)
    return (
        "Readings are not being saved",
        (
            f"The store takes nothing since {since}: {host.unsaved_why.rstrip('.')}. {_free(host)} "
            "Alarms and forecasts go on from memory; a restart now would forget what was read since."
        ),
        (
            "Don't restart. Make room on the disk; if there is room, the card may be worn out or read-only: "
            "copy the store and replace the card."
        ),
    )


# -- the clock


def clock_wrong(state: State, now: Ms) -> Condition | None:
    """The system clock is surely wrong, was set by far, or was not synchronised for long. Never in simulated time."""
    alarm = f"{CLOCK}:site"
    house, host = state.house, state.house.host
    if host is None or host.simulated:
        return None if state.idle(alarm) or host is None else _over(CLOCK, tell=False)
    behind = _behind(house, host, state.site.timezone, now)
    jump = _jump(house, host, now)
    active = bool(behind or jump) or host.clock_synced is False
    if not active:
        return None if state.idle(alarm) else _over(CLOCK, state.site.alarms.off_delay)
    zone_name = state.site.timezone
    here = clock(now, zone_name, now)
    if behind:
        text = f"This machine's clock says {_date(now, zone_name)}, {here}, {behind}."
    elif jump is not None:
        was, is_now = (f"{_date(time, zone_name)}, {clock(time, zone_name, time)}" for time in jump)
        text = f"This machine's clock was set from {was} to {is_now}."
    else:
        text = "This machine's clock is not kept by the network or any other reference."
    return Condition(
        id=alarm,
        rule=CLOCK,
        subject="site",
        priority=Priority.MEDIUM if behind else Priority.LOW,
        active=True,
        clear=False,
        since=now,
        on_delay=CLOCK_ON_DELAY if behind or jump else UNSYNCED_ON_DELAY,
        off_delay=state.site.alarms.off_delay,
        title="The clock is wrong" if behind else "The clock may be wrong",
        text=f"{text} Times of day, feeding times and quiet hours are off by as much as it is; "
        "minutes left in an alarm stay right.",
        todo=f"It is {here} by this clock: compare it with a watch. If it is right, acknowledge this. "
        "If not, see whether the network and its time service work, or set it by hand.",
        rises="the clock is surely wrong now",
    )


def _behind(house: House, host: Host, timezone: str, now: Ms) -> str:
    """How one can tell that the clock is behind; empty when one can't."""
    if now < CLOCK_UNSET:
        return "which is before this program was written"
    if host.clock_synced or house.ran_until is None or house.began is None:
        return ""
    if now - house.began > TRUSTS_NOTHING_AFTER or now >= house.ran_until - CLOCK_BEHIND:
        return ""
    ran = f"{_date(house.ran_until, timezone)}, {clock(house.ran_until, timezone, house.ran_until)}"
    return f"but it stood at {ran} already when the monitor ran before"


def _jump(house: House, host: Host, now: Ms) -> tuple[Ms, Ms] | None:
    """The newest large jump while it is news and no reference says that the clock is right now."""
    if house.jumped is None or host.clock_synced or not 0 <= now - house.jumped[1] < TRUSTS_NOTHING_AFTER:
        return None
    return None if house.jumped[0] < CLOCK_UNSET else house.jumped  # a clock that was never set is set at last


def _date(time: Ms, timezone: str) -> str:
    return datetime.fromtimestamp(time / 1000, zone(timezone)).strftime("%d %b %Y")


# -- channels


def delivery_failing(state: State, channel: ChannelHealth, now: Ms) -> Condition | None:
    """A channel has refused or hung for long: whoever relies on it would hear nothing. Over when a letter got through."""
    alarm = f"{DELIVERY}:{channel.id}"
    failing = channel.failing_for is not None and channel.failing_for >= state.site.alarms.delivery_on_delay
    if not failing and state.idle(alarm):
        return None
    begun = now - (channel.failing_for or 0)
    text = f"Nothing gets through {channel.id} since {clock(begun, state.site.timezone, now)}."
    if channel.waiting:
        many = "1 letter waits" if channel.waiting == 1 else f"{channel.waiting} letters wait"
        text += f' {many}: "{channel.oldest}"' + (" and newer ones." if channel.waiting > 1 else ".")
    else:
        text += " What it refused for good is not tried again."
    if channel.error:
        text += f" Last: {channel.error.removeprefix(f'channel {channel.id}: ').rstrip('.')}."
    return Condition(
        id=alarm,
        rule=DELIVERY,
        subject=channel.id,
        priority=Priority.MEDIUM,
        active=failing,
        clear=channel.works,
        since=begun,
        on_delay=0,
        off_delay=0,
        title=f"Alerts don't get through {channel.id}",
        text=text if failing else "",
        todo=(f"{channel.todo} " if channel.todo else "")
        + "Look at the page more often meanwhile. Then test: swimup alarm test.",
    )


# -- restarts


def restarted(state: State, now: Ms) -> Condition | None:
    """The service ended without warning and runs again: for a time nothing was watched. Ends by itself."""
    alarm = f"{RESTARTED}:site"
    crashes = state.house.crashes
    recent = crashes is not None and 0 <= now - crashes.back < QUIET_AGAIN
    if crashes is None or not recent:
        return None if state.idle(alarm) else _over(RESTARTED, tell=False)
    loops = crashes.count >= LOOP and crashes.back - crashes.first >= LOOP_LASTS
    return Condition(
        id=alarm,
        rule=RESTARTED,
        subject="site",
        priority=Priority.MEDIUM if loops or crashes.longest >= LONG_GAP else Priority.LOW,
        active=True,
        clear=False,
        since=crashes.first,
        on_delay=RESTART_ON_DELAY,
        off_delay=0,
        title="The monitor was restarted" if crashes.count < LOOP else "The monitor restarts again and again",
        text=_restart_words(crashes, state.site.timezone, now),
        todo="Look at the vessels if nobody has since. If it was no power cut, see its log, the power supply and the card.",
        tell_return=False,
        rises="it keeps ending without warning" if loops else "it was away for long",
    )


def keep_restarts(state: State, began: Began) -> Iterator[Learned]:
    """What is to be kept of a beginning after an end without warning."""
    if state.house.crashes is not None and not began.clean and began.alive is not None:
        yield Learned(began.time, f"house/{RESTARTS}", state.house.crashes.document())


def _restart_words(crashes: Crashes, timezone: str, now: Ms) -> str:
    cause = "a power cut, a crash, or a hang that the watchdog ended"
    back = clock(crashes.back, timezone, now)
    if crashes.count > 1:
        first, most = clock(crashes.first, timezone, now), duration(crashes.longest)
        return (
            f"It ended without warning {how_often(crashes.count)} since {first}, last before {back} ({cause}). "
            f"Nothing was watched in between, for {most} at most."
        )
    if crashes.back <= crashes.gone:  # the clock was set meanwhile, or is wrong
        return f"It ended without warning ({cause}) and runs again since {back}; nothing was watched in between."
    return (
        f"Nothing was watched between {clock(crashes.gone, timezone, now)} and {back}: "
        f"it ended without warning ({cause})."
    )


def _over(rule: str, off_delay: Ms = 0, *, tell: bool = True) -> Condition:
    return over(f"{rule}:site", rule, "site", Priority.LOW, off_delay, tell=tell)
