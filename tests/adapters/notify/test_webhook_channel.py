from __future__ import annotations

import hashlib
import hmac
import json
import socket
import threading
import time
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

import pytest

from monitor.core.model import Alarm, AlarmState, Priority, Transition
from monitor.notify import DeliveryFailed, draft
from monitor.notify.message import document
from monitor.notify.webhook_channel import WebhookChannel, seconds_to_wait
from monitor.store import Store
from tests.adapters.notify.counterparts import PATH, SECRET, Webhook

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from monitor.store import Letter

T0 = 1_770_000_000_000


@pytest.fixture
def webhook(tmp_path: Path) -> Iterator[Webhook]:
    server = Webhook(tmp_path)
    server.work()
    yield server
    server.away()


def rung(state: AlarmState = AlarmState.UNACKNOWLEDGED) -> Transition:
    alarm = Alarm(
        "air-stopped:birch", "air-stopped", "birch", Priority.HIGH, state, T0, T0,
        "Air stopped in birch", "No bubbles since 05:10.\nIt lasts 20 min.", "Start the pump.", "",
    )  # fmt: skip
    return Transition(T0, alarm, AlarmState.NORMAL, notify=True, reason="")


def test_the_other_side_can_verify_a_letter(webhook: Webhook, letter: Callable[..., Letter]) -> None:
    """HMAC-SHA256 of timestamp, full stop and body under the shared secret is the signature, and the time is now."""
    webhook.channel.send(letter(7))
    ((path, headers, body),) = webhook.requests
    timestamp = headers["Swimup-Timestamp"]
    expected = hmac.new(SECRET.encode(), f"{timestamp}.".encode() + body, hashlib.sha256).hexdigest()
    assert headers["Swimup-Signature"] == f"v1={expected}"
    assert abs(time.time() - int(timestamp)) < 60
    assert headers["Content-Type"] == "application/json"
    assert path == f"/{PATH}?key=hidden-key"
    assert json.loads(body) == {
        "id": "00000007",
        "time": "1970-01-01T00:00:00Z",
        "site": "shed",
        "kind": "trouble",
        "alarm": "air-stopped:birch",
        "priority": "high",
        "title": "Air stopped in birch",
        "text": "Since 05:10.\nLook at the pump.",
    }


def test_what_to_do_has_a_place_of_its_own_also_after_a_restart(tmp_path: Path) -> None:
    """A program finds what to do apart from the text, even in a letter that waited over a restart; "over" asks nothing."""
    for _ in range(2):
        with Store.open(tmp_path / "letters.db") as store:
            if not store.undelivered():
                for transition in (rung(), rung(AlarmState.RETURNED)):
                    store.enqueue(store.put_alarm(transition), "hook", draft(transition))
                store.commit()
            begun, over = (document(letter, "shed") for letter in store.undelivered())
        assert (begun["text"], begun["todo"]) == ("No bubbles since 05:10.\nIt lasts 20 min.", "Start the pump.")
        assert "todo" not in over
        assert over["text"].startswith("It lasted ")


@pytest.mark.parametrize(("ahead_s", "minutes"), [(119, 1), (3600, 60), (-5, 0)])
def test_minutes_left_are_told_where_they_are_known(letter: Callable[..., Letter], ahead_s: int, minutes: int) -> None:
    """A program finds when harm may begin, and how many whole minutes that is from when the letter was written."""
    told = document(replace(letter(), created=T0, deadline=T0 + ahead_s * 1000), "shed")
    assert told["minutes_left"] == minutes
    assert datetime.fromisoformat(told["deadline"]).timestamp() == T0 / 1000 + ahead_s
    assert not {"deadline", "minutes_left"} & document(letter(), "shed").keys()


def test_an_answer_that_drips_in_ends_with_the_time_limit(letter: Callable[..., Letter]) -> None:
    """A server that sends a letter of its answer now and then cannot hold the channel for ever."""
    ending = threading.Event()

    def drip(listener: socket.socket) -> None:
        connection, _ = listener.accept()
        with connection:
            try:
                while not ending.wait(0.05):
                    connection.sendall(b"H")
            except OSError:
                return

    with socket.create_server(("127.0.0.1", 0)) as listener:
        thread = threading.Thread(target=drip, args=(listener,), daemon=True)
        thread.start()
        url = f"http://127.0.0.1:{listener.getsockname()[1]}/"
        with pytest.raises(DeliveryFailed, match=r"no answer within 0\.3 s") as failed:
            WebhookChannel("hook", url, SECRET, site="shed", timeout=0.3).send(letter())
        ending.set()
        thread.join()
    assert failed.value.transient


def test_a_stranger_s_certificate_is_told_as_such(webhook: Webhook, letter: Callable[..., Letter]) -> None:
    """Without the authority of one's own the server is not trusted, nothing is posted, and the message says what to name."""
    url = f"https://127.0.0.1:{webhook.port}/{PATH}"
    with pytest.raises(DeliveryFailed, match="cannot be trusted: unable to get local issuer certificate") as failed:
        WebhookChannel("hook", url, SECRET, site="shed").send(letter())
    assert failed.value.transient
    assert "ca_file" in failed.value.todo
    assert webhook.requests == []


def test_printing_a_webhook_shows_its_name_only() -> None:
    """Neither address nor secret is in what is printed of it."""
    assert repr(WebhookChannel("hook", f"https://127.0.0.1/{PATH}", SECRET, site="shed")) == "WebhookChannel('hook')"


@pytest.mark.parametrize(
    ("told", "date", "wait"),
    [
        (None, None, None),
        ("0", None, 0.0),
        (" 30 ", None, 30.0),
        ("-5", None, None),
        ("1.5", None, None),
        ("soon", None, None),
        ("²", None, None),
        ("9" * 400, None, 3600.0),
        ("Thu, 01 Jan 1970 00:17:40 GMT", None, 60.0),
        ("Thu, 01 Jan 1970 00:00:40 GMT", None, 0.0),
        ("Thu, 01 Jan 1970 00:17:40 GMT", "Thu, 01 Jan 1970 00:17:30 GMT", 10.0),
        ("Thu, 01 Jan 1970 00:17:40 GMT", "yesterday", 60.0),
        ("Fri, 31 Dec 9999 23:59:59 GMT", None, 3600.0),
    ],
)
def test_what_retry_after_asks_for(told: str | None, date: str | None, wait: float | None) -> None:
    """Seconds, or a date counted by the server's own clock where it tells it; nonsense asks for nothing."""
    assert seconds_to_wait(told, date, now=1000.0) == wait
