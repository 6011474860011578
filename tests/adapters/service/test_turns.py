"""Whose turn it is to be reckoned anew."""

from __future__ import annotations

from itertools import pairwise

from monitor.service.turns import AT_LEAST_EACH_S, AT_LEAST_S, EVERY_S, MOVED_EACH, TOGETHER_S, Turns


def taken(turns: Turns, now: float) -> list[str]:
    """Reckon all whose turn has come."""
    found = []
    while (batch := turns.take(now)) is not None:
        turns.made(batch, now)
        found.append(batch)
    return found


def test_a_new_batch_is_reckoned_at_once_and_then_now_and_then() -> None:
    """Without any news a batch has its turn at the start and every minute."""
    turns = Turns()
    turns.follow(["b1"])
    assert taken(turns, 100.0) == ["b1"]
    assert taken(turns, 100.0 + AT_LEAST_S - 0.1) == []
    assert taken(turns, 100.0 + AT_LEAST_S) == ["b1"]


def test_news_come_soon_but_not_for_each_message() -> None:
    """However much is heard of a batch, it is reckoned twice a second at most."""
    turns = Turns()
    turns.follow(["b1", "b2"])
    taken(turns, 100.0)
    turns.news("b2")
    turns.news("b2")
    assert turns.next() == 100.0 + EVERY_S
    assert taken(turns, 100.0 + EVERY_S) == ["b2"]
    turns.news("b2", at_once=True)
    assert taken(turns, 100.6) == ["b2"]


def test_turns_that_were_moved_do_not_pile_up() -> None:
    """News twice a second put each next turn forward; what it was before is not kept until its time would have come."""
    turns, names = Turns(), [f"b{n}" for n in range(6)]
    turns.follow(names)
    now = 0.0
    for _ in range(500):
        now += EVERY_S
        for name in names:
            turns.news(name)
            turns.news(name, at_once=True)
        assert sorted(taken(turns, now)) == names
    assert len(turns._queue) <= MOVED_EACH * len(names)
    assert taken(turns, now + AT_LEAST_S) != []


def test_what_moves_together_is_reckoned_once() -> None:
    """A probe that tells that the water has moved may wait for the other; what can't wait meanwhile still comes first."""
    turns = Turns()
    turns.follow(["b1"])
    taken(turns, 100.0)
    turns.news("b1", not_before=105.0 + TOGETHER_S)
    assert taken(turns, 105.0) == []
    turns.news("b1", not_before=105.3 + TOGETHER_S)  # the other probe: the first wait is not prolonged
    assert taken(turns, 105.0 + TOGETHER_S) == ["b1"]
    turns.news("b1", not_before=110.0 + TOGETHER_S)
    turns.news("b1")
    assert taken(turns, 110.0) == ["b1"]


def test_a_thousand_batches_take_turns() -> None:
    """With news of all of them all the time, each still has its turn, and no more than 100 a second."""
    turns, names = Turns(), [f"b{n}" for n in range(1000)]
    turns.follow(names)
    assert set(taken(turns, 0.0)) == set(names)
    found = []
    for second in range(1, 11):
        for name in names:
            turns.news(name)
        found += taken(turns, float(second))
    assert sorted(found) == sorted(names)


def test_batches_that_began_together_come_again_one_by_one() -> None:
    """After a start all are reckoned at once; without news each comes again within its while, few of them in any second."""
    turns, names = Turns(), [f"b{n}" for n in range(1000)]
    turns.follow(names)
    taken(turns, 0.0)
    while_s = AT_LEAST_EACH_S * len(names)
    seconds = [taken(turns, float(second)) for second in range(1, 5 * round(while_s))]
    assert max(map(len, seconds)) <= 2 * len(names) / while_s
    for name in names:
        came = [0, *(second for second, found in enumerate(seconds, 1) if name in found)]
        assert max(later - before for before, later in pairwise(came)) <= while_s + 1


def test_who_is_gone_has_no_turn() -> None:
    """An ended batch is told of once and reckoned no more."""
    turns = Turns()
    turns.follow(["b1", "b2"])
    taken(turns, 0.0)
    assert turns.follow(["b2"]) == ["b1"]
    assert turns.follow(["b2"]) == []
    assert taken(turns, 1000.0) == ["b2"]
