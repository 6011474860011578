"""Each kind of channel has its own options, and what does not go together is told."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from monitor.notify.apprise_channel import AppriseChannel
from monitor.notify.mqtt_channel import MqttChannel
from monitor.notify.webhook_channel import WebhookChannel
from monitor.service.channels import make_channels
from monitor.settings import ConfigError, from_document
from monitor.settings.broker import broker_link
from monitor.settings.credentials import channel_secrets, channel_urls, outside_problems
from monitor.settings.show import as_toml

if TYPE_CHECKING:
    from pathlib import Path

SECRET = "a secret of the shed and its server"

BASE: dict[str, Any] = {
    "site": {"id": "shed", "timezone": "UTC", "feeding_times": ["07:00"]},
    "vessel": [{"id": "ash", "litres": 1.5}],
    "probe": [{"id": "room", "topic": "shed/room", "measures": "room", "unit": "C", "every": "10 s"}],
}
HOOK: dict[str, Any] = {"kind": "webhook", "url": "https://127.0.0.1/x", "secret_env": "SHED_SECRET"}


def with_channels(*channels: dict[str, Any]) -> dict[str, Any]:
    return BASE | {"channel": list(channels)}


def test_a_channel_without_a_kind_is_what_it_was() -> None:
    """An address alone goes through the messenger library, whatever its scheme."""
    settings = from_document(with_channels({"url": "json://127.0.0.1"}, {"url": "https://127.0.0.1/x"})).settings
    made = make_channels(settings, broker_link(settings))
    assert [type(channel) for channel in made] == [AppriseChannel, AppriseChannel]
    assert [channel.id for channel in made] == ["json-1", "https-2"]


def test_each_kind_makes_its_channel_in_order(monkeypatch: pytest.MonkeyPatch) -> None:
    """The three kinds stand beside each other, are named by kind and number, and a topic follows from the site."""
    monkeypatch.setenv("SHED_SECRET", SECRET)
    settings = from_document(with_channels({"kind": "mqtt"}, HOOK, {"url": "json://127.0.0.1"})).settings
    made = make_channels(settings, broker_link(settings))
    assert [type(channel) for channel in made] == [MqttChannel, WebhookChannel, AppriseChannel]
    assert [channel.id for channel in made] == ["mqtt-1", "webhook-2", "json-3"]
    assert settings.channels[0].topic == "swimup/shed/push"
    assert [name for name, _ in channel_urls(settings)] == ["webhook-2", "json-3"]
    assert [secret.get_secret_value() for _, secret in channel_secrets(settings)] == [SECRET]


def test_what_is_in_force_shows_no_secret(tmp_path: Path) -> None:
    """The effective configuration tells topic and kind, and masks the address and where the secret lies."""
    (tmp_path / "key").write_text(f"{SECRET}\n")
    hook = HOOK | {"url": "https://127.0.0.1/hidden-path", "secret_file": "key"}
    del hook["secret_env"]
    loaded = from_document(with_channels(hook, {"kind": "mqtt"}), base=tmp_path)
    assert outside_problems(loaded.settings) == ()
    shown = as_toml(loaded)
    assert 'kind = "webhook"' in shown
    assert 'topic = "swimup/shed/push"' in shown
    assert "hidden-path" not in shown
    assert SECRET not in shown


@pytest.mark.parametrize(
    ("channel", "place", "says"),
    [
        (HOOK | {"kind": "webhok"}, "kind", 'Did you mean "webhook"?'),
        (HOOK | {"url": "ntfy://127.0.0.1/x"}, "url", "https://shed.home.arpa/swimup"),
        (HOOK | {"url": "https:///x"}, "url", "https://shed.home.arpa/swimup"),
        ({"kind": "webhook", "url": "https://127.0.0.1/"}, "secret_file", "openssl rand -hex 32"),
        (HOOK | {"secret_file": "x"}, "secret_file", "one of secret_file and secret_env"),
        (HOOK | {"secret": "x"}, "secret", "name a file in secret_file"),
        (HOOK | {"topic": "shed/push"}, "topic", 'topic with kind = "mqtt" only'),
        (HOOK | {"url_env": "X"}, "url_env", "one of url, url_file and url_env"),
        ({"kind": "webhook", "secret_env": "X"}, "url", "Where should alerts go?"),
        ({"url": "json://127.0.0.1", "secret_env": "X"}, "secret_env", 'with kind = "webhook" only'),
        ({"url": "json://127.0.0.1", "ca_file": "x.pem"}, "ca_file", 'with kind = "webhook" or "webpush" only'),
        ({"kind": "webpush"}, "kind", "address in [web]"),
        ({"url": "json://127.0.0.1", "topic": "x"}, "topic", 'with kind = "mqtt" only'),
        ({"url": "mqtt://127.0.0.1"}, "url", 'write kind = "mqtt" and no url'),
        ({"kind": "mqtt", "url": "json://127.0.0.1"}, "url", "Letters go to the broker of [broker]"),
        ({"kind": "mqtt", "topic": "shed/#"}, "topic", "without the wildcards"),
        ({"kind": "mqtt", "topic": "shed/room"}, "topic", 'probe "room" has this one'),
        ({"kind": "mqtt", "topic": "swimup/shed/alarm/x"}, "topic", "does not use otherwise"),
        ({"kind": "mqtt", "topic": "swimup/shed/status"}, "topic", "does not use otherwise"),
    ],
)
def test_each_mistake_in_a_channel_is_told_at_its_place(channel: dict[str, Any], place: str, says: str) -> None:
    """One mistake gives one problem, whose pointer and words lead a keeper to it."""
    with pytest.raises(ConfigError) as caught:
        from_document(with_channels(channel))
    (problem,) = caught.value.problems
    assert problem.pointer == f"/channel/0/{place}"
    assert says in str(problem)


def test_what_a_webhook_names_and_is_not_there_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A short secret, an unset variable, an address of another sort and a missing certificate are told, without secrets."""
    monkeypatch.setenv("SHED_SECRET", "hunter2")
    monkeypatch.delenv("SHED_NO_SUCH", raising=False)
    (tmp_path / "url").write_text("ntfy://127.0.0.1/hidden-path\n")
    addressed = {"kind": "webhook", "url_file": "url", "secret_env": "SHED_NO_SUCH"}
    document = with_channels(HOOK | {"ca_file": "none.pem"}, addressed)
    found = outside_problems(from_document(document, base=tmp_path).settings)
    assert [problem.pointer for problem in found] == [
        "/channel/1/url_file",
        "/channel/0/secret_env",
        "/channel/1/secret_env",
        "/channel/0/ca_file",
    ]
    assert "hunter2" not in repr(found)
    assert "hidden-path" not in repr(found)
