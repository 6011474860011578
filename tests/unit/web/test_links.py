"""A link in a letter opens its own alarms for its own time, and nothing else."""

from __future__ import annotations

import time
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest

from monitor.core.dispatch import Kind
from monitor.core.model import Priority
from monitor.store import Letter, Part
from monitor.web.links import ALARMS_AT_MOST, DAY_S, LONGEST_TOKEN, Claim, Links, NoLink

if TYPE_CHECKING:
    from pathlib import Path

ADDRESS = "https://shed.home.arpa:8417"
LINKS = Links("a secret of the shed that nobody knows", ADDRESS)
LETTER = Letter(7, None, "air-stopped:birch", "phone", "Air stopped", "Look.", Priority.HIGH, 0, "00000007")


def part(alarm: str, ended: int | None = None) -> Part:
    rule, _, subject = alarm.partition(":")
    return Part(alarm, rule, subject, Priority.MEDIUM, "x", "x", "x", "x", begun=0, time=0, ended=ended)


def token_of(link: str) -> str:
    assert link.startswith(f"{ADDRESS}/act/")
    return link.removeprefix(f"{ADDRESS}/act/")


def test_a_link_names_the_alarms_that_stand() -> None:
    """Of a digest only what still stands, and of a letter that is over or a test nothing."""
    digest = replace(LETTER, kind=Kind.DIGEST, parts=(part("too-cold:ash"), part("too-hot:ash", 1), part("x:y")))
    assert LINKS.read(token_of(LINKS.link(LETTER))) == Claim(("air-stopped:birch",))
    assert LINKS.read(token_of(LINKS.link(digest))) == Claim(("too-cold:ash", "x:y"))
    many = replace(digest, parts=tuple(part(f"too-cold:v{number}") for number in range(ALARMS_AT_MOST + 1)))
    ended = replace(digest, parts=(part("too-hot:ash", 1),))
    for silent in (replace(LETTER, kind=Kind.OVER), replace(LETTER, kind=Kind.TEST), many, ended):
        assert LINKS.link(silent) == ""


@pytest.mark.parametrize(("priority", "days"), [(Priority.HIGH, 1), (Priority.MEDIUM, 7), (Priority.LOW, 7)])
def test_a_link_ends_in_its_time(monkeypatch: pytest.MonkeyPatch, priority: Priority, days: int) -> None:
    """An urgent one after a day, others after a week, counted from when the letter went."""
    token = token_of(LINKS.link(replace(LETTER, priority=priority)))
    sent = time.time()
    monkeypatch.setattr(time, "time", lambda: sent + days * DAY_S - 2)
    assert LINKS.read(token).alarms == ("air-stopped:birch",)
    monkeypatch.setattr(time, "time", lambda: sent + days * DAY_S + 3)
    with pytest.raises(NoLink) as caught:
        LINKS.read(token)
    assert caught.value.expired


def test_nobody_makes_a_link_without_the_secret(tmp_path: Path) -> None:
    """Whatever is changed in a token, or signed with another secret, is none of ours; the secret is its owner's alone."""
    token = LINKS.token(["air-stopped:birch"], DAY_S)
    other = Links.kept(tmp_path / "link.key", ADDRESS)
    assert (tmp_path / "link.key").stat().st_mode & 0o777 == 0o600
    assert Links.kept(tmp_path / "link.key", ADDRESS).read(other.token(["x:y"], DAY_S)) == Claim(("x:y",))
    changed = ("A" if token[3] != "A" else "B").join((token[:3], token[4:]))
    wrong: list[Any] = ["", "x", "å.b.c", token[:-1], changed, token + "x" * LONGEST_TOKEN, other.token(["x:y"], DAY_S)]
    for forged in wrong:
        with pytest.raises(NoLink) as caught:
            LINKS.read(forged)
        assert not caught.value.expired
