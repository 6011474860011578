"""Alarms about nauplii kept cold: too warm, too cold, near their end, without air. Only while a store holds something."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.alarms import Condition, over
from monitor.core.model import HOUR, MINUTE, SECOND, SLOT, Air, Ms, Priority, Span
from monitor.core.rules_air import STOPPED_TODO, ends
from monitor.core.stores import COOLING_H, ENDS, minutes_of_air
from monitor.core.wording import clock, clock_range, minutes_range

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from monitor.core.quality import ProbeState
    from monitor.core.state import State
    from monitor.core.stores import ColdStore, Content, Life

WARM: Final = "store-warm"
COLD: Final = "store-cold"
ENDING: Final = "store-ending"
AIR: Final = "store-air"
RULES: Final = (WARM, COLD, ENDING, AIR)
"""Of cold stores."""
# All delays and lead times are common practice, no source.
WARM_DELAY: Final = 30 * MINUTE  # an open door warms a probe, but not half a litre of water
COLD_DELAY: Final = 15 * MINUTE  # the stroke of a compressor is over by then, and salt water is not yet frozen
COOLING: Final = round(COOLING_H[1] * HOUR)  # what goes in warm needs so long, and its probe with it
ENDING_AHEAD: Final = 12 * HOUR  # a keeper looks in twice a day; one of the two meals can still be fed of it
SUFFOCATING_AHEAD: Final = 3 * HOUR  # before the earliest instant at which the oxygen may be gone
AIR_AHEAD: Final = 12 * HOUR  # what comes later can be told later
URGENT_MIN: Final = 60.0
ENDING_CLEAR: Final = 1.25  # times the lead: what lasts so much longer again, since it is colder, needs nobody now
FREEZES_C: Final = -1.4  # water of 25 g/L (freezing point of seawater by UNESCO 1983, from memory)


def on_tick(state: State, now: Ms, *, slow: bool) -> Iterator[Condition | None]:
    """What is looked at as time passes; ``slow`` once a slot and after a log entry."""
    for store in state.cold_stores.values():
        yield from on_store(state, store, now)
        if slow:
            yield store_ending(state, store, now)


def on_reading(state: State, probe: ProbeState, now: Ms) -> Iterator[Condition | None]:
    """What must be looked at as soon as this probe has told its newest value."""
    store = state.cold_stores.get(probe.spec.store or "")
    if store is not None and probe.fresh(now):
        yield from on_store(state, store, now)


def on_store(state: State, store: ColdStore, now: Ms) -> Iterator[Condition | None]:
    """What changes with every reading of a store."""
    yield store_warm(state, store, now)
    yield store_cold(state, store, now)
    yield store_air(state, store, now)


def _gone(state: State, rule: str, store: ColdStore) -> Condition | None:
    """Nothing is in it: whoever emptied it need not be told that its alarm is over."""
    alarm = f"{rule}:{store.spec.id}"
    return None if state.idle(alarm) else over(alarm, rule, store.spec.id, Priority.MEDIUM, 0, tell=False)


def held_until(state: State, life: Life, now: Ms) -> str:
    """``Good until about 21:00 (18:00 to Tue 02:00): ...``, with why it ends then."""
    past = life.until.mid is not None and life.until.mid <= now
    return (
        f"{'They were good' if past else 'Good'} until about {clock_range(life.until, state.site.timezone, now)}: "
        f"{ENDS[life.cause]}."
    )


def amount(content: Content) -> str:
    """``about 200 000 nauplii in 0.5 L``."""
    return f"about {content.nauplii:,.0f} nauplii in {content.litres:.3g} L".replace(",", " ")


def _beyond_since(store: ColdStore, content: Content, now: Ms, beyond: Callable[[float], bool]) -> Ms:
    """Since when the store has been beyond a limit without a break, by its history."""
    slots, means = store.series.told(content.newest // SLOT, now // SLOT + 1)
    since = now
    for slot, mean in zip(slots[::-1], means[::-1], strict=True):
        if not beyond(float(mean)):
            break
        since = int(slot) * SLOT
    return max(min(since, now), min(content.newest, now))


def store_warm(state: State, store: ColdStore, now: Ms) -> Condition | None:
    """Warmer than nauplii keep. What was put in warm is given time to cool."""
    content, newest, life = store.content, store.newest(), store.life(now)
    if content is None or life is None or newest is None or store.forgotten(now):
        return _gone(state, WARM, store)
    name, limit = store.spec.id, store.spec.warm_above
    active = newest.value > limit
    alarm = f"{WARM}:{name}"
    if not active and state.idle(alarm):
        return None
    since = _beyond_since(store, content, now, lambda mean: mean > limit) if active else now
    return Condition(
        id=alarm,
        rule=WARM,
        subject=name,
        priority=Priority.MEDIUM,
        active=active,
        clear=newest.value <= limit - state.site.alarms.deadband_c,
        since=since,
        on_delay=max(WARM_DELAY, content.newest + COOLING - since),
        off_delay=WARM_DELAY,
        title=f"{name} is too warm: {newest.value:.1f} C",
        text=(
            f"{_level('above', limit, newest.value, since, state, now)} It holds {amount(content)}. "
            f"As it is now: {held_until(state, life, now)}"
        ),
        todo="Shut its door and see that it runs; move them where it is 2-4 C, or feed them at the next meal.",
    )


def _level(side: str, limit: float, value: float, since: Ms, state: State, now: Ms) -> str:
    when = clock(since, state.site.timezone, now)
    beyond = value > limit if side == "above" else value < limit
    return (
        f"The store is {side} its limit of {limit:g} C since {when}."
        if beyond
        else f"The store was {side} {limit:g} C."
    )


def store_cold(state: State, store: ColdStore, now: Ms) -> Condition | None:
    """So cold that they may freeze."""
    content, newest = store.content, store.newest()
    if content is None or newest is None or store.forgotten(now):
        return _gone(state, COLD, store)
    name, limit = store.spec.id, store.spec.cold_below
    active = newest.value < limit
    alarm = f"{COLD}:{name}"
    if not active and state.idle(alarm):
        return None
    since = _beyond_since(store, content, now, lambda mean: mean < limit) if active else now
    return Condition(
        id=alarm,
        rule=COLD,
        subject=name,
        priority=Priority.MEDIUM,
        active=active,
        clear=newest.value >= limit + state.site.alarms.deadband_c,
        since=since,
        on_delay=COLD_DELAY,
        off_delay=COLD_DELAY,
        title=f"{name} is too cold: {newest.value:.1f} C",
        text=(
            f"{_level('below', limit, newest.value, since, state, now)} It holds {amount(content)}. "
            f"Near freezing they die; water with 25 g/L of salt freezes at about {FREEZES_C:g} C."
        ),
        todo="Turn it warmer, or move them away from its back wall, to where it is 2-4 C. Look whether they still swim.",
    )


def store_ending(state: State, store: ColdStore, now: Ms) -> Condition | None:
    """What it holds is near its end: by oxygen, by energy or by age, whichever is first."""
    content, life = store.content, store.life(now)
    if content is None or life is None:
        return _gone(state, ENDING, store)
    name = store.spec.id
    alarm = f"{ENDING}:{name}"
    good = (life.until.mid or 0.0) - now
    air = None if life.oxygen.lo is None else life.oxygen.lo - now
    lead = min(ENDING_AHEAD, ((life.until.mid or 0.0) - content.since) / 2)  # not as soon as it was put in
    suffocates = air is not None and air <= SUFFOCATING_AHEAD
    active = suffocates or good <= lead
    if not active and state.idle(alarm):
        return None
    clear = good > ENDING_CLEAR * lead and (air is None or air > ENDING_CLEAR * SUFFOCATING_AHEAD)
    since = clock(content.since, state.site.timezone, now)
    return Condition(
        id=alarm,
        rule=ENDING,
        subject=name,
        priority=Priority.MEDIUM if suffocates else Priority.LOW,
        active=active,
        clear=clear,
        since=now,
        on_delay=0,
        off_delay=HOUR,
        title=_ending_title(state, name, life, now),
        text=f"{name} holds {amount(content)} since {since}{_temperature(state, store, now)}. {held_until(state, life, now)}"
        + (
            f" Oxygen may be gone from {clock(int(life.oxygen.lo or 0), state.site.timezone, now)} on."
            if suffocates
            else ""
        ),
        todo=f"Feed or throw away, then note that {name} is empty. A dense or cloudy one is bad sooner: look and smell first.",
        tell_return=False,
        deadline=int(life.oxygen.lo) if suffocates and life.oxygen.lo is not None else None,
    )


def _ending_title(state: State, name: str, life: Life, now: Ms) -> str:
    mid = life.until.mid or 0.0
    when = clock(int(mid), state.site.timezone, now)
    return f"{name}: good until about {when}" if mid > now else f"{name}: past its time since about {when}"


def _temperature(state: State, store: ColdStore, now: Ms) -> str:
    """What is known of how cold it is; an old value says how old."""
    probe, newest = store.newest_probe(), store.newest()
    if probe is None or newest is None:
        return "; its temperature is not known"
    if probe.fresh(now):
        return f", now at {newest.value:.1f} C"
    return f"; it was {newest.value:.1f} C at {clock(newest.time, state.site.timezone, now)}, nothing newer is known"


def store_air(state: State, store: ColdStore, now: Ms) -> Condition | None:
    """The aeration of what is kept open and aerated has stopped."""
    name, content, probe = store.spec.id, store.content, store.newest_air()
    alarm = f"{AIR}:{name}"
    if content is None or not content.aerated or store.forgotten(now):
        return _gone(state, AIR, store)
    if probe is None or probe.air_state != Air.STOPPED:
        return None if state.idle(alarm) else over(alarm, AIR, name, Priority.HIGH, 30 * SECOND)
    since = max(probe.air_since if probe.air_since is not None else now, min(content.newest, now))
    seen = max(min(probe.air_seen if probe.air_seen is not None else since, since), min(content.newest, now))
    left = minutes_of_air(store, content, now, seen, since)
    active = left.lo is not None and left.lo * MINUTE < AIR_AHEAD
    if not active and state.idle(alarm):
        return None
    urgent = left.lo is not None and left.lo < URGENT_MIN
    at_first = (left.lo or 0.0) * MINUTE + (now - since)
    deadline, too_late = ends(left, now)
    return Condition(
        id=alarm,
        rule=AIR,
        subject=name,
        priority=Priority.HIGH if urgent else Priority.MEDIUM,
        active=active,
        clear=not active,
        since=since,
        on_delay=int(min(state.site.alarms.air_on_delay, at_first / 10)),
        off_delay=30 * SECOND,
        title=_air_title(name, left, urgent=urgent),
        text=(
            f"No air since {clock(since, state.site.timezone, now)} for {amount(content)}{_temperature(state, store, now)}. "
            f"{_air_left(left)}"
        ),
        todo=f"{STOPPED_TODO} Or spread them over wide shallow dishes, or feed them now.",
        deadline=deadline,
        too_late=too_late,
    )


def _air_title(name: str, left: Span, *, urgent: bool) -> str:
    if not urgent:
        return f"Air stopped in {name}"
    low = int(left.lo or 0)
    return f"Air stopped in {name}: act {f'within {low} min' if low > 0 else 'now'}"


def _air_left(left: Span) -> str:
    if left.lo is None:
        return "So few have oxygen enough through the surface."
    if left.lo >= 1:
        return f"Oxygen lasts about {minutes_range(left)} more; without it they die."
    most = f"; at most {int(left.hi)} min are left" if left.hi is not None and 1 <= left.hi < 600 else ""
    return f"The oxygen may already be used up{most}; without it they die."
