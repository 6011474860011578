from __future__ import annotations

from monitor.intake.orders import WAIT_AT_MOST, Letter, Letters


def test_of_a_retained_topic_the_newest_waits() -> None:
    """It keeps its place; what is not retained waits as often as it was told."""
    letters = Letters()
    for topic, payload, retain in (("a", b"1", True), ("b", b"2", False), ("b", b"3", False), ("a", b"4", True)):
        letters.append(Letter(topic, payload, retain))
    assert [letters.popleft().payload for _ in range(len(letters))] == [b"4", b"2", b"3"]


def test_no_more_wait_than_there_is_room_for() -> None:
    """What nobody keeps goes first, the oldest of it; a retained topic only where there is nothing else."""
    letters = Letters()
    letters.append(Letter("kept", b"", retain=True))
    for number in range(WAIT_AT_MOST):
        letters.append(Letter("told", b"%d" % number, retain=False))
    assert len(letters) == WAIT_AT_MOST
    assert letters.popleft().topic == "kept"
    assert letters.popleft().payload == b"1"
    letters.clear()
    for number in range(WAIT_AT_MOST + 1):
        letters.append(Letter(f"topic {number}", b"", retain=True))
    assert len(letters) == WAIT_AT_MOST
    assert letters.popleft().topic == "topic 1"
