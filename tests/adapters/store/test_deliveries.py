from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.store import Store

if TYPE_CHECKING:
    from pathlib import Path


def rows(store: Store) -> list[int]:
    """Entries in each row of the table."""
    return [len(entries) // 6 for (entries,) in store._connection.execute("SELECT entries FROM delivery ORDER BY id")]


def test_a_delivery_is_known_again_after_a_restart(path: Path) -> None:
    """What was stored but not acknowledged before a crash is recognised when the broker sends it again."""
    with Store.open(path) as store:
        store.remember_delivery(1, 17, b"21.4")
        store.commit()
        store.remember_delivery(1, 18, b"21.5")
    with Store.open(path) as store:
        assert store.delivered_before(17, b"21.4")
        assert not store.delivered_before(18, b"21.5")


def test_a_packet_id_alone_proves_nothing(store: Store) -> None:
    """An id that the broker uses again for another message does not hide that message."""
    store.remember_delivery(1, 17, b"21.4")
    assert not store.delivered_before(17, b"21.5")
    store.remember_delivery(1, 17, b"21.5")
    assert store.delivered_before(17, b"21.5")
    assert not store.delivered_before(17, b"21.4")


def test_a_new_session_forgets(path: Path) -> None:
    """When the broker has forgotten us its packet ids mean nothing any more, after a restart too."""
    with Store.open(path) as store:
        store.remember_delivery(1, 17, b"21.4")
        store.commit()
        store.new_broker_session()
        assert not store.delivered_before(17, b"21.4")
        store.remember_delivery(2, 18, b"21.5")
        store.commit()
        assert rows(store) == [1]
    with Store.open(path) as store:
        assert not store.delivered_before(17, b"21.4")
        assert store.delivered_before(18, b"21.5")


def test_another_session_number_forgets_too(store: Store) -> None:
    """A session that changes without notice is a new session."""
    store.remember_delivery("a", 17, b"21.4")
    store.remember_delivery("b", 18, b"21.4")
    assert not store.delivered_before(17, b"21.4")
    assert store.delivered_before(18, b"21.4")


def test_one_row_a_commit_and_no_more_than_needed(store: Store) -> None:
    """The newest 2000 deliveries are kept, in as few rows as there were commits."""
    for mid in range(1, 5_001):
        store.remember_delivery(1, mid, b"%d" % mid)
        if mid % 300 == 0:
            store.commit()
    store.commit()
    assert rows(store) == [300] * 6 + [200]
    assert all(store.delivered_before(mid, b"%d" % mid) for mid in range(3_001, 5_001))


def test_oldest_are_gone_after_a_restart(path: Path) -> None:
    """Memory and file agree on the newest deliveries."""
    with Store.open(path) as store:
        for mid in range(1, 10_001):
            store.remember_delivery(1, mid, b"x")
            if mid % 500 == 0:
                store.commit()
    with Store.open(path) as store:
        assert not store.delivered_before(1, b"x")
        assert all(store.delivered_before(mid, b"x") for mid in range(8_001, 10_001))
        assert rows(store) == [500] * 4
