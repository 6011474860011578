"""What every channel owes the outbox, each against a real counterpart that fails in every way before it works."""

from __future__ import annotations

import threading
import time
from email.utils import formatdate
from typing import TYPE_CHECKING

import pytest

from monitor.notify import DeliveryFailed
from tests.adapters.notify.counterparts import PATH, SECRET, Broker, Messenger, PushService, Webhook, WebServer

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from monitor.notify import Channel
    from monitor.store import Letter
    from tests.adapters.notify.counterparts import Counterpart

pytestmark = pytest.mark.broker

KINDS: dict[str, Callable[[Path], Counterpart]] = {
    "apprise": Messenger,
    "webhook": Webhook,
    "mqtt": Broker,
    "webpush": PushService,
}
PATIENCE_S = 15.0


@pytest.fixture(params=KINDS)
def other(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Counterpart]:
    """The other end of each kind of channel."""
    yield from made(KINDS[request.param](tmp_path), monkeypatch)


@pytest.fixture(params=["apprise", "webhook", "webpush"])
def web(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Counterpart]:
    """The other end of each kind of channel that speaks HTTP."""
    yield from made(KINDS[request.param](tmp_path), monkeypatch)


@pytest.fixture
def webhook(tmp_path: Path) -> Iterator[Webhook]:
    server = Webhook(tmp_path)
    server.work()
    yield server
    server.away()


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    broker = Broker(tmp_path)
    yield broker
    broker.away()


def made(counterpart: Counterpart, monkeypatch: pytest.MonkeyPatch) -> Iterator[Counterpart]:
    if isinstance(counterpart, Messenger):  # the library knows no other way to an authority of one's own
        monkeypatch.setenv("REQUESTS_CA_BUNDLE", str(counterpart.ca_file))
    yield counterpart
    counterpart.away()


def attempt(channel: Channel, letter: Letter) -> DeliveryFailed | None:
    """How a try ends; it must end by itself."""
    ended: list[DeliveryFailed | None] = []

    def run() -> None:
        try:
            channel.send(letter)
        except DeliveryFailed as failed:
            ended.append(failed)
        else:
            ended.append(None)

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    thread.join(PATIENCE_S)
    assert ended, "the try does not end, or broke down"
    return ended[0]


def refusal(channel: Channel, letter: Letter) -> DeliveryFailed:
    """A try that must fail, with a message that gives no secret away."""
    failed = attempt(channel, letter)
    assert failed is not None, "the letter was taken"
    assert failed.message.startswith(f"channel {channel.id}: ")
    for secret in (SECRET, PATH, "hidden-key"):
        assert secret not in f"{failed.message} {failed.todo}"
    return failed


@pytest.mark.parametrize(
    ("trouble", "says"),
    [
        ("away", "refused"),
        ("hang", "timed out|no answer within|not acknowledge"),
        ("show_expired", "certificate has expired"),
    ],
)
def test_trouble_on_the_way_passes_and_the_letter_arrives(
    other: Counterpart, letter: Callable[..., Letter], trouble: str, says: str
) -> None:
    """A closed port, silence and an expired certificate end by themselves and say why, and the next try gets through."""
    getattr(other, trouble)()
    failed = refusal(other.channel, letter(7))
    assert failed.transient
    assert failed.retry_after is None
    assert any(word in failed.message for word in says.split("|")), failed.message
    other.work()
    assert attempt(other.channel, letter(7)) is None
    assert other.ids(1) == ["00000007"]


def test_a_letter_told_twice_has_the_same_id(other: Counterpart, letter: Callable[..., Letter]) -> None:
    """A duplicate is recognised by its id, and two letters are told apart by theirs."""
    other.work()
    for number in (7, 7, 8):
        assert attempt(other.channel, letter(number)) is None
    assert other.ids(3) == ["00000007", "00000007", "00000008"]


