"""How a person is told: an outbox that forgets nothing, and channels that may fail."""

from monitor.notify.apprise_channel import AppriseChannel
from monitor.notify.notifier import Notifier
from monitor.notify.outbox import Channel, Delivery, DeliveryFailed, Outbox, back_off, draft

__all__ = ["AppriseChannel", "Channel", "Delivery", "DeliveryFailed", "Notifier", "Outbox", "back_off", "draft"]
