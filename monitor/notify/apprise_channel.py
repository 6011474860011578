"""A channel through the apprise library, which speaks to a hundred kinds of messengers by one kind of address.

The library is imported at the first letter: it costs as much memory as half of the rest.
"""

from __future__ import annotations

import logging
import re
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote

from monitor.core.model import Priority
from monitor.notify.outbox import DeliveryFailed

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.store import Letter

TOO_MANY_REQUESTS_WAIT = 60.0
"""Seconds to wait after a 429; the library does not pass on what the server asks for. Common practice, no source."""

TOO_MANY_REQUESTS = 429

_KIND = {Priority.HIGH: "failure", Priority.MEDIUM: "warning", Priority.LOW: "info"}
_STATUS = re.compile(r"\berror=(\d{3})\b")
_HOST = re.compile(r"localhost|\d+\.\d+\.\d+\.\d+|[\w-]+(\.[\w-]+)*\.[a-z]{2,}", re.IGNORECASE)
_HARMLESS = 4
"""Pieces of an address shorter than this are too common in plain text to be struck out, and too short for a secret."""


def redact(text: str, url: str) -> str:
    """The text without any piece of the address that could be a secret; scheme, host name and port stay."""
    _, _, rest = url.partition("://")
    pieces = re.split(r"[/:@?&=#;,+]", rest)
    secrets = {piece for raw in pieces for piece in (raw, unquote(raw)) if len(piece) >= _HARMLESS}
    for secret in sorted(secrets, key=len, reverse=True):
        if not _HOST.fullmatch(secret) and not (secret.isdigit() and len(secret) <= len("65535")):
            text = text.replace(secret, "****")
    return text


class AppriseChannel:
    """``timeout``: seconds for connecting and for each wait for an answer; ``cto`` and ``rto`` in the address win."""

    def __init__(self, id: str, url: str, timeout: float = 10.0) -> None:  # noqa: A002  (it is the channel's id)
        self._id = id
        self._url = url
        self._timeout = timeout

    @property
    def id(self) -> str:
        return self._id

    def __repr__(self) -> str:
        return f"AppriseChannel({self._id!r})"  # never the address: it holds secrets

    def send(self, letter: Letter) -> None:
        """Raises DeliveryFailed. Permanent only when the address is none that the library knows."""
        with _what_apprise_says() as said:
            sent = self._send(letter)
        if not sent:
            raise self._failure(said)

    def _send(self, letter: Letter) -> bool:
        import apprise  # noqa: PLC0415  (see above)

        # No threads of the library's own for a single service; and no icon that a phone would load from elsewhere.
        asset = apprise.AppriseAsset(app_id="swimup", app_desc="swimup", async_mode=False, image_url_mask=None)
        service = apprise.Apprise(asset=asset)
        if not service.add(self._address(apprise, letter.priority)):
            # Not the library's own words: they contain the address.
            raise DeliveryFailed(
                f"channel {self._id}: the address is none that apprise knows (it begins with "
                f"{self._url.partition('://')[0][:20]!r}). Correct it in [[channel]]; `swimup check` tells more.",
                transient=False,
            )
        # Truthy only when every recipient was reached; not a bool in every version.
        return bool(
            service.notify(
                title=letter.title,
                body=f"{letter.body}\n\nref {letter.token}" + (f"\n{letter.link}" if letter.link else ""),
                body_format=apprise.NotifyFormat.TEXT,
                notify_type=apprise.NotifyType(_KIND[letter.priority]),
            )
        )

    def _address(self, apprise: Any, priority: Priority) -> str:
        """The address with our time limits, and with high priority where the service has priorities."""
        wanted = {"cto": f"{self._timeout:g}", "rto": f"{self._timeout:g}"}
        if priority is Priority.HIGH:
            plugin = apprise.Apprise.instantiate(self._url)
            if plugin is not None and "priority" in plugin.template_args:
                wanted["priority"] = "high"
        missing = [f"{key}={value}" for key, value in wanted.items() if not re.search(rf"[?&]{key}=", self._url)]
        if not missing:
            return self._url
        return self._url + ("&" if "?" in self._url else "?") + "&".join(missing)

    def _failure(self, said: list[str]) -> DeliveryFailed:
        text = redact("; ".join(said), self._url) or "the library gave no reason"
        status = next((int(found) for line in said for found in _STATUS.findall(line)), None)
        return DeliveryFailed(
            f"channel {self._id}: {text}",
            retry_after=TOO_MANY_REQUESTS_WAIT if status == TOO_MANY_REQUESTS else None,
        )


_said: ContextVar[list[str] | None] = ContextVar("said", default=None)
"""What the library logs of the present try. It may send from a thread of its own, which inherits this."""


class _Listener(logging.Handler):
    """Collects why a try failed: warnings, and the exception that apprise mentions at DEBUG only."""

    def emit(self, record: logging.LogRecord) -> None:
        said = _said.get()
        if said is None:
            return
        text = record.getMessage()
        if record.levelno >= logging.WARNING or "Exception" in text:
            said.append(" ".join(text.split())[:500])


_LISTENER = _Listener(logging.DEBUG)


@contextmanager
def _what_apprise_says() -> Iterator[list[str]]:
    logger = logging.getLogger("apprise")
    # At DEBUG the library logs addresses and whole messages, and so does the one below it: only the listener may hear.
    logger.setLevel(logging.DEBUG)
    logger.propagate = False
    logger.addHandler(_LISTENER)  # adding it again changes nothing
    logging.getLogger("urllib3").setLevel(logging.WARNING)
    said: list[str] = []
    token = _said.set(said)
    try:
        yield said
    finally:
        _said.reset(token)
