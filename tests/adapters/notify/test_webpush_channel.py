"""What a push carries, who may be pushed to, and what one phone's trouble means for the others."""

from __future__ import annotations

import json
import re
import time
from base64 import urlsafe_b64decode
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest
from py_vapid import Vapid02

from monitor.core.model import HOUR, MINUTE, Priority
from monitor.notify import DeliveryFailed
from monitor.notify.phonebook import PhoneBook
from monitor.notify.pushing import LARGEST_TEXT, audience, lasts_s, public, text_of, topic_of
from monitor.notify.pushkey import PushKey
from monitor.notify.webpush_channel import WebPushChannel
from monitor.web.options import WebProblem
from tests.adapters.notify.counterparts import PushService

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from monitor.store import Letter


@pytest.fixture
def service(tmp_path: Path) -> Iterator[PushService]:
    made = PushService(tmp_path)
    made.work()
    yield made
    made.away()


def subscribe(service: PushService, *names: str) -> list[str]:
    """These phones and no others; the list that is filled with those that are gone."""
    gone: list[str] = []
    service.book.renew({name: service.phone(name) for name in names})
    service.book.report = gone.append
    return gone


def pushed_to(service: PushService) -> list[str]:
    """The phones that were asked to take something, in order, and forgotten then."""
    names = sorted(path.rpartition("/")[2] for path, _, _ in service.requests)
    service.requests.clear()
    return names


def failure(service: PushService, letter: Letter) -> DeliveryFailed:
    with pytest.raises(DeliveryFailed) as caught:
        service.channel.send(letter)
    return caught.value


def claims_of(authorization: str) -> dict[str, Any]:
    token = re.fullmatch(r"vapid t=([\w.-]+),k=[\w-]+", authorization)
    assert token is not None
    body = token[1].split(".")[1]
    claims: dict[str, Any] = json.loads(urlsafe_b64decode(body + "=" * (-len(body) % 4)))
    return claims


def test_a_push_is_sealed_signed_and_says_how_urgent_it_is(service: PushService, letter: Callable[..., Letter]) -> None:
    """Only the phone can read it; the service sees who sends, how urgent it is, how long it lasts, and what it replaces."""
    told = replace(letter(7), link="https://shed.home.arpa:8417/act/token")
    service.channel.send(told)
    ((_, headers, body),) = service.requests
    assert b"birch" not in body
    assert service.opened(body) == {
        "id": "00000007",
        "tag": "air-stopped:birch",
        "priority": "high",
        "title": "Air stopped in birch",
        "body": "Since 05:10.\nLook at the pump.",
        "link": "https://shed.home.arpa:8417/act/token",
    }
    assert (headers["Content-Encoding"], headers["Urgency"], headers["TTL"]) == ("aes128gcm", "high", "3600")
    assert headers["Topic"] == topic_of("air-stopped:birch")
    assert re.fullmatch(r"[A-Za-z0-9_-]{1,32}", headers["Topic"])
    assert headers["Host"] == f"127.0.0.1:{service.port}"
    assert Vapid02.verify(headers["Authorization"])
    claims = claims_of(headers["Authorization"])
    assert (claims["aud"], claims["sub"]) == (f"https://127.0.0.1:{service.port}", "https://shed.home.arpa:8417")
    assert 0 < claims["exp"] - time.time() <= 24 * 3600
    assert headers["Authorization"].endswith(f"k={service.key.public()}")


@pytest.mark.parametrize(
    ("priority", "deadline", "seconds", "urgency"),
    [
        (Priority.HIGH, 20 * MINUTE, 1200, "high"),
        (Priority.HIGH, 5 * HOUR, 3600, "high"),
        (Priority.HIGH, MINUTE, 120, "high"),
        (Priority.HIGH, None, 3600, "high"),
        (Priority.MEDIUM, 20 * MINUTE, 43_200, "normal"),
        (Priority.LOW, None, 86_400, "low"),
    ],
)
def test_a_letter_lasts_as_long_as_it_helps(
    letter: Callable[..., Letter], priority: Priority, deadline: int | None, seconds: int, urgency: str
) -> None:
    """An urgent one until its deadline and never longer than an hour, nor shorter than until it is repeated."""
    assert lasts_s(replace(letter(priority=priority), deadline=deadline), now=0) == seconds
    assert urgency in ("high", "normal", "low")


