"""What must agree within a channel, and between a channel and the rest: each kind has its own options."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final
from urllib.parse import urlsplit

from monitor.settings.errors import Unfit, quoted

if TYPE_CHECKING:
    from monitor.settings.draft import Draft, Part
    from monitor.settings.models import Channel

WAYS: Final = frozenset({"url", "url_file", "url_env"})
SECRETS: Final = frozenset({"secret_file", "secret_env"})
WEBHOOK_URL: Final = 'an address such as "https://shed.home.arpa/swimup"'
SECRET_LENGTH: Final = 16
"""Letters; common practice, no source."""

_OF_KIND: Final = {
    **dict.fromkeys(sorted(SECRETS), ("webhook",)),
    "ca_file": ("webhook", "webpush"),
    "topic": ("mqtt",),
}


def check_channels(draft: Draft) -> None:
    """Note all that does not fit in any channel."""
    for part in draft.channel:
        if not part.sound("kind"):
            continue
        kind = part.value.kind
        for key, owners in _OF_KIND.items():
            if key in part.given and kind not in owners:
                allowed = f"{key} with kind = {' or '.join(map(quoted, owners))} only"
                draft.wrong_in(part, key, f"{key} with kind = {quoted(kind)}", allowed)
        if kind == "mqtt":
            _mqtt(draft, part)
            continue
        if kind == "webpush":
            _webpush(draft, part)
            continue
        _one_way(draft, part)
        if kind == "webhook":
            _webhook(draft, part)


def check_telling(draft: Draft) -> None:
    """Quiet hours that are some hours, and a first channel beside a second one."""
    alarms = draft.alarms
    if alarms.sound("quiet", "quiet_from", "quiet_until") and alarms.value.quiet:
        begin, end = alarms.value.quiet_from, alarms.value.quiet_until
        if begin == end:
            key = "quiet_from" if "quiet_from" in alarms.given else "quiet_until"
            hint = "quiet = false switches them off."
            draft.wrong_in(alarms, key, f"quiet hours from {begin} until {end}", "two different times", hint)
    second = [part for part in draft.channel if part.sound("after") and part.value.after]
    if second and len(second) == len(draft.channel):
        hint = "Whatever is not urgent would reach nobody."
        draft.wrong_in(second[0], "after", "after in every [[channel]]", "at least one channel without it", hint)


def judge_webhook(url: str) -> None:
    """Raises Unfit when letters cannot be posted there."""
    try:
        parts = urlsplit(url)
        fits = parts.scheme in ("http", "https") and bool(parts.hostname) and parts.port != 0
    except ValueError:
        fits = False
    if not fits:
        raise Unfit(WEBHOOK_URL)


def _one_way(draft: Draft, part: Part[Channel]) -> None:
    given = WAYS & part.given
    if not given:
        draft.wrong_in(part, "url", "nothing", "one of url, url_file and url_env", "Where should alerts go?")
    elif len(given) > 1:
        draft.wrong_in(part, max(given), " and ".join(sorted(given)), "one of url, url_file and url_env")


def _webhook(draft: Draft, part: Part[Channel]) -> None:
    if part.sound("url") and part.value.url is not None:
        try:
            judge_webhook(part.value.url.get_secret_value())
        except Unfit as unfit:
            draft.wrong_in(part, "url", "something that is no address of a web server", unfit.allowed)
    given = SECRETS & part.given
    if not given:
        hint = "The other side knows by it that a letter is ours. Make one: openssl rand -hex 32"
        draft.wrong_in(part, "secret_file", "nothing", "one of secret_file and secret_env", hint)
    elif len(given) > 1:
        draft.wrong_in(part, "secret_file", " and ".join(sorted(given)), "one of secret_file and secret_env")


def _mqtt(draft: Draft, part: Part[Channel]) -> None:
    for key in sorted(WAYS & part.given):
        hint = "Letters go to the broker of [broker]; topic says where."
        draft.wrong_in(part, key, f'{key} with kind = "mqtt"', "no address", hint)
    if part.sound("topic"):
        _free_topic(draft, part, str(part.value.topic))


def _webpush(draft: Draft, part: Part[Channel]) -> None:
    for key in sorted(WAYS & part.given):
        hint = "Phones are subscribed on the page; each brings its own."
        draft.wrong_in(part, key, f'{key} with kind = "webpush"', "no address", hint)
    first = next(other for other in draft.channel if other.sound("kind") and other.value.kind == "webpush")
    if first is not part:
        allowed = f"one channel of this kind; {first.about or first.pointer} is one, and every phone would ring twice"
        draft.wrong_in(part, "kind", 'a second kind = "webpush"', allowed)
    if "address" not in draft.web.given:
        hint = "A browser takes pushes only from a page that it reached at an address it trusts."
        draft.wrong_in(part, "kind", '"webpush" without an address of the page', "it with address in [web]", hint)


def _free_topic(draft: Draft, part: Part[Channel], topic: str) -> None:
    """A letter on a probe's topic would be taken for a reading, and one among what is kept would confuse who reads that."""
    probes: list[Part[Any]] = [probe for probe in draft.probe if probe.sound("topic") and probe.value.topic == topic]
    if probes:
        taken = f"{probes[0].about or probes[0].pointer} has this one"
        draft.wrong_in(part, "topic", quoted(topic), f"a topic that no probe publishes to; {taken}")
    if not draft.site.sound("id"):
        return
    own = f"swimup/{draft.site.value.id}/"
    if topic in (f"{own}status", f"{own}marker") or topic.startswith(
        (f"{own}vessel/", f"{own}alarm/", f"{own}do/", f"{own}done/")
    ):
        draft.wrong_in(part, "topic", quoted(topic), "a topic that this service does not use otherwise")
