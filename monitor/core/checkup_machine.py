"""What a check-up finds about the machine: its disk, card, memory, clock, heat and power."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.checkup import act, fine, look, size
from monitor.core.model import DAY, HOUR
from monitor.core.quality import CLOCK_UNSET
from monitor.core.wording import duration

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.core.checkup import Finding
    from monitor.core.checkup_facts import Card, Facts, Inside, Machine
    from monitor.core.model import Ms

YEAR: Final[Ms] = 365 * DAY
GROWTH_NEEDS: Final[Ms] = 20 * HOUR  # a shorter span says little of a day
WRITES_NEED: Final[Ms] = HOUR  # likewise of what is written
FULL_SOON: Final = 1.0  # years
DISK_EASY: Final = 2.0  # times the limit that rings; common practice, no source
WEARS: Final = ("mmcblk", "sd")
"""How Linux names memory cards, and sticks at USB; other disks bear far more. From memory."""
CARD_SHARE_A_DAY: Final = 0.05
"""Of its size written a day: a card of 500 erasures a cell whose controller writes four times over then lasts seven years.
Common practice, no source; cards differ, and makers seldom tell."""
MEMORY_SHARE: Final = 0.8  # of the limit; common practice, no source
MEMORY_FREE_SHARE: Final = 0.1  # of the machine; likewise
HOT_C: Final = 80.0
"""Raspberry Pi documentation, frequency management and thermal control: the processor slows down from 80 C on (from memory)."""


def on_machine(facts: Facts) -> Iterator[Finding]:
    """In the order of the table."""
    machine, inside = facts.machine, facts.inside
    yield from disk(machine, 0 if inside is None else inside.disk_limit)
    if inside is not None:
        yield from growth(machine, inside)
        yield clock(inside)
    yield from card(machine)
    yield from memory(machine)
    yield from heat(machine)
    yield from power(machine)


def disk(machine: Machine, limit: int) -> Iterator[Finding]:
    free, whole = machine.disk_free, machine.disk_size
    if free is None:
        yield look("disk", "How much of the disk is free can't be told.", "", "See that the store's folder is there.")
        return
    share = f" of {size(whole)}" if whole else ""
    found = f"{size(max(free, 0))}{share} are free on the disk."
    if free < limit:
        yield act(
            "disk",
            found,
            "When it is full, alarms and forecasts go on from memory, but readings are not kept any more.",
            "Make room on this disk: delete or move what is not needed. Or move the store to a larger one.",
        )
    elif free < DISK_EASY * limit:
        yield look("disk", found, f"Below {size(limit)} an alarm rings.", "Make some room within the next weeks.")
    else:
        yield fine("disk", found)


def pace(sizes: tuple[tuple[Ms, int], ...], now: Ms, present: int | None) -> tuple[float, Ms] | None:
    """How many bytes the store grows a day, and over which span that was seen; ``None`` while it is too early to say."""
    if not sizes or present is None:
        return None
    since, was = sizes[0]
    span = now - since
    return None if span < GROWTH_NEEDS else ((present - was) * DAY / span, span)


def growth(machine: Machine, inside: Inside) -> Iterator[Finding]:
    if machine.store_size is None:
        return
    told = f"The store takes {size(machine.store_size)}"
    grows = pace(inside.sizes, inside.now, machine.store_size)
    if grows is None:
        yield fine("store", f"{told}. How fast it grows is known after a day.")
        return
    a_day, span = grows
    seen = f"in the last {duration(span)}"
    if a_day <= 0:
        yield fine("store", f"{told} and did not grow {seen}.")
        return
    found = f"{told} and grew by {size(a_day)} a day {seen}."
    if machine.disk_free is None:
        yield fine("store", found)
        return
    years = max(machine.disk_free, 0) / a_day / 365
    means = f"At this pace the disk is full in {about(years)}."
    if years < FULL_SOON:
        yield look(
            "store", found, means, "Keep readings for a shorter time (`raw_days` of `[store]`), or use a larger disk."
        )
    else:
        yield fine("store", found, f"{means} It slows down once old readings are cleared away.")


def about(years: float) -> str:
    """``about 12 years``, ``about 5 months``."""
    if years > 50:
        return "more than 50 years"
    if years >= 2:
        return f"about {years:.0f} years"
    months = round(years * 12)
    return f"about {months} months" if months >= 2 else f"about {max(round(years * 365), 1)} days"


def a_day(count: int | None, span: Ms | None) -> float | None:
    """A total as so much a day; ``None`` while the span is too short to say."""
    return None if count is None or span is None or span < WRITES_NEED else count * DAY / span


def card(machine: Machine) -> Iterator[Finding]:
    ours = a_day(machine.written, machine.ran_for)
    ours_told = "" if ours is None else f"The monitor writes {size(ours)} a day."
    found = machine.card
    whole = None if found is None else a_day(found.written, machine.up_for)
    if found is None or whole is None:
        if ours_told:
            yield fine("card", ours_told)
        return
    told = f"All programs together write {size(whole)} a day to {found.name}. {ours_told}".rstrip()
    if found.name.startswith(WEARS) and found.size and whole > CARD_SHARE_A_DAY * found.size:
        yield _much(found, told, whole, ours)
    else:
        yield fine("card", told)


def _much(found: Card, told: str, whole: float, ours: float | None) -> Finding:
    lasts = duration(round((found.size or 0) / whole * DAY))
    who = (
        "Most of it is not the monitor: see what else writes."
        if ours is None or ours < whole / 2
        else ("Let the monitor save less often: `commit_every` of `[store]`.")
    )
    return look(
        "card",
        told,
        f"As much as the whole card holds is written every {lasts}; a memory card wears out so in a few years.",
        f"{who} Keep backups elsewhere, or use a disk that is made for it.",
    )


def memory(machine: Machine) -> Iterator[Finding]:
    used, limit = machine.memory_used, machine.memory_limit
    if used is None:
        return
    cap = f" of at most {size(limit)}" if limit else ""
    found = f"The monitor holds {size(used)}{cap} in memory."
    if limit and used > MEMORY_SHARE * limit:
        yield look(
            "memory",
            found,
            "At the limit the system ends it and starts it anew.",
            "Restart it; if it grows again, note how fast, and raise the limit meanwhile (`MemoryMax` of the unit).",
        )
        return
    free, whole = machine.memory_free, machine.memory_size
    if free is not None and whole and free < MEMORY_FREE_SHARE * whole:
        yield look(
            "memory",
            f"{found} The machine has {size(free)} of {size(whole)} left.",
            "When nothing is left, the system ends programs.",
            "End what is not needed on this machine.",
        )
        return
    yield fine("memory", found)


def clock(inside: Inside) -> Finding:
    if inside.simulated:
        return fine("clock", "Time is simulated.")
    if inside.early is not None:
        wait = f"; {inside.early} readings wait for their right time" if inside.early else ""
        return look(
            "clock",
            f"The clock is not set yet: times are from when the monitor started{wait}.",
            "Alarms go on. Times are put right once it is set; after 10 min readings are kept as they are, with a mark.",
            "See whether the network and its time service work (`timedatectl`), or set the clock by hand.",
        )
    if inside.now < CLOCK_UNSET:
        return act(
            "clock",
            "The clock is not set yet: it shows a day before this program was written.",
            "Times are wrong; minutes left in an alarm stay right.",
            "See whether the network and its time service work, or set the clock by hand.",
        )
    if inside.clock_synced is False:
        return look(
            "clock",
            "The clock is not kept by the network or any other reference.",
            "Without one it drifts by seconds a day, and after a power cut it may be far off.",
            "See whether the network and its time service work (`timedatectl`).",
        )
    if inside.clock_synced is None:
        return fine(
            "clock", "Whether anything keeps the clock can't be told here.", "Compare it with a watch now and then."
        )
    return fine("clock", "The clock is kept by a reference.")


def heat(machine: Machine) -> Iterator[Finding]:
    warm = machine.processor_c
    if warm is None:
        return
    found = f"The processor is at {warm:.0f} °C."
    if warm >= HOT_C:
        yield look(
            "heat", found, "It slows itself down, and ages faster.", "Give the board air, shade, or a heat sink."
        )
    else:
        yield fine("heat", found)


def power(machine: Machine) -> Iterator[Finding]:
    todo = "Use the supply that is made for this board, and a short, thick cable."
    means = "The board may end without warning, and cards get damaged so."
    if machine.power_low:
        yield act("power", "The supply voltage is too low at this moment.", means, todo)
    elif machine.power_was_low:
        yield look("power", "The supply voltage was too low at some time since the board was started.", means, todo)
    elif machine.power_low is not None:
        yield fine("power", "The supply voltage is high enough.")