def test_topics_tell_alarms_apart() -> None:
    """The same alarm has the same topic for ever, and others have others."""
    assert topic_of("air-stopped:birch") == topic_of("air-stopped:birch")
    assert len({topic_of(f"air-stopped:{vessel}") for vessel in ("ash", "birch", "cedar", "Ülme")}) == 4


@pytest.mark.parametrize("text", ["x" * 9000, "é" * 9000, '\n"\\' * 3000, "🦐" * 3000])
def test_a_long_letter_is_cut_to_what_a_push_may_hold(
    service: PushService, letter: Callable[..., Letter], text: str
) -> None:
    """What the service must take is never exceeded, and the beginning is what stays."""
    long = replace(letter(7), body=text, link="https://shed.home.arpa:8417/act/token")
    assert LARGEST_TEXT - 200 < len(text_of(long)) <= LARGEST_TEXT
    service.channel.send(long)
    ((_, _, body),) = service.requests
    assert len(body) <= 4096
    said = service.opened(body)
    assert said["body"].endswith("…")
    assert text.startswith(said["body"][:-1])
    assert said["link"] == long.link


def test_only_the_phone_that_missed_it_is_told_again(service: PushService, letter: Callable[..., Letter]) -> None:
    """One phone's service is down: the letter is not done, and the next try leaves the others in peace."""
    subscribe(service, "ann", "ben")
    service.answers = {"ben": 500}
    failed = failure(service, letter(7))
    assert failed.transient
    assert "ben's phone" in failed.message
    assert "ann's phone" not in failed.message
    assert pushed_to(service) == ["ann", "ben"]
    service.answers = {}
    service.channel.send(letter(7))
    assert pushed_to(service) == ["ben"]
    service.channel.send(letter(8))
    assert pushed_to(service) == ["ann", "ben"]


@pytest.mark.parametrize("status", [404, 410])
def test_a_phone_that_is_gone_is_reported_and_told_no_more(
    service: PushService, letter: Callable[..., Letter], status: int
) -> None:
    """The letter is done when another phone has it; the one that is gone is not asked again."""
    gone = subscribe(service, "ann", "ben")
    service.answers = {"ben": status}
    service.channel.send(letter(7))
    assert gone == ["ben"]
    assert pushed_to(service) == ["ann", "ben"]
    service.channel.send(letter(8))
    assert pushed_to(service) == ["ann"]


def test_a_letter_waits_when_the_last_phone_is_gone(service: PushService, letter: Callable[..., Letter]) -> None:
    """Nobody has it, so it is not done, and it says what to do; a phone that is subscribed later gets it."""
    gone = subscribe(service, "ann")
    service.answers = {"ann": 410}
    failed = failure(service, letter(7))
    assert failed.transient
    assert "ann's phone takes no more pushes" in failed.message
    assert gone == ["ann"]
    empty = failure(service, letter(7))
    assert empty.transient
    assert "no phone is subscribed" in empty.message
    assert "subscribe it" in empty.todo
    subscribe(service, "ben")
    service.requests.clear()
    service.channel.send(letter(7))
    assert pushed_to(service) == ["ben"]


def test_a_phone_that_must_wait_keeps_no_letter_from_the_others(
    service: PushService, letter: Callable[..., Letter]
) -> None:
    """Too many for one phone: the outbox may go on with the next letter, and that phone is not asked before its time."""
    subscribe(service, "ann", "ben")
    service.answers = {"ben": 429}
    service.headers = {"Retry-After": "17"}
    failed = failure(service, letter(7))
    assert failed.retry_after is None
    assert "asks to wait 17 s" in failed.message
    service.requests.clear()
    failed = failure(service, letter(8))
    assert pushed_to(service) == ["ann"]
    subscribe(service, "ben")
    alone = failure(service, letter(9))
    assert alone.retry_after is not None
    assert 10 < alone.retry_after <= 17
    assert pushed_to(service) == []


