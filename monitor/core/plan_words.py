"""What a plan says: what each start is for, and what is other than in the plan before."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.model import HOUR, MINUTE
from monitor.core.plan_facts import Cause, causes
from monitor.core.wording import clock, duration, number

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from monitor.core.food import Pantry, Plan, PlannedStart
    from monitor.core.plan_weighing import Role

MOVED: Final = HOUR  # a start that moves by less has not changed; common practice, no source
OTHER_GRAMS: Final = 0.2  # of the grams, likewise
TOLD: Final = 5  # sentences about what is other
NAMED: Final = 3
SOON: Final = 3 * 24 * HOUR  # what changes further ahead than that will change again


def odds(chance: float) -> str:
    """``1 chance in 4``: as one says it, never more exact than it is known."""
    if chance >= 0.95:
        return "almost surely"
    if chance >= 0.075:
        if chance >= 0.45:
            return f"{round(10 * chance)} chances in 10"
        return f"1 chance in {round(1 / chance)}"
    return f"{max(round(100 * chance), 1)} {'chance' if round(100 * chance) <= 1 else 'chances'} in 100"


def grams(value: float) -> str:
    """``3.5 g``; a balance for the kitchen shows tenths."""
    return f"{value:.1f}".removesuffix(".0") + " g" if value >= 0.95 else f"{value:.2g} g"


def listed(names: Sequence[str], most: int = NAMED) -> str:
    shown = list(dict.fromkeys(names))
    if len(shown) > most:
        shown = [*shown[: most - 1], f"{len(shown) - most + 1} others"]
    return shown[0] if len(shown) == 1 else f"{', '.join(shown[:-1])} and {shown[-1]}"


def reason_of(pantry: Pantry, role: Role) -> str:
    """Why it is started: for which meals, and what would be without it."""
    if not role.meals:
        return "in case more is needed than foreseen"
    meals = _meals(pantry, role)
    if role.without <= 0:
        return f"for {meals}, beside what else there is"
    if role.without >= 0.95:
        return f"for {meals}"
    told = f"without it there {'is' if _one(role.without) else 'are'} {odds(role.without)} of a short meal"
    return f"in case another batch fails: for {meals}; {told}" if role.backup else f"for {meals}; {told}"


def _one(chance: float) -> bool:
    return odds(chance).startswith("1 chance ")


def _meals(pantry: Pantry, role: Role) -> str:
    """``Thu 07:00 to Fri 19:00 of killi-3 and adults``."""
    eaters = listed([meal.eater for meal in role.meals])
    times = sorted({meal.time for meal in role.meals})
    told = [clock(time, pantry.timezone, pantry.now) for time in times]
    when = f"{told[0]} and {told[1]}" if len(told) == 2 else told[0] if len(told) == 1 else f"{told[0]} to {told[-1]}"
    return f"{when} of {eaters}"


# -- what is other


def changes(pantry: Pantry, plan: Plan) -> tuple[str, ...]:
    """What is other than in ``pantry.last``, in sentences, and why; empty when there was none, or all is as it was.

    While nobody ate there was no plan, only its empty shape, which rests on nothing.
    """
    last = pantry.last
    if last is None or not last.made or not last.facts:
        return ()
    why = causes(last.facts, plan.facts)
    found = list(_moved(pantry, last, plan, why))
    return tuple(dict.fromkeys(found))[:TOLD]


def _moved(pantry: Pantry, last: Plan, plan: Plan, why: list[Cause]) -> Iterator[str]:
    before = {one.id: one for one in last.starts}
    after = {one.id: one for one in plan.starts}
    for start in plan.starts:
        if start.start - pantry.now > SOON:
            continue
        was = before.get(start.id)
        if was is None:
            what = f"{grams(start.grams)} of {start.lot} in {start.vessel} {_at(pantry, start)}"
            yield _because(f"New: start {what}", start, why)
            continue
        by = start.start - was.start
        if abs(by) >= MOVED and start.start > pantry.now + MINUTE:
            yield _because(f"{start.vessel} starts {duration(abs(by))} {'later' if by > 0 else 'earlier'}", start, why)
        if abs(start.grams - was.grams) > OTHER_GRAMS * was.grams:
            told = f"{grams(start.grams)} of {start.lot} instead of {grams(was.grams)}"
            yield _because(f"{start.vessel} is to get {told}", start, why)
    begun = {(batch.vessel, batch.lot) for batch in pantry.batches if batch.start >= last.made - HOUR}
    for was in last.starts:
        gone = was.id not in after and was.start - pantry.now <= SOON and (was.vessel, was.lot) not in begun
        if gone:
            what = f"No start of {was.lot} in {was.vessel} {_at(pantry, was)} any more"
            over = was.start_by < pantry.now
            yield f"{what}: its time is over." if over else _because(what, was, why)


def _at(pantry: Pantry, start: PlannedStart) -> str:
    return f"at {clock(start.start, pantry.timezone, pantry.now)}"


def _because(what: str, start: PlannedStart, why: list[Cause]) -> str:
    """With the gravest cause that has to do with it; one about another vessel or tin explains nothing."""
    own = (start.vessel, start.lot)
    fitting = [cause for cause in why if cause.about in own] + [cause for cause in why if _general(cause)]
    fitting.sort(key=lambda cause: -cause.weighs)
    return f"{what}: {fitting[0].text}." if fitting else f"{what}."


def _general(cause: Cause) -> bool:
    """What befell a batch or a brood moves all starts; the water of a vessel only its own."""
    return cause.weighs >= 3.0


def figure(value: float) -> str:
    """A number of nauplii: two digits are all that is known of it."""
    if value <= 0:
        return "0"
    digits = len(str(int(value)))
    step = 10 ** max(digits - 2, 0)
    return (
        number(round(value / step) * step, 0)
        if value < 1000
        else f"{round(value / step) * step:,.0f}".replace(",", " ")
    )
