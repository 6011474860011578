"""A command over MQTT is understood or answered with what was wrong, whatever arrives."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.model import DAY, MINUTE, Acknowledge, AlarmCommand, Shelve, Unshelve
from monitor.core.wording import rfc3339
from monitor.intake.commands import LARGEST, REFUSED, answer_topic, done, family, problem, read_command
from monitor.intake.incoming import Incoming
from monitor.intake.unreadable import KINDS, Unreadable

NOW = 20_000 * DAY
ALARM = "air-stopped:birch"


def message(payload: bytes | str, *, queued: bool = False) -> Incoming:
    raw = payload.encode() if isinstance(payload, str) else payload
    return Incoming(f"{family('shed')}/{ALARM}", raw, 1, False, False, 7, NOW, queued, 1, 1)


@pytest.mark.parametrize(
    ("payload", "command"),
    [
        ("acknowledge", Acknowledge(NOW, ALARM, "MQTT")),
        (" acknowledge\n", Acknowledge(NOW, ALARM, "MQTT")),
        ('{"do": "acknowledge"}', Acknowledge(NOW, ALARM, "MQTT")),
        ('{"do": "acknowledge", "by": "ann"}', Acknowledge(NOW, ALARM, "MQTT: ann")),
        ('{"do": "shelve", "minutes": 30, "by": "ann"}', Shelve(NOW, ALARM, NOW + 30 * MINUTE, "MQTT: ann")),
        ('{"do": "shelve", "minutes": 0.5}', Shelve(NOW, ALARM, NOW + MINUTE // 2, "MQTT")),
        ('{"do": "unshelve"}', Unshelve(NOW, ALARM, "MQTT")),
    ],
)
def test_a_command_is_for_the_alarm_its_topic_names(payload: str, command: object) -> None:
    """The bare word and JSON say the same, and who sent it is told by way and name."""
    assert read_command(message(payload), NOW) == command


@pytest.mark.parametrize(
    ("payload", "kind", "says"),
    [
        (b"", "word", "allowed is acknowledge"),
        (b"ack", "word", "'ack'"),
        (b"\xff", "encoding", "UTF-8"),
        (b"{", "syntax", "JSON"),
        (b"{}", "type", "do"),
        (b'{"do": "explode"}', "type", "acknowledge"),
        (b'{"do": "shelve"}', "empty", "minutes"),
        (b'{"do": "shelve", "minutes": 0}', "type", "greater than 0"),
        (b'{"do": "shelve", "minutes": 1e99}', "type", "minutes"),
        (b'{"do": "acknowledge", "minutes": 5}', "type", "only shelve"),
        (b'{"do": "acknowledge", "alarm": "x"}', "type", "alarm"),
        (b'{"do": "acknowledge", "time": "noon"}', "time", "RFC 3339"),
        (b'{"do": "acknowledge", "time": "2026-03-01T06:00:00"}', "time", "zone"),
        (b" " * (LARGEST + 1), "oversize", "1024"),
    ],
)
def test_what_is_no_command_says_why(payload: bytes, kind: str, says: str) -> None:
    """The sender is told what was found and what is allowed."""
    with pytest.raises(Unreadable, match=says) as caught:
        read_command(message(payload), NOW)
    assert caught.value.kind == kind


def test_what_waited_at_the_broker_needs_a_time_of_its_own() -> None:
    """Nobody knows how old it is, and the alarm may be another one by now; one that tells its time is taken while fresh."""
    with pytest.raises(Unreadable, match="it waited at the broker"):
        read_command(message("acknowledge", queued=True), NOW)

    def sent(time: int) -> str:
        return json.dumps({"do": "acknowledge", "time": rfc3339(time)})

    assert read_command(message(sent(NOW - 5 * MINUTE), queued=True), NOW) == Acknowledge(NOW, ALARM, "MQTT")
    for time in (NOW - 11 * MINUTE, NOW + 5 * MINUTE):
        for queued in (True, False):
            with pytest.raises(Unreadable, match="a command is good for 10 min"):
                read_command(message(sent(time), queued=queued), NOW)


@given(
    payload=st.binary(max_size=200)
    | st.recursive(
        st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=8),
        lambda inner: st.dictionaries(st.sampled_from(["do", "minutes", "by", "time", "x"]), inner, max_size=4),
    ).map(lambda document: json.dumps(document).encode()),
    queued=st.booleans(),
)
def test_whatever_arrives_is_a_command_or_a_reason(payload: bytes, *, queued: bool) -> None:
    """Nothing else is raised, and every reason is a sentence with a word for counting."""
    told: Unreadable | AlarmCommand
    try:
        told = read_command(message(payload, queued=queued), NOW)
    except Unreadable as why:
        told = why
    if isinstance(told, Unreadable):
        assert told.kind in KINDS
        assert told.reason
    else:
        assert told.alarm == ALARM
        assert told.by.startswith("MQTT")


def test_the_answers_are_documents() -> None:
    """What was done is told with the alarm's state, and what was not as problem details; neither on the command's topic."""
    assert answer_topic("shed", ALARM) == "swimup/shed/done/air-stopped:birch"
    told = json.loads(done(Shelve(NOW, ALARM, NOW + MINUTE, "MQTT: ann"), "shelved", NOW))
    assert told == {"alarm": ALARM, "done": "shelve", "by": "MQTT: ann", "state": "shelved", "time": rfc3339(NOW)}
    refused = json.loads(problem(ALARM, REFUSED, "there is no such alarm", NOW))
    assert refused["type"] == "urn:swimup:problem:refused"
    assert (refused["status"], refused["detail"], refused["alarm"]) == (409, "there is no such alarm", ALARM)
