"""What needs the keeper now and is no alarm: one ordered list, each entry with what to do and where. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, Literal

from monitor.core.light import light
from monitor.core.model import HOUR, MINUTE
from monitor.web import words
from monitor.web.bench_batch import may_swim
from monitor.web.bench_measured import instant_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from zoneinfo import ZoneInfo

    from monitor.core.model import Ms
    from monitor.web.bench_alarms import AlarmView
    from monitor.web.bench_vessel import VesselView

Kind = Literal["harvest", "work", "look", "lost"]

LOOK_AGAIN: Final[Ms] = 2 * HOUR
"""Who has just looked is not asked again so soon; keepers look every two to twelve hours, common practice, no source."""
WORK_ENDS: Final[Ms] = 5 * MINUTE
"""So long before work on a vessel ends it is asked whether it takes longer: enough to dry a hand."""
PAST, WORK, READY, LOOK, LOST = range(5)
"""How pressing: hands in the water go before a harvest that can wait, and a harvest before a look."""


@light
class Need:
    kind: Kind
    vessel: VesselView
    title: str
    text: str
    rank: int
    due: Ms  # among those of one rank the earliest comes first

    @property
    def key(self) -> str:
        """The same while it is the same thing to do."""
        return f"{self.kind}-{self.vessel.key}"


def make_needs(
    vessels: Iterable[tuple[Mapping[str, Any], VesselView]], alarms: Sequence[AlarmView], now: Ms, zone: ZoneInfo
) -> tuple[Need, ...]:
    """The most pressing first; ``vessels``: each as the service tells it, and as the page shows it.

    What an alarm asks for that waits to be acknowledged is not asked twice.
    """
    asked = {alarm.about for alarm in alarms if alarm.to_acknowledge and alarm.to_harvest}
    found: list[Need] = []
    for vessel, view in vessels:
        found += [need for need in _of(vessel, view, now, zone) if need.kind != "harvest" or view.id not in asked]
    return tuple(sorted(found, key=lambda need: (need.rank, need.due)))


def _of(vessel: Mapping[str, Any], view: VesselView, now: Ms, zone: ZoneInfo) -> Iterator[Need]:
    until = instant_of(vessel.get("work_until"))
    if until is not None and now < until <= now + WORK_ENDS:
        left = words.duration(max(until - now, MINUTE))
        yield Need("work", view, f"Work on {view.id} ends in {left}", "Then its alarms ring again.", WORK, until)
    batch = vessel.get("batch")
    if batch is None:
        return
    if batch["stage"] == "lost":
        told = "Nothing more will hatch in it. Throw it away, clean the vessel and start anew."
        yield Need("lost", view, f"{view.id} is lost", told, LOST, now)
    elif batch["stage"] in ("ready", "past"):
        yield _harvest(batch, view, now, zone)
    elif _look_wanted(batch, now):
        yield _look(batch, view, now)


def _harvest(batch: Mapping[str, Any], view: VesselView, now: Ms, zone: ZoneInfo) -> Need:
    ready, best = instant_of(batch["ready"]["mid"]), instant_of(batch.get("best_until"))
    past = batch["stage"] == "past"
    told = [] if ready is None else [f"Ready since {words.moment(words.about(ready), now, zone)}."]
    if best is not None:
        lead = "They were at their best" if past else "At their best"
        told.append(f"{lead} until {words.moment(words.about(best), now, zone)}.")
    title = f"Harvest {view.id}: past its best" if past else f"Harvest {view.id}"
    due = now if ready is None else ready
    return Need("harvest", view, title, " ".join(told), PAST if past else READY, due if best is None else best)


def _look_wanted(batch: Mapping[str, Any], now: Ms) -> bool:
    looked = batch.get("looked")
    last = instant_of(looked["time"]) if looked else None
    return may_swim(batch, now) and (last is None or now - last >= LOOK_AGAIN)


def _look(batch: Mapping[str, Any], view: VesselView, now: Ms) -> Need:
    mid = instant_of(batch["t10"]["mid"])
    late = mid is not None and mid <= now
    told = (
        f"The first ones {'should swim by now' if late else 'may be swimming'}. One look makes the time more certain."
    )
    return Need("look", view, f"Look into {view.id}", told, LOOK, now if mid is None else mid)
