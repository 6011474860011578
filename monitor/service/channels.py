"""From the tables [[channel]] to the ways letters go."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from monitor.notify.phonebook import PhoneBook
from monitor.notify.pushkey import PushKey
from monitor.settings.credentials import channel_secrets, channel_urls

if TYPE_CHECKING:
    from monitor.intake.link import Link
    from monitor.notify import Channel
    from monitor.settings.settings import Settings
    from monitor.store import Letter
    from monitor.web.links import Links


class Linked:
    """A channel whose letters are given their link as they go, so that none lies in the store: it acts like a key."""

    def __init__(self, inner: Channel, links: Links) -> None:
        self._inner = inner
        self._links = links

    @property
    def id(self) -> str:
        return self._inner.id

    def send(self, letter: Letter) -> None:
        self._inner.send(replace(letter, link=self._links.link(letter)))


def push_key(settings: Settings) -> PushKey:
    """The key of the page, which is made at first use; without an address of the page it has no use."""
    address = settings.web.address or ""
    # Push services want to know whom to ask about a sender that misbehaves.
    contact = address if address.startswith("https://") else "mailto:keeper@localhost"
    return PushKey(settings.store.path.parent / "push.key", contact)


def make_channels(
    settings: Settings, link: Link, book: PhoneBook | None = None, key: PushKey | None = None
) -> list[Channel]:
    """In the order of the configuration. Raises ConfigError when an address or a secret can't be read."""
    urls = {name: url.get_secret_value() for name, url in channel_urls(settings)}
    secrets = {name: secret.get_secret_value() for name, secret in channel_secrets(settings)}
    site = settings.site.id
    made: list[Channel] = []
    for channel in settings.channels:
        name = channel.id
        if channel.kind == "webhook":
            from monitor.notify.webhook_channel import WebhookChannel  # noqa: PLC0415  (each loads much that is its own)

            made.append(WebhookChannel(name, urls[name], secrets[name], site=site, ca_file=channel.ca_file))
        elif channel.kind == "mqtt":
            from monitor.notify.mqtt_channel import MqttChannel  # noqa: PLC0415

            made.append(MqttChannel(name, link, str(channel.topic), site=site))
        elif channel.kind == "webpush":
            from monitor.notify.pushing import Way  # noqa: PLC0415
            from monitor.notify.webpush_channel import WebPushChannel  # noqa: PLC0415

            way = Way(channel.ca_file)
            made.append(WebPushChannel(name, book or PhoneBook(), key or push_key(settings), way=way))
        else:
            from monitor.notify.apprise_channel import AppriseChannel  # noqa: PLC0415

            made.append(AppriseChannel(name, urls[name]))
    return made
