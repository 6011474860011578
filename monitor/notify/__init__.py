"""How a person is told: an outbox that forgets nothing, and channels that may fail, each loaded where it is made."""

from monitor.notify.notifier import Notifier
from monitor.notify.outbox import Channel, Delivery, DeliveryFailed, Outbox, back_off
from monitor.notify.trial import try_channels
from monitor.notify.wording import draft

__all__ = [
    "Channel",
    "Delivery",
    "DeliveryFailed",
    "Notifier",
    "Outbox",
    "back_off",
    "draft",
    "try_channels",
]
