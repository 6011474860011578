"""Phones come, go, and are missed: what a keeper may do with them, and the alarm about one that takes no more pushes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.alarms import Condition
from monitor.core.model import Priority, Refused
from monitor.core.phones import Phone, PhoneGone, Subscribe, Unsubscribe
from monitor.core.wording import clock

if TYPE_CHECKING:
    from monitor.core.model import Ms
    from monitor.core.phones import PhoneEvent
    from monitor.core.state import State

RULE: Final = "push-gone"
PUSH_GONE: Final = f"{RULE}:site"
PHONES_AT_MOST: Final = 20
"""A letter goes to each of them; common practice, no source."""


def changed(phones: dict[str, Phone], event: PhoneEvent) -> dict[str, Phone] | None:
    """The phones after the event; ``None`` when it changes nothing. Raises ``Refused``; the message is for the keeper."""
    match event:
        case Subscribe(phone=phone):
            return _subscribed(phones, phone)
        case Unsubscribe(phone=name):
            if name not in phones:
                known = ", ".join(phone.name for phone in phones.values()) or "none"
                raise Refused(f"there is no such phone; subscribed are: {known}")
            return {one: phone for one, phone in phones.items() if one != name}
        case PhoneGone(phone=name):
            if name not in phones or phones[name].gone is not None:
                return None
            return phones | {name: phones[name].lost(event.time)}


def _subscribed(phones: dict[str, Phone], new: Phone) -> dict[str, Phone]:
    others = {
        one: phone
        for one, phone in phones.items()
        if one != new.id and not (phone.gone is not None and phone.name == new.name)
    }
    if any(phone.name == new.name for phone in others.values()):
        raise Refused(
            f"there is a phone called {new.name} already; give this one another name, or remove that one first"
        )
    if len(others) >= PHONES_AT_MOST:
        raise Refused(f"{len(others)} phones are subscribed, which is as many as there can be; remove one first")
    return others | {new.id: new}


def push_gone(state: State, now: Ms) -> Condition | None:
    """Phones whose push service says that they are gone: nobody notices a phone that is silent.

    It ends when each is subscribed again under its name, or removed.
    """
    gone = [phone for phone in state.phones.values() if phone.gone is not None]
    if not gone and state.idle(PUSH_GONE):
        return None
    since = min((phone.gone or now for phone in gone), default=now)
    names = " and ".join(phone.name for phone in gone)
    one = len(gone) == 1
    left = len(state.phones) - len(gone)
    rest = {0: "No phone takes pushes now.", 1: "One other phone still does."}.get(left, f"{left} others still do.")
    return Condition(
        id=PUSH_GONE,
        rule=RULE,
        subject="site",
        priority=Priority.LOW,
        active=bool(gone),
        clear=not gone,
        since=since,
        on_delay=0,
        off_delay=0,
        title=f"{names} {'takes' if one else 'take'} no more pushes",
        text=(
            f"The phone{'' if one else 's'} called {names} {'was' if one else 'were'} dropped by "
            f"{'its' if one else 'their'} push service, the first at {clock(since, state.site.timezone, now)}. {rest}"
        ),
        todo=(
            f'Open the page on {"it" if one else "each of them"}, choose "Alarms on this phone" and subscribe it again '
            "under the same name. Or remove it there."
        ),
        tell_return=False,
    )