def test_a_letter_whose_answer_is_lost_is_told_again(web: WebServer, letter: Callable[..., Letter]) -> None:
    """A letter that was taken without a word counts as not told; told again, it has the same id."""
    assert isinstance(web, Messenger | Webhook | PushService)
    web.work()
    web.answer = None
    assert refusal(web.channel, letter(7)).transient
    web.answer = 200
    assert attempt(web.channel, letter(7)) is None
    assert web.ids(2) == ["00000007", "00000007"]


@pytest.mark.parametrize(
    ("status", "retry_after"),
    [(429, 60.0), (500, None), (503, None), (404, None), (410, None)],
)
@pytest.mark.parametrize("web", ["apprise", "webhook"], indirect=True)  # with phones, each has its own fate
def test_no_refusal_that_a_keeper_can_mend_costs_a_letter(
    web: WebServer, letter: Callable[..., Letter], status: int, retry_after: float | None
) -> None:
    """Not even "gone" is for ever, and after "too many" there is a wait even where none is asked for."""
    assert isinstance(web, Messenger | Webhook | PushService)
    web.work()
    web.answer = status
    failed = refusal(web.channel, letter())
    assert (failed.transient, failed.retry_after) == (True, retry_after)
    assert str(status) in failed.message
    web.answer = 200
    assert attempt(web.channel, letter()) is None


@pytest.mark.parametrize("status", [429, 503])
def test_a_webhook_waits_as_long_as_it_is_asked_to(
    webhook: Webhook, letter: Callable[..., Letter], status: int
) -> None:
    """Retry-After is honoured in seconds and as a date, and nobody is believed who asks for days."""
    webhook.answer = status
    webhook.headers = {"Retry-After": "17"}
    assert refusal(webhook.channel, letter()).retry_after == 17.0
    # Counted from the server's own Date, which http.server sends.
    webhook.headers = {"Retry-After": formatdate(time.time() + 120, usegmt=True)}
    assert refusal(webhook.channel, letter()).retry_after == pytest.approx(120.0, abs=5.0)
    webhook.headers = {"Retry-After": "99999999"}
    assert refusal(webhook.channel, letter()).retry_after == 3600.0


@pytest.mark.parametrize(
    ("status", "transient", "says"),
    [
        (400, False, "must take JSON"),
        (413, False, "must take JSON"),
        (415, False, "must take JSON"),
        (422, False, "must take JSON"),
        (401, True, "secret"),
        (403, True, "secret"),
        (404, True, "address"),
        (410, True, "address"),
        (408, True, "Wait"),
        (418, True, "log"),
        (425, True, "Wait"),
        (502, True, "Wait"),
        (301, True, "final address"),
        (307, True, "final address"),
    ],
)
def test_a_webhook_judges_every_other_status(
    webhook: Webhook, letter: Callable[..., Letter], status: int, *, transient: bool, says: str
) -> None:
    """Only what is wrong with the letter is for ever, all else is tried again, and no redirect is followed."""
    webhook.answer = status
    webhook.headers = {"Location": f"https://127.0.0.1:{webhook.port}/elsewhere"}
    failed = refusal(webhook.channel, letter())
    assert failed.transient is transient
    assert says in failed.todo
    assert [path.partition("?")[0] for path, _, _ in webhook.requests] == [f"/{PATH}"]


@pytest.mark.parametrize(("access", "says"), [("read #", "Not authorized"), ("readwrite #", "")])
def test_a_broker_that_refuses_the_topic_is_told(
    broker: Broker, letter: Callable[..., Letter], access: str, says: str
) -> None:
    """A topic that we may not publish to is no delivery, and may be allowed later."""
    broker.allow(access)
    broker.work()
    failed = attempt(broker.channel, letter(7))
    assert (failed is None) is (says == "")
    if failed is not None:
        assert says.casefold() in failed.message.casefold()
        assert failed.transient
        assert broker.ids(0) == []