@pytest.mark.parametrize("status", [301, 400, 401, 403, 413])
def test_a_phone_that_refuses_holds_nothing_up(
    service: PushService, letter: Callable[..., Letter], status: int
) -> None:
    """What one phone's service will not take counts as told when another has it, and waits when none has."""
    subscribe(service, "ann", "ben")
    service.answers = {"ben": status}
    service.channel.send(letter(7))
    assert pushed_to(service) == ["ann", "ben"]
    subscribe(service, "ben")
    failed = failure(service, letter(8))
    assert failed.transient
    assert str(status) in failed.message
    assert failed.todo


@pytest.mark.parametrize(
    "endpoint",
    [
        "https://127.0.0.1:{port}/x",
        "https://localhost:{port}/x",
        "https://[::1]:{port}/x",
        "https://[::ffff:127.0.0.1]:{port}/x",
        "https://2130706433:{port}/x",
        "http://127.0.0.1:{port}/x",
        "https://user@127.0.0.1:{port}/x",
    ],
)
def test_nothing_is_pushed_into_the_own_network(
    service: PushService, letter: Callable[..., Letter], tmp_path: Path, endpoint: str
) -> None:
    """A subscriber chooses the address: unless a push service of one's own is configured, it must be a public one."""
    inside = replace(service.phone("eve"), endpoint=endpoint.format(port=service.port))
    book = PhoneBook()
    book.renew({"eve": inside})
    channel = WebPushChannel("phones", book, PushKey(tmp_path / "other.key", "https://shed.home.arpa"), timeout=2.0)
    with pytest.raises(DeliveryFailed, match=r"network of one's own|none of https with a name"):
        channel.send(letter(7))
    assert service.requests == []


@pytest.mark.parametrize(
    ("address", "allowed"),
    [
        ("8.8.8.8", True),
        ("2001:4860:4860::8888", True),
        ("10.1.2.3", False),
        ("172.16.0.1", False),
        ("192.168.1.1", False),
        ("169.254.169.254", False),
        ("100.64.0.1", False),
        ("0.0.0.0", False),  # noqa: S104  (judged, not bound)
        ("224.0.0.1", False),
        ("fe80::1%eth0", False),
        ("fd00::1", False),
        ("::ffff:10.0.0.1", False),
        ("2002:0a00:0001::1", False),
        ("::", False),
    ],
)
def test_which_addresses_are_public(address: str, *, allowed: bool) -> None:
    """Private, local, shared and multicast ones are not, however they are written."""
    assert public(address) is allowed


@pytest.mark.parametrize(
    ("endpoint", "origin"),
    [
        ("https://push.test/a/b?c", "https://push.test"),
        ("https://push.test:443/a", "https://push.test"),
        ("https://push.test:8443/a", "https://push.test:8443"),
    ],
)
def test_a_signature_is_for_one_service(endpoint: str, origin: str) -> None:
    """The audience is the origin of the address, and nothing of its path."""
    assert audience(endpoint) == origin


def test_the_key_is_made_once_and_is_its_owners_alone(tmp_path: Path) -> None:
    """Nothing is written before it is needed; afterwards it is the same for ever, and an unusable file is a clear error."""
    path = tmp_path / "state/push.key"
    key = PushKey(path, "https://shed.home.arpa")
    assert not path.exists()
    made = key.public()
    assert len(urlsafe_b64decode(made + "=")) == 65
    assert path.stat().st_mode & 0o777 == 0o600
    path.chmod(0o644)
    assert PushKey(path, "https://shed.home.arpa").public() == made
    assert path.stat().st_mode & 0o777 == 0o600
    path.write_text("")
    assert PushKey(path, "https://shed.home.arpa").public() != made
    path.write_text("not a key")
    with pytest.raises(WebProblem, match="every phone must be subscribed again"):
        PushKey(path, "https://shed.home.arpa").public()
