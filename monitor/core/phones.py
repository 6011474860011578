"""Phones that take pushes: what a browser hands over when a keeper subscribes it, and what becomes of it. Plain words only."""

from __future__ import annotations

from dataclasses import asdict, fields, replace
from typing import TYPE_CHECKING, Any, Final

from monitor.core.light import light

if TYPE_CHECKING:
    from collections.abc import Mapping

    from monitor.core.model import Ms

PHONES_KEY: Final = "phones/site"
"""Under which the phones are kept (``Learned``)."""

_TEXTS: Final = ("id", "name", "endpoint", "p256dh", "auth")


@light
class Phone:
    """One browser. ``endpoint``, ``p256dh`` and ``auth`` are those of its push subscription, and are secrets.

    ``gone``: when its push service said that it takes no more; then it has neither endpoint nor keys.
    """

    id: str
    name: str  # given by the keeper
    endpoint: str
    p256dh: str  # base64url: its public key, RFC 8291
    auth: str  # base64url: the secret that goes with it
    since: Ms
    gone: Ms | None = None

    def lost(self, now: Ms) -> Phone:
        return replace(self, endpoint="", p256dh="", auth="", gone=now)


@light
class Subscribe:
    """A keeper wants pushes on this phone; one with the same id, or one that is gone and had its name, makes room."""

    time: Ms
    phone: Phone


@light
class Unsubscribe:
    time: Ms
    phone: str  # id


@light
class PhoneGone:
    """The push service of a phone says that the subscription is no more."""

    time: Ms
    phone: str  # id


PhoneEvent = Subscribe | Unsubscribe | PhoneGone


def phones_document(phones: Mapping[str, Phone]) -> dict[str, Any]:
    return {"phones": [asdict(phone) for phone in phones.values()]}


def phones_from(document: Mapping[str, Any]) -> dict[str, Phone]:
    """Raises ValueError for a document of another make."""
    try:
        found = [Phone(**one) for one in document["phones"]]
    except (KeyError, TypeError) as wrong:
        raise ValueError(f"phones of another make: {wrong}") from None
    if any(not isinstance(getattr(phone, name), str) for phone in found for name in _TEXTS):
        raise ValueError(f"phones of another make: {', '.join(field.name for field in fields(Phone))} awaited")
    return {phone.id: phone for phone in found}
