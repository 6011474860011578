"""What waits for the broker: the order, the age, and what a board may say that does not know the time."""

from __future__ import annotations

import json

from hypothesis import given
from hypothesis import strategies as st

from monitor.core.model import Measures
from monitor.intake.binding import Binding
from monitor.intake.decode import decode
from monitor.probe.ring import Held, Ring

HOUR = 3_600_000
WALL = 1_770_000_000_000


def held(n: int, measured: int, time: int | None = None) -> Held:
    return Held(n, "shed/zero/ash-water", 24.5, measured, 10_000, time)


def drain(ring: Ring, steady: int, wall: int | None) -> list[Held]:
    """All that may go now, taken by the broker as it comes."""
    out = []
    while (one := ring.next(steady, wall)) is not None:
        ring.taken(one.key)
        out.append(one)
    return out


def test_a_board_that_does_not_know_the_time_says_only_what_is_fresh() -> None:
    """An old reading without a time would be taken for new: it waits until the clock is set, and then tells its own."""
    ring = Ring(HOUR)
    ring.add(held(0, 0))
    ring.add(held(1, 60_000))
    assert [one.n for one in drain(ring, 61_000, None)] == [1]
    (late,) = drain(ring, 70_000, WALL)
    assert (late.n, late.time) == (0, WALL - 70_000)


def test_a_repeat_is_the_same_message_byte_for_byte() -> None:
    """What was under way when the connection went is sent again as it was, although the clock was set meanwhile."""
    ring = Ring(HOUR)
    ring.add(held(0, 0))
    first = ring.next(1_000, None)
    assert first is not None
    said = first.encode()
    ring.landed()
    (again,) = drain(ring, HOUR // 2, WALL)
    assert again.encode() == said
    assert json.loads(said) == {"value": 24.5, "time": None, "n": 0}


def test_the_oldest_make_room_and_are_counted() -> None:
    """After the time that is kept, and beyond what fits, the oldest are given up, never silently."""
    ring = Ring(HOUR, most=3)
    for n in range(5):
        ring.add(held(n, n))
    assert (len(ring), ring.lost) == (3, 2)
    ring.add(held(9, 3 + HOUR))
    assert [one.n for one in drain(ring, HOUR, WALL)] == [3, 4, 9]
    assert ring.lost == 3


@given(st.lists(st.sampled_from(["add", "send", "taken", "gone"]), max_size=60))
def test_whatever_happens_none_is_lost_and_the_order_is_kept(steps: list[str]) -> None:
    """However often the connection goes, the broker gets every reading, first sendings in the order of measuring."""
    ring = Ring(HOUR)
    made, flying, got = 0, [], []
    for step in steps:
        if step == "add":
            ring.add(held(made, made * 1_000, WALL + made * 1_000))
            made += 1
        elif step == "send" and (one := ring.next(made * 1_000, WALL)) is not None:
            flying.append(one.key)
            got.append(one.n)
        elif step == "taken" and flying:
            ring.taken(flying.pop(0))
        elif step == "gone":
            ring.landed()
            flying.clear()
    ring.landed()
    got += [one.n for one in drain(ring, made * 1_000, WALL)]
    assert list(dict.fromkeys(got)) == list(range(made))
    assert len(ring) == 0


@given(st.one_of(st.floats(-1e6, 1e6), st.integers(0, 10**6)), st.integers(0, 2**40), st.integers(WALL, WALL + 10**12))
def test_the_monitor_reads_what_the_board_writes(value: float, n: int, time: int) -> None:
    """Value, own time to the millisecond and number come back from the monitor's own decoder."""
    binding = Binding("t", "p", "json", Measures.AIR, pointer="/value", time_pointer="/time", sequence_pointer="/n")
    (sample,) = decode(Held(n, "t", value, 0, 1, time).encode(), binding, None)
    assert (sample.value, sample.time, sample.seq) == (value, time, n)
