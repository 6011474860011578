from __future__ import annotations

import queue
import threading
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from monitor.notify import Delivery, DeliveryFailed, Notifier
from monitor.notify.apprise_channel import AppriseChannel

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    import pytest

    from monitor.notify import Channel
    from monitor.store import Letter


class Gate:
    """A channel that is slow until it is opened, then takes, refuses or breaks as it is told."""

    def __init__(self, id: str, fault: BaseException | None = None, *, opened: bool = True) -> None:  # noqa: A002
        self.id = id
        self.fault = fault
        self.taken: list[int] = []
        self.threads: set[str] = set()
        self.entered = threading.Event()
        self.opened = threading.Event()
        if opened:
            self.opened.set()

    def send(self, letter: Letter) -> None:
        self.threads.add(threading.current_thread().name)
        self.entered.set()
        self.opened.wait(20)
        fault, self.fault = self.fault, None
        if fault is not None:
            raise fault
        self.taken.append(letter.id)


@contextmanager
def notifying(*channels: Channel) -> Iterator[tuple[Notifier, queue.Queue[Delivery]]]:
    results: queue.Queue[Delivery] = queue.Queue()
    notifier = Notifier(channels, results.put)
    notifier.start()
    yield notifier, results
    assert notifier.stop(20)


def test_each_letter_has_one_result(letter: Callable[..., Letter]) -> None:
    """Letters of a channel go in order, in a thread with its name, and each is reported once."""
    phone = Gate("phone")
    with notifying(phone) as (notifier, results):
        for number in range(1, 6):
            notifier.deliver(letter(number))
        got = [results.get(timeout=20) for _ in range(5)]
    assert got == [Delivery(number, ok=True) for number in range(1, 6)]
    assert phone.taken == [1, 2, 3, 4, 5]
    assert phone.threads == {"notify-phone"}
    assert results.empty()


def test_a_hanging_channel_holds_up_nobody(catcher: Any, letter: Callable[..., Letter]) -> None:
    """While one service hangs, the others get their letters, and it can be seen for how long it hangs."""
    hanging = Gate("mail", opened=False)
    with notifying(hanging, AppriseChannel("phone", catcher.url("200"))) as (notifier, results):
        notifier.deliver(letter(1, "mail"))
        notifier.deliver(letter(2, "phone"))
        assert hanging.entered.wait(20)
        assert results.get(timeout=20) == Delivery(2, ok=True)
        assert notifier.busy()["mail"] > 0
        assert notifier.busy()["phone"] == 0
        hanging.opened.set()
        assert results.get(timeout=20) == Delivery(1, ok=True)
    assert catcher.next()["message"].endswith("ref 00000002")


def test_a_refusal_is_reported_as_it_was_said(letter: Callable[..., Letter]) -> None:
    """What a channel says of its failure reaches the outbox whole."""
    failed = DeliveryFailed("channel phone: too many", retry_after=60.0)
    with notifying(Gate("phone", failed)) as (notifier, results):
        notifier.deliver(letter())
        got = results.get(timeout=20)
    assert got == Delivery(1, ok=False, error="channel phone: too many", transient=True, retry_after=60.0)


def test_a_channel_that_breaks_down_goes_on_with_the_next_letter(
    letter: Callable[..., Letter], monkeypatch: pytest.MonkeyPatch
) -> None:
    """An error nobody thought of costs one try: the letter is reported for another, the next one is carried."""
    ended: queue.Queue[threading.ExceptHookArgs] = queue.Queue()
    monkeypatch.setattr(threading, "excepthook", ended.put)
    phone = Gate("phone", ZeroDivisionError("a fault in a library"), opened=False)
    with notifying(phone) as (notifier, results):
        notifier.deliver(letter(1))
        notifier.deliver(letter(2))
        phone.opened.set()
        first, second = results.get(timeout=20), results.get(timeout=20)
        notifier.deliver(letter(3))
        third = results.get(timeout=20)
        assert ended.get(timeout=20).exc_type is ZeroDivisionError
    assert (first.letter_id, first.ok, first.transient) == (1, False, True)
    assert "broke down" in first.error
    assert [second, third] == [Delivery(2, ok=True), Delivery(3, ok=True)]


def test_a_channel_that_was_removed_is_permanent(letter: Callable[..., Letter]) -> None:
    """A letter to a channel that the configuration has no more is reported with the names there are."""
    with notifying(Gate("phone")) as (notifier, results):
        notifier.deliver(letter(1, "pager"))
        got = results.get(timeout=20)
    assert not got.ok
    assert not got.transient
    assert "'pager'" in got.error
    assert "phone" in got.error


def test_stopping_waits_no_longer_than_told(letter: Callable[..., Letter]) -> None:
    """A hanging channel cannot keep the service from ending; letters not yet tried are left to the outbox."""
    hanging = Gate("phone", opened=False)
    results: queue.Queue[Delivery] = queue.Queue()
    notifier = Notifier([hanging], results.put)
    notifier.deliver(letter(1))
    notifier.deliver(letter(2))
    assert hanging.entered.wait(20)
    assert not notifier.stop(0.05)
    hanging.opened.set()
    assert notifier.stop(20)
    assert hanging.taken == [1]
    assert results.get(timeout=20) == Delivery(1, ok=True)
    assert results.empty()
