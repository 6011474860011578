"""How a person is told: an outbox that forgets nothing, and channels that may fail."""

from monitor.notify.apprise_channel import AppriseChannel
from monitor.notify.mqtt_channel import MqttChannel
from monitor.notify.notifier import Notifier
from monitor.notify.outbox import Channel, Delivery, DeliveryFailed, Outbox, back_off
from monitor.notify.trial import try_channels
from monitor.notify.webhook_channel import WebhookChannel
from monitor.notify.wording import draft

__all__ = [
    "AppriseChannel",
    "Channel",
    "Delivery",
    "DeliveryFailed",
    "MqttChannel",
    "Notifier",
    "Outbox",
    "WebhookChannel",
    "back_off",
    "draft",
    "try_channels",
]
