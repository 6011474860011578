"""The alarm about the store of cysts: a tin in use that is nearly empty wants another one ordered or opened."""

from __future__ import annotations

from statistics import median
from typing import TYPE_CHECKING, Final

from monitor.core.alarms import STANDING, Condition, over
from monitor.core.model import DAY, Priority
from monitor.core.tins import UNUSED, in_a_topic
from monitor.core.tins_held import balance, held, known_lots, lot_spec
from monitor.core.wording import duration

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.core.log import Start
    from monitor.core.model import LotSpec, Ms
    from monitor.core.state import State

RULE: Final = "cysts-low"
USUAL_OF: Final = 5  # the newest starts of a tin, whose middle is a usual batch; common practice, no source
BATCHES_LEFT: Final = 2  # about what is sown while a new tin is on its way; common practice, no source
LOW_G: Final = 5.0  # of a tin from which nothing was started yet; common practice, no source
DISAGREE_G: Final = 0.05  # a kitchen balance is no better than a tenth of a gram


def alarm_id(lot: str) -> str:
    return f"{RULE}:{in_a_topic(lot)}"


def sow(state: State, start: Start) -> None:
    """Count what a batch took out of its tin."""
    state.sown.setdefault(start.lot, []).append((start.time, start.cysts_g))


def usual_g(state: State, lot: str) -> tuple[float, float, float] | None:
    """The smallest, the middle and the largest of the newest batches of a tin, g; ``None`` when there was none."""
    newest = [grams for _, grams in sorted(state.sown.get(lot, []))[-USUAL_OF:]]
    return (min(newest), median(newest), max(newest)) if newest else None


def low_below(state: State, spec: LotSpec) -> float:
    """Grams below which a tin is nearly empty."""
    if spec.low_below is not None:
        return spec.low_below
    usual = usual_g(state, spec.id)
    return LOW_G if usual is None else BATCHES_LEFT * usual[1]


def on_tick(state: State, now: Ms) -> Iterator[Condition | None]:
    """Looks at every tin that is known; what nobody told the weight of has nothing to say."""
    for lot in known_lots(state):
        yield cysts_low(state, lot_spec(state, lot), now)


def with_grams(state: State) -> list[str]:
    """Tins of which it is known what was in them."""
    return [lot for lot in known_lots(state) if held(state, lot) is not None]


def cysts_low(state: State, spec: LotSpec, now: Ms) -> Condition | None:
    """A tin in use has little left. Rings once, and ends only when somebody says that there is more in it."""
    alarm = alarm_id(spec.id)
    left, usual = balance(state, spec.id), usual_g(state, spec.id)
    if left is None or usual is None or left >= low_below(state, spec):
        return None if state.idle(alarm) else over(alarm, RULE, spec.id, Priority.LOW, 0, tell=False)
    last = max(time for time, _ in state.sown[spec.id])
    left_aside = now - last >= UNUSED
    if left_aside and state.alarm_state(alarm) not in STANDING:
        return None if state.idle(alarm) else over(alarm, RULE, spec.id, Priority.LOW, 0, tell=False)
    title, text, todo = _words(state, spec, left, usual, lasts(state, spec.id, left))
    return Condition(
        id=alarm,
        rule=RULE,
        subject=spec.id,
        priority=Priority.LOW,
        active=True,
        clear=False,
        since=last,
        on_delay=0,
        off_delay=0,
        title=title,
        text=text,
        todo=todo,
        tell_return=False,
    )


def lasts(state: State, lot: str, left: float) -> str:
    """``9 days to 14 days``: how long it lasts at the pace of the last starts; empty where they are too few to tell."""
    newest = sorted(state.sown.get(lot, []))[-USUAL_OF:]
    if len(newest) < USUAL_OF or newest[-1][0] <= newest[0][0] or left <= 0:
        return ""
    days = (newest[-1][0] - newest[0][0]) / DAY
    least = round(left / max(grams for _, grams in newest) * days / (len(newest) - 1) * DAY)
    most = round(left / min(grams for _, grams in newest) * days / (len(newest) - 1) * DAY)
    return " to ".join(dict.fromkeys((duration(least), duration(most))))


def _words(
    state: State, spec: LotSpec, left: float, usual: tuple[float, float, float], pace: str
) -> tuple[str, str, str]:
    """Title, text and what to do."""
    if left < -DISAGREE_G:
        grams, since = held(state, spec.id) or (0.0, None)
        weighed = "" if since is None else " since that was told"
        started = (
            f"By the record {grams - left:.1f} g were started from {spec.id}{weighed}, but it held {grams:g} g. "
            "How much is left nobody knows."
        )
        todo = f"Weigh the tin and note it: swimup tin weigh {spec.id}. Order, or open another."
        return f"Record and {spec.id} disagree", started, todo
    low, middle, high = usual
    least, most = int(left / high + 1e-9), int(left / low + 1e-9)
    many = f"{least} batch{'' if least == 1 else 'es'}" if least == most else f"{least} to {most} batches"
    told = f" At the pace of the last batches that is {pace}."
    size = f"{middle:g} g" if low == high else f"{low:g} to {high:g} g"
    return (
        f"{spec.id} is nearly empty",
        f"{spec.id} has about {max(left, 0.0):.2g} g left: {many} of {size}.{pace and told}",
        f"Order, or open another. Bought more into the same tin: weigh it and note it (swimup tin weigh {spec.id}).",
    )
