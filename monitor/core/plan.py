"""From the chosen options to a plan that can be followed: what each start is for, how long it can wait, how it is called."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.food import DAYS, Plan, PlannedStart, Unmet
from monitor.core.model import DAY, HOUR, MINUTE, Span
from monitor.core.plan_costs import priced
from monitor.core.plan_facts import facts
from monitor.core.plan_help import help_for
from monitor.core.plan_weighing import Weighing
from monitor.core.plan_words import changes, reason_of
from monitor.core.wording import zone

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from monitor.core.food import Choice, Option, Outlook, Pantry, Problem, Source
    from monitor.core.hatch import Array
    from monitor.core.model import Ms

    Planned = Callable[[str, str, float, Ms], Source]
    """What a batch would give: vessel, tin, grams, start."""

SAME_WITHIN: Final[Ms] = 6 * HOUR  # a start of the same vessel and tin, moved by less, is the same start
SAME_GRAMS: Final = 1.6  # and so is one of up to so many times the grams
SETTLES: Final[Ms] = 30 * MINUTE  # from harvest to feeding
NEAR: Final[Ms] = 5 * DAY  # for how long a start can wait is worked out for those that come so soon
NOISE: Final = 1.75  # times the chance that is allowed: so far samples of hundreds of worlds may differ
HELPED: Final = 4  # so many of the meals that nothing makes full are looked at closely


def make_plan(
    pantry: Pantry,
    problem: Problem,
    choice: Choice,
    outlook: Outlook | None = None,
    planned: Planned | None = None,
) -> Plan:
    """The plan of ``choice``. ``outlook``: with it followed, for what a shortfall is due to.

    ``planned`` makes the source of a batch that is started later than the option says, in the worlds of the problem; without it
    the option's own is moved in time.
    """
    weighing = Weighing.of(pantry, problem, choice)
    chosen = sorted(choice.chosen, key=lambda k: (problem.options[k].start, problem.options[k].vessel))
    starts: list[PlannedStart] = []
    taken: set[str] = set()
    for k in chosen:
        start = _start(pantry, problem.options[k], k, weighing, planned, taken)
        taken.add(start.id)
        starts.append(start)
    known = facts(pantry, problem.demand)
    made = Plan(
        made=pantry.now,
        until=pantry.now + (pantry.days or DAYS) * DAY,
        starts=tuple(starts),
        cost=choice.cost,
        unmet=tuple(_unmet(pantry, problem, choice, weighing, outlook)),
        gap=choice.gap,
        seconds=choice.seconds,
        facts=known,
        priced=priced(pantry),
    )
    return replace(made, changed=changes(pantry, made))


def _start(
    pantry: Pantry, option: Option, place: int, weighing: Weighing, planned: Planned | None, taken: set[str]
) -> PlannedStart:
    role = weighing.role(place)
    start_by = option.start
    if option.start < pantry.now + NEAR:
        start_by += weighing.can_wait(place, planned)
    since, nauplii = spans(option.source)
    vessel = next(one for one in pantry.vessels if one.id == option.vessel)
    return PlannedStart(
        id=_id(pantry, option, taken),
        vessel=option.vessel,
        lot=option.lot,
        grams=option.grams,
        litres=vessel.litres,
        salinity_g_l=pantry.salinity_g_l,
        start=option.start,
        start_by=start_by,
        harvest=since,
        nauplii=nauplii,
        store=option.store,
        cost=option.cost,
        feeds_from=role.first,
        feeds_until=role.last,
        backup=role.backup,
        reason=reason_of(pantry, role),
    )


def spans(source: Source) -> tuple[Span, Span]:
    """When it is harvested, ms, and how many it gives where it does not fail: central 80 % and median."""
    there = np.isfinite(source.since)
    if not there.any():
        return Span(None, None, None), Span(0.0, 0.0, 0.0)
    times = np.where(there, source.since - SETTLES, np.inf)
    return _span(times), _span(source.nauplii[there])


def _span(values: Array) -> Span:
    ordered = np.sort(values)
    found = [float(ordered[min(int(level * len(ordered)), len(ordered) - 1)]) for level in (0.1, 0.5, 0.9)]
    return Span(*(value if np.isfinite(value) else None for value in found))


# -- names


def _id(pantry: Pantry, option: Option, taken: Iterable[str]) -> str:
    """The name the start had in the plan before, when it is the same one; else a new one."""
    before = () if pantry.last is None else pantry.last.starts
    same = [one for one in before if one.id not in taken and _is_same(one, option)]
    if same:
        return min(same, key=lambda one: abs(one.start - option.start)).id
    local = datetime.fromtimestamp(option.start / 1000, zone(pantry.timezone))
    name = f"{_slug(option.vessel)}-{_slug(option.lot)}-{local:%m%d-%H}"
    used = {*taken, *(one.id for one in before)}
    return next(n for n in (name, *(f"{name}-{k}" for k in range(2, len(used) + 3))) if n not in used)


def _is_same(one: PlannedStart, option: Option) -> bool:
    return (
        (one.vessel, one.lot) == (option.vessel, option.lot)
        and abs(one.start - option.start) < SAME_WITHIN
        and max(one.grams, option.grams) <= SAME_GRAMS * min(one.grams, option.grams)
    )


def _slug(text: str) -> str:
    plain = "".join(letter if letter.isascii() and letter.isalnum() else " " for letter in text.casefold())
    return "-".join(plain.split()) or "x"


# -- what nothing can mend


def _unmet(
    pantry: Pantry, problem: Problem, choice: Choice, weighing: Weighing, outlook: Outlook | None
) -> Iterable[Unmet]:
    helps = ""
    told = {} if outlook is None else {(one.time, one.eater): one for one in outlook.meals}
    helped = 0
    for k in sorted(choice.unmet):
        meal = problem.demand.meals[k]
        known = told.get((meal.time, meal.eater))
        chance = float(weighing.short[k]) if known is None else known.short
        if chance <= NOISE * (1 - pantry.chance):
            continue  # in other worlds than those it was chosen in it is full about as often as is asked
        why = "" if known is None else known.why
        if helped < HELPED:
            helps = help_for(pantry, problem, weighing, k)
            helped += 1
        yield Unmet(meal.time, meal.eater, chance, why or "nothing that can be started is enough for it", helps)
