"""What a check-up finds about whom the service hears and reaches: broker, probes, channels, copies; and how it ended before."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.checkup import act, fine, look
from monitor.core.doubts import FINE, MOST
from monitor.core.model import DAY, HOUR, MINUTE, SECOND, Ms
from monitor.core.rules_record import BACKUP_OLD_AFTER
from monitor.core.wording import clock, duration, how_often

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.core.checkup import Finding
    from monitor.core.checkup_facts import Inside, ProbeFacts, ServerFacts
    from monitor.core.house import ChannelHealth

LOSSES_A_DAY: Final = 3.0  # a router that restarts at night is one; common practice, no source
SLOWER: Final = 1.5  # times the told period: at two, a reading counts as stale
FASTER: Final = 1 / 3  # of it: silence is then noticed much later than it could be; common practice, no source
LAG: Final[Ms] = HOUR  # of a copy; common practice, no source
ENDS_RECENT: Final[Ms] = 7 * DAY
ENDS_MANY: Final = 3  # in that time; one may be a power cut. Common practice, no source


def on_reach(inside: Inside, timezone: str) -> Iterator[Finding]:
    """In the order of the table."""
    yield from broker(inside)
    yield from probes(inside)
    yield from channels(inside, timezone)
    for server in inside.servers:
        yield from copy(server)
    yield from saving(inside)
    yield from ends(inside, timezone)
    yield from backup(inside, timezone)


def broker(inside: Inside) -> Iterator[Finding]:
    ran = max(inside.now - inside.began, 0)
    lost = inside.broker_losses
    if not inside.broker_up:
        yield act(
            "broker",
            f"The broker has not been reached for {duration(max(inside.now - inside.broker_since, 0))}.",
            "No reading comes in meanwhile.",
            "See that it runs (`systemctl status mosquitto`), and that `[broker]` url, user and password are right.",
        )
    elif lost > max(1.0, LOSSES_A_DAY * ran / DAY):
        yield look(
            "broker",
            f"The link to the broker was lost {how_often(lost)} in {duration(ran)}.",
            "Readings wait at the probes or the broker meanwhile, and alarms come late.",
            "Look at the network between them; a broker on this machine should never be lost: see its log.",
        )
    else:
        yield fine(
            "broker",
            f"The broker is reached; since the start the link was {f'lost {how_often(lost)}' if lost else 'never lost'}.",
        )
    if inside.broker_version == "3.1.1":
        yield look(
            "broker",
            "The broker speaks MQTT 3.1.1 only.",
            "It sends few messages at a time after an outage, so that old readings come in slowly.",
            "Set `max_inflight_messages 2000` in the broker's configuration, or use a broker that speaks MQTT 5.",
        )


def probes(inside: Inside) -> Iterator[Finding]:
    """One for each probe with which something is wrong, and one for all others together."""
    if not inside.probes:
        yield look("probes", "No probe is configured.", "Nothing is watched.", "Add a `[[probe]]` for each sensor.")
        return
    if not inside.broker_up:
        yield fine("probes", "They are not heard while the broker is not reached.")
        return
    ran = max(inside.now - inside.began, 0)
    well = awaited = 0
    for probe in inside.probes:
        found = one_probe(probe, ran)
        if found is not None:
            yield found
        elif probe.age is None:
            awaited += 1
        else:
            well += 1
    parts = [f"{well} of {len(inside.probes)} report as configured" if well else ""]
    parts.append(f"{awaited} may still report for the first time" if awaited else "")
    if well or awaited:
        yield fine("probes", f"{'; '.join(part for part in parts if part)}.")


def one_probe(probe: ProbeFacts, ran: Ms) -> Finding | None:
    """The worst that is wrong with it."""
    about = f"probe {probe.id}"
    if probe.messages and probe.unreadable == probe.messages:
        return act(
            about,
            f"None of its {probe.messages} messages could be read{_because(probe.reason)}.",
            "It is as good as silent.",
            "Check its decoder, pointer and unit in the configuration.",
        )
    if not probe.fresh:
        if probe.age is None and ran <= 3 * probe.every + MINUTE:
            return None  # it may still come
        what = (
            "It never told anything usable"
            if probe.age is None
            else f"It told nothing usable for {duration(probe.age)}"
        )
        return act(
            about,
            f"{what}{_because(probe.reason)}.",
            "What hangs on it is judged without it.",
            "Look at its power, plug and network, and that its topic is the one in the configuration.",
        )
    if probe.suspect is not None and probe.suspect >= FINE:
        level = act if probe.suspect >= MOST else look
        return level(
            about,
            f"{100 * probe.suspect:.0f} % of its newest readings are doubtful{_because(probe.reason)}.",
            "They are kept, but not used.",
            "A cable or plug that comes loose is the usual cause.",
        )
    return pace(probe)


def _because(reason: str) -> str:
    return f" (last: {reason.rstrip('.')})" if reason else ""


def pace(probe: ProbeFacts) -> Finding | None:
    """Whether it reports as often as is configured."""
    if probe.gap is None:
        return None
    often = f"every {duration(probe.gap)}" if probe.gap >= SECOND else "more than once a second"
    found = f"It reports {often}; configured is every {duration(probe.every)}."
    if probe.gap > SLOWER * probe.every:
        means = "It counts as stale, or rings as silent, though all is well."
    elif probe.gap < FASTER * probe.every:
        means = "Should it fall silent, that is noticed later than it could be."
    else:
        return None
    return look(f"probe {probe.id}", found, means, f'Set `every = "{_typed(probe.gap)}"` for it.')


def _typed(gap: Ms) -> str:
    """A length as the configuration takes it: whole seconds, or minutes from five on."""
    if gap < 5 * MINUTE:
        return f"{max(round(gap / 1000), 1)} s"
    return f"{round(gap / MINUTE)} min"


def channels(inside: Inside, timezone: str) -> Iterator[Finding]:
    if not inside.channels:
        yield look(
            "channels",
            "No channel is configured.",
            "Nobody who is away from the page hears of an alarm.",
            "Add a `[[channel]]` for your phone.",
        )
    for channel in inside.channels:
        yield one_channel(channel, inside, timezone)


def one_channel(channel: ChannelHealth, inside: Inside, timezone: str) -> Finding:
    about = f"channel {channel.id}"
    got, failed = inside.tries.get(channel.id, (0, 0))
    if channel.failing_for is not None:
        since = clock(inside.now - channel.failing_for, timezone, inside.now)
        why = f": {channel.error.removeprefix(f'channel {channel.id}: ').rstrip('.')}" if channel.error else ""
        return act(
            about,
            f"Nothing gets through since {since}{why}.",
            "Whoever relies on it hears nothing.",
            f"{channel.todo or 'See its settings, and whether the network works.'} Then test it: `swimup alarm test`.",
        )
    if not channel.works and not got:
        return fine(
            about, "Nothing was sent since the start.", "Whether it works is not known. To see: `swimup alarm test`."
        )
    many = f"{got} letter{'' if got == 1 else 's'} got through since the start" if got else "A test got through"
    return fine(about, f"{many}{f', after {failed} failed tries' if failed else ''}.")


def copy(server: ServerFacts) -> Iterator[Finding]:
    about = f"copy {server.id}"
    if server.state == "failing":
        yield look(
            about,
            f"The time-series server takes nothing{_because(server.reason)}; it is {duration(server.lag)} behind.",
            "Nothing is lost: what it lacks is sent later.",
            server.todo or "See that it runs and that its address and token are right.",
        )
    elif server.lag >= LAG:
        yield look(
            about, f"The copy is {duration(server.lag)} behind.", "It catches up by itself.", "Look again in an hour."
        )
    elif server.refused:
        yield look(
            about,
            f"The server refused {server.refused} lines for good.",
            "They are missing there, but not here.",
            "See how long it keeps data, and its log.",
        )
    else:
        yield fine(
            about, "The copy is up to date." if server.state == "current" else "The copy is being brought up to date."
        )


def saving(inside: Inside) -> Iterator[Finding]:
    if inside.unsaved_for is not None:
        yield act(
            "saving",
            f"Nothing was saved for {duration(inside.unsaved_for)}{_because(inside.unsaved_why)}.",
            "Alarms go on from memory; a restart would forget what was read since.",
            "Don't restart. Make room on the disk; if there is room, the card may be worn out or read-only.",
        )
    if inside.lost_readings:
        yield look(
            "saving",
            f"{inside.lost_readings} readings gave way since the start because the disk took none.",
            "They are gone; alarms were decided with them all the same.",
            "Find out why the disk was full or read-only.",
        )


def ends(inside: Inside, timezone: str) -> Iterator[Finding]:
    """Ends that nobody asked for: power cuts, crashes, and hangs that the watchdog ended."""
    recent = [end for end in inside.ends if 0 <= inside.now - end < ENDS_RECENT]
    if recent:
        last = clock(recent[-1], timezone, inside.now)
        level = act if len(recent) >= ENDS_MANY else look
        yield level(
            "restarts",
            f"It ended without warning {how_often(len(recent))} in the last 7 days, last after {last}.",
            "A power cut, a crash, or a hang that the watchdog ended; nothing was watched in between.",
            "If it was no power cut, see its log (`journalctl -u swimup`), the power supply and the card.",
        )
        return
    known = "" if inside.ends_since is None else f" (counted for {duration(max(inside.now - inside.ends_since, 0))})"
    yield fine("restarts", f"It did not end without warning in the last 7 days{known}.")


def backup(inside: Inside, timezone: str) -> Iterator[Finding]:
    """Silent where none are made."""
    kept = inside.backups
    if kept is None:
        return
    since = kept.good if kept.good is not None else kept.begun
    newest = "There is no backup yet" if kept.good is None else "The newest good backup is of "
    found = f"{newest}{'' if kept.good is None else clock(kept.good, timezone, inside.now)}{_because(kept.error)}."
    if since is not None and inside.now - since > BACKUP_OLD_AFTER:
        yield look(
            "backup",
            found,
            "Should the card fail now, what came since is gone.",
            f"See that {kept.folder or 'the folder of backups'} is there, can be written and has room; then `swimup backup`.",
        )
    else:
        yield fine("backup", found)
