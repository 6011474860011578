"""A phone that takes no more pushes is missed, and nobody is left out by accident."""

from __future__ import annotations

from dataclasses import asdict, replace

import pytest

from monitor.core.engine import Engine
from monitor.core.model import DAY, MINUTE, AlarmState, Learned, Refused, SiteSpec, Tick, Transition
from monitor.core.phones import PHONES_KEY, Phone, PhoneGone, Subscribe, Unsubscribe, phones_from
from monitor.core.rules_push import PHONES_AT_MOST, PUSH_GONE

NOW = 20_000 * DAY
SITE = SiteSpec("shed", "Europe/Berlin", (420,), {}, {})


def phone(number: int = 1, name: str = "") -> Phone:
    return Phone(f"p{number}", name or f"phone {number}", f"https://push.test/{number}", "key", "secret", NOW)


def engine_with(*phones: Phone) -> Engine:
    engine = Engine(SITE, NOW)
    for one in phones:
        engine.step(Subscribe(NOW, one))
    return engine


def rung(effects: list[object]) -> list[Transition]:
    return [effect for effect in effects if isinstance(effect, Transition)]


def test_a_phone_that_is_gone_is_told_once_by_its_name() -> None:
    """The push service drops a phone: one low alarm names it and says what to do, and hearing it again changes nothing."""
    engine = engine_with(phone(1, "Ann's phone"), phone(2))
    (transition,) = rung(list(engine.step(PhoneGone(NOW + MINUTE, "p1"))))
    alarm = transition.alarm
    assert (alarm.id, alarm.priority.value, transition.notify) == (PUSH_GONE, "low", True)
    assert alarm.title == "Ann's phone takes no more pushes"
    assert "One other phone still does." in alarm.text
    assert "subscribe it again" in alarm.todo
    assert engine.step(PhoneGone(NOW + 2 * MINUTE, "p1")) == []
    assert rung(list(engine.step(Tick(NOW + 3 * MINUTE)))) == []


def test_its_address_and_keys_are_forgotten() -> None:
    """What is no use any more is not kept, and what is kept is the whole of it."""
    engine = engine_with(phone(1))
    kept = [effect for effect in engine.step(PhoneGone(NOW, "p1")) if isinstance(effect, Learned)]
    assert [effect.key for effect in kept] == [PHONES_KEY]
    (gone,) = phones_from(kept[0].document).values()
    assert gone == replace(phone(1), endpoint="", p256dh="", auth="", gone=NOW)


@pytest.mark.parametrize("how", ["again", "removed"])
def test_it_ends_when_the_phone_is_subscribed_again_or_removed(how: str) -> None:
    """A browser that subscribes anew under the old name has another id and takes the old one's place."""
    engine = engine_with(phone(1, "Ann's phone"))
    engine.step(PhoneGone(NOW, "p1"))
    event = Subscribe(NOW + MINUTE, phone(9, "Ann's phone")) if how == "again" else Unsubscribe(NOW + MINUTE, "p1")
    (transition,) = rung(list(engine.step(event)))
    assert transition.alarm.state is AlarmState.RETURNED
    assert not transition.notify
    assert list(engine.state.phones) == (["p9"] if how == "again" else [])


def test_two_phones_never_share_a_name() -> None:
    """Nobody takes another's place while that one still works; the same browser may subscribe as often as it likes."""
    engine = engine_with(phone(1, "phone"))
    with pytest.raises(Refused, match="there is a phone called phone already"):
        engine.step(Subscribe(NOW, phone(2, "phone")))
    engine.step(Subscribe(NOW, phone(1, "Ann's phone")))
    assert [one.name for one in engine.state.phones.values()] == ["Ann's phone"]


def test_there_are_never_more_than_twenty() -> None:
    """One more is refused and says so; the ones there are stay."""
    engine = engine_with(*(phone(number) for number in range(PHONES_AT_MOST)))
    with pytest.raises(Refused, match="20 phones are subscribed"):
        engine.step(Subscribe(NOW, phone(99)))
    assert len(engine.state.phones) == PHONES_AT_MOST
    with pytest.raises(Refused, match="no such phone"):
        engine.step(Unsubscribe(NOW, "p99"))


def test_phones_and_the_alarm_about_them_survive_a_restart() -> None:
    """After a restart the same phones are told, and the alarm stands without being told again."""
    before = engine_with(phone(1), phone(2))
    effects = before.step(PhoneGone(NOW, "p1"))
    (kept,) = [effect for effect in effects if isinstance(effect, Learned)]
    after = Engine(SITE, NOW + MINUTE)
    after.recall_learned(kept.key, kept.document)
    for alarm in before.alarms():
        after.recall_alarm(alarm, told=True)
    assert after.state.phones == before.state.phones
    assert rung(list(after.step(Tick(NOW + 2 * MINUTE)))) == []
    assert [alarm.id for alarm in after.alarms()] == [PUSH_GONE]


def test_phones_of_another_make_are_refused() -> None:
    """A document that does not fit is a clear error, not half a phone."""
    for document in ({}, {"phones": [{"id": "p1"}]}, {"phones": [dict.fromkeys(asdict(phone()), 1)]}):
        with pytest.raises(ValueError, match="another make"):
            phones_from(document)
