"""Where the broker is, and how long to wait for it."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.intake.link import Link, back_off
from monitor.intake.session import Session


@pytest.mark.parametrize(
    ("url", "address", "tls"),
    [
        ("mqtt://127.0.0.1", "127.0.0.1:1883", False),
        ("mqtt://shed.local:11883/", "shed.local:11883", False),
        ("mqtts://shed.local", "shed.local:8883", True),
        ("mqtts://[::1]:9000", "[::1]:9000", True),
    ],
)
def test_a_url_names_a_broker(url: str, address: str, tls: bool) -> None:
    """Scheme, host and port of a url are understood, and each scheme has its own usual port."""
    link = Link.from_url(url, "swimup-shed")
    assert (link.address, link.tls) == (address, tls)


@pytest.mark.parametrize(
    "url",
    ["", "127.0.0.1", "http://shed.local", "mqtt://", "mqtt://shed:70000", "mqtt://u:p@shed", "mqtt://shed/topic"],
)
def test_another_url_is_refused(url: str) -> None:
    """What is no url of a broker, or carries a password, is refused without repeating the password."""
    with pytest.raises(ValueError, match=r"mqtt|[Pp]ort|password") as refused:
        Link.from_url(url, "swimup-shed")
    assert "u:p" not in str(refused.value)


def test_an_empty_client_id_is_refused() -> None:
    """Without a client id the broker could keep nothing for us."""
    with pytest.raises(ValueError, match="client id"):
        Link("127.0.0.1", 1883, "")


def test_the_password_is_not_shown() -> None:
    """The password does not appear where a link is written out."""
    assert "brine" not in repr(Link("127.0.0.1", 1883, "swimup-shed", user="shed", password="brine"))


@given(st.integers(1, 10_000), st.integers(0, 2**32))
def test_the_wait_stays_within_a_doubling_bound(failures: int, seed: int) -> None:
    """The wait is between zero and 1, 2, 4 ... 60 seconds, whatever the number of failures."""
    wait = back_off(failures, random.Random(seed))  # noqa: S311
    assert 0 <= wait <= min(60.0, 2.0 ** (min(failures, 50) - 1))


def test_the_wait_is_spread_over_all_of_its_range() -> None:
    """Waits after many failures fall into each tenth of the minute, so that clients do not come back in step."""
    chance = random.Random(1)  # noqa: S311
    tenths = {int(back_off(20, chance) // 6) for _ in range(500)}
    assert tenths >= set(range(10))


@pytest.mark.parametrize("topic", ["", "shed/+/water", "shed/#", "shed/\0", "x" * 65_536])
def test_topics_must_be_exact(topic: str) -> None:
    """A topic with a wildcard, an empty or an endless one is refused when the session is made."""
    with pytest.raises(ValueError, match="no exact MQTT topic"):
        Session(Link("127.0.0.1", 1883, "swimup-shed"), [topic], "shed", print, print)
