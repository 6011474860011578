from __future__ import annotations

from monitor.tending import AGAIN_S, Tender


class Work:
    def __init__(self) -> None:
        self.alive = True
        self.starts = 0

    def start(self) -> None:
        self.alive = True
        self.starts += 1


class Hands:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.seconds = 0.0

    def __call__(self) -> float:
        return self.seconds


def test_what_has_ended_is_started_anew_after_a_while() -> None:
    """A task that ended is started once, no sooner than it has waited; one that lives is left alone."""
    ended, living, clock = Work(), Work(), Hands()
    tender = Tender({"ended": ended, "living": living}, clock)
    tender.look()
    ended.alive = False
    tender.look()
    clock.seconds = AGAIN_S[0] - 0.1
    tender.look()
    assert ended.starts == 0
    clock.seconds = AGAIN_S[0]
    tender.look()
    tender.look()
    assert (ended.starts, living.starts) == (1, 0)


def test_what_ends_again_and_again_waits_ever_longer() -> None:
    """Each wait is twice the one before, up to ten minutes: what cannot run must not wear the machine."""
    work, clock = Work(), Hands()
    tender = Tender({"work": work}, clock)
    waits = []
    for _ in range(12):
        work.alive = False
        began = clock.seconds
        tender.look()
        while not work.alive:
            clock.seconds += 1.0
            tender.look()
        waits.append(clock.seconds - began)
    assert waits[:4] == [2.0, 4.0, 8.0, 16.0]
    assert waits[-1] == AGAIN_S[1]
