"""A small service: posts letters about alarms and tells them, until it is killed.

Arguments: the store, the address to tell, how many new alarms to raise, and whether each is told at once ("urgent") or they
are a storm that is told in digests ("storm"). Says "posted" when all are committed.
"""

from __future__ import annotations

import queue
import sys
import time

from monitor.core.dispatch import AT_ONCE, Manners
from monitor.core.model import Alarm, AlarmState, Priority, Transition
from monitor.notify import Delivery, Notifier, Outbox
from monitor.notify.apprise_channel import AppriseChannel
from monitor.store import Store

T0 = 1_770_000_000_000


def main(path: str, address: str, alarms: int, manner: str) -> None:
    store = Store.open(path)
    storm = manner == "storm"
    priority = Priority.MEDIUM if storm else Priority.HIGH
    outbox = Outbox(store, Manners(quiet=False) if storm else AT_ONCE)
    results: queue.Queue[Delivery] = queue.Queue()
    notifier = Notifier([AppriseChannel("phone", address)], results.put)
    for number in range(alarms):
        state = AlarmState.UNACKNOWLEDGED
        alarm = Alarm(
            f"cold{number}:ash", f"cold{number}", "ash", priority, state, T0, T0, f"Cold {number}", "", "", ""
        )
        outbox.post(Transition(T0, alarm, AlarmState.NORMAL, notify=True, reason=""), ["phone"])
        store.commit()
    sys.stdout.write("posted\n")
    sys.stdout.flush()
    now = T0 + alarms
    while store.undelivered():
        # Virtual time: a minute a turn, so that back-off costs the test nothing.
        now += 60_000
        outbox.arrange(now)
        store.commit()
        outbox.pump(now, notifier)
        try:
            outbox.settle(results.get(timeout=0.05), now)
        except queue.Empty:
            continue
        store.commit()
        time.sleep(0.01)
    notifier.stop(5)
    store.close()


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], int(sys.argv[3]), sys.argv[4])
