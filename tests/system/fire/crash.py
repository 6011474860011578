"""Faults against: an accepted reading survives a crash; and every alarm transition is told, whenever it is ended by force."""

from __future__ import annotations

import signal
import time
from typing import TYPE_CHECKING, Final

from monitor.failpoint import Point
from tests.system.daemon import until
from tests.system.fire.fault import Fault
from tests.system.fire.traffic import Traffic, shed

if TYPE_CHECKING:
    from tests.system.fire.fault import Ground
    from tests.system.fire.quick import QuickDaemon

KILLS: Final = 10
UNDER_WAY: Final = tuple(point for point in Point if point.name.partition("_")[0] not in ())


def killed_at_random_moments(ground: Ground) -> None:
    """Ten times SIGKILL, while it starts or in the second after: what the broker and the keeper were told is kept, once."""
    broker, phone = ground.broker(), ground.phone()
    daemon = ground.quick_daemon(shed(broker.url, phone.url))
    daemon.start()
    until(daemon.connected)
    traffic = Traffic(broker, daemon, phone)
    traffic.begin()
    with traffic:
        for _ in range(KILLS - 1):
            traffic.stop_air()
            time.sleep(ground.random.uniform(0.0, 1.0))
            daemon.kill()
            daemon.start(ready=ground.random.random() < 0.75)
        daemon.kill()
        daemon.start()
        traffic.settle()


FAULTS: Final = (Fault("SIGKILL at random moments", "crash", killed_at_random_moments, long=50, each=KILLS),)
