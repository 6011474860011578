"""The order of acknowledgements."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from monitor.intake.incoming import AckOrder


@given(st.permutations(range(1, 9)), st.sets(st.integers(1, 8)), st.data())
def test_acknowledgements_come_in_order_of_arrival(told: list[int], forgotten: set[int], data: st.DataObject) -> None:
    """However acknowledgements are told and releases fall between, they come out once each, in order of arrival."""
    order = AckOrder()
    for mid in range(1, 9):
        order.arrived(mid)
    for mid in forgotten:
        order.forget(mid)
    out: list[int] = []
    for mid in told:
        order.tell(mid)
        if data.draw(st.booleans()):
            out += order.release()
    out += order.release()
    assert out == [mid for mid in range(1, 9) if mid not in forgotten]
    assert len(order) == 0


def test_a_later_message_waits_for_an_earlier_one() -> None:
    """What came later is held back until what came earlier is told, and messages told on arrival wait like others."""
    order = AckOrder()
    order.arrived(7)
    order.arrived(3, told=True)
    order.arrived(5)
    order.tell(5)
    assert order.release() == []
    order.tell(7)
    assert order.release() == [7, 3, 5]


def test_unknown_and_repeated_ids_do_no_harm() -> None:
    """Telling an id that never came gives nothing; an id that came twice is given once."""
    order = AckOrder()
    order.tell(1)
    order.arrived(2)
    order.arrived(2)
    order.tell(2)
    assert order.release() == [2]
    assert order.release() == []
