"""From the tables [[channel]] to the ways letters go."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.notify import AppriseChannel, MqttChannel, WebhookChannel
from monitor.settings.credentials import channel_secrets, channel_urls

if TYPE_CHECKING:
    from monitor.intake.link import Link
    from monitor.notify import Channel
    from monitor.settings.settings import Settings


def make_channels(settings: Settings, link: Link) -> list[Channel]:
    """In the order of the configuration. Raises ConfigError when an address or a secret can't be read."""
    urls = {name: url.get_secret_value() for name, url in channel_urls(settings)}
    secrets = {name: secret.get_secret_value() for name, secret in channel_secrets(settings)}
    site = settings.site.id
    made: list[Channel] = []
    for channel in settings.channels:
        name = channel.id
        if channel.kind == "webhook":
            made.append(WebhookChannel(name, urls[name], secrets[name], site=site, ca_file=channel.ca_file))
        elif channel.kind == "mqtt":
            made.append(MqttChannel(name, link, str(channel.topic), site=site))
        else:
            made.append(AppriseChannel(name, urls[name]))
    return made
