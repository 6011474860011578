"""Writes readings, deliveries, slots and alarms without end and says after each commit how far it got.

Arguments: the store, the first number to write. Meant to be killed.
"""

from __future__ import annotations

import itertools
import sys

from monitor.core.model import Alarm, AlarmState, Priority, Reading, SlotClosed, Transition
from monitor.store import Draft, Store

T0 = 1_770_000_000_000


def ring(store: Store, number: int) -> None:
    state = AlarmState.UNACKNOWLEDGED
    alarm = Alarm("cold:ash", "cold", "ash", Priority.HIGH, state, T0, T0 + number, "Cold", str(number), "", "")
    told = store.put_alarm(Transition(T0 + number, alarm, AlarmState.NORMAL, notify=True, reason=str(number)))
    store.enqueue(told, "phone", Draft(alarm.id, alarm.title, str(number), Priority.HIGH, T0 + number))


def main(path: str, first: int) -> None:
    store = Store.open(path)
    numbers = itertools.count(first)
    for commit in itertools.count():
        for number in itertools.islice(numbers, 1 + commit * 7 % 40):
            store.add(Reading("ash-water", T0 + number * 1_000, 24_000, own_time=True, seq=number, arrived=T0))
            store.remember_delivery(0, number % 65_535 + 1, b"%d" % number)
            store.put_slot(SlotClosed("ash-water", T0 + number // 300 * 300_000, number, number))
        if commit % 5 == 0:
            ring(store, number)
        store.commit()
        sys.stdout.write(f"{number}\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
