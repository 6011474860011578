"""The link to the broker that the configuration describes; for the daemon, and for who only listens."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from monitor.intake.link import Link
from monitor.settings.credentials import broker_password

if TYPE_CHECKING:
    from monitor.settings.settings import Settings


def broker_link(settings: Settings) -> Link:
    """How to reach the broker. Raises ConfigError when the password can't be read."""
    broker = settings.broker
    secret = broker_password(settings)
    link = Link.from_url(
        broker.url,
        broker.client_id,
        user=broker.user,
        password=None if secret is None else secret.get_secret_value(),
        ca_file=broker.ca_file,
        cert_file=broker.cert_file,
        key_file=broker.key_file,
        version=broker.version,
    )
    return replace(link, keepalive_s=max(broker.keepalive // 1000, 5))
