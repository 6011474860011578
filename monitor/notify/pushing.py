"""One push to one phone, as RFC 8030 (delivery), 8188 and 8291 (encryption) and 8292 (who sends) have it.

A subscriber chooses the address, so it is looked up here and the connection goes to what was found: only https, and
nothing inside the own network, or anybody who may subscribe could reach what only this machine can.
"""

from __future__ import annotations

import asyncio
import ipaddress
import json
import ssl
from base64 import urlsafe_b64decode, urlsafe_b64encode
from hashlib import blake2b
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import SplitResult, urlsplit

from monitor.core.light import light
from monitor.core.model import HOUR, MINUTE, SECOND, Priority
from monitor.notify.asking import ask

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from monitor.core.model import Ms
    from monitor.core.phones import Phone
    from monitor.store import Letter

LARGEST_TEXT: Final = 3000
"""Bytes of JSON; push services need not take more than 4096 bytes encrypted (RFC 8030 section 7.2)."""
TRIED_AT_MOST: Final = 3  # addresses of one name

URGENCY: Final = {Priority.HIGH: "high", Priority.MEDIUM: "normal", Priority.LOW: "low"}  # RFC 8030 section 5.3
# How long a push service keeps a letter for a phone that is off. Common practice, no source.
LASTS: Final[dict[Priority, Ms]] = {Priority.HIGH: HOUR, Priority.MEDIUM: 12 * HOUR, Priority.LOW: 24 * HOUR}
SHORTEST: Final[Ms] = 2 * MINUTE
"""Until the next letter about the same: past its deadline an urgent one is repeated all the same."""


class NotAllowed(Exception):  # noqa: N818  (a verdict on an address)
    """An address to which no push goes; the message says why."""


def topic_of(alarm: str) -> str:
    """32 letters of base64url: the service replaces what waits for the same alarm (RFC 8030 section 5.4)."""
    return urlsafe_b64encode(blake2b(alarm.encode("utf-8", "replace"), digest_size=24).digest()).decode()


def lasts_s(letter: Letter, now: Ms) -> int:
    """TTL in seconds: an urgent letter until its deadline and at most an hour, others longer."""
    longest = LASTS[letter.priority]
    if letter.priority is Priority.HIGH and letter.deadline is not None:
        longest = min(longest, max(letter.deadline - max(now, letter.created), SHORTEST))
    return longest // SECOND


def text_of(letter: Letter) -> bytes:
    """What the page's worker is given, as JSON; the text is cut where it would not fit."""
    said: dict[str, Any] = {
        "id": letter.token,
        "tag": letter.alarm,
        "priority": letter.priority.value,
        "title": letter.title,
        "body": letter.body,
        "link": letter.link,
    }
    whole = _json(said)
    if len(whole) <= LARGEST_TEXT:
        return whole
    said["title"] = letter.title[:200]
    room = LARGEST_TEXT - len(_json(said | {"body": ""}))
    # A letter can take six bytes in JSON, so it is measured as it will be written.
    body = letter.body[:room]
    while len(_json(said | {"body": body + "…"})) > LARGEST_TEXT:
        body = body[: -max(len(body) // 20, 1)]
    return _json(said | {"body": body + "…"})


def _json(said: Mapping[str, Any]) -> bytes:
    return json.dumps(said, ensure_ascii=False).encode("utf-8", "replace")


def decoded(text: str) -> bytes:
    """Base64url without its padding, as browsers write keys. Raises ValueError."""
    return urlsafe_b64decode(text + "=" * (-len(text) % 4))


def sealed(text: bytes, phone: Phone) -> bytes:
    """Encrypted for this phone alone (RFC 8291). Raises ValueError for keys that are none."""
    import http_ece  # noqa: PLC0415  (only where phones are subscribed)
    from cryptography.hazmat.primitives.asymmetric import ec  # noqa: PLC0415

    once = ec.generate_private_key(ec.SECP256R1())
    sealed_text: bytes = http_ece.encrypt(
        text, private_key=once, dh=decoded(phone.p256dh), auth_secret=decoded(phone.auth), version="aes128gcm"
    )
    return sealed_text


def judged(endpoint: str) -> SplitResult:
    """The parts of an address that can be a push service's, before anything is looked up. Raises NotAllowed."""
    parts = urlsplit(endpoint)
    # A signature is for a name (RFC 8292 section 2); the library that signs takes no IPv6 address for one.
    if parts.scheme != "https" or not parts.hostname or ":" in parts.hostname or parts.username is not None:
        raise NotAllowed("its address is none of https with a name")
    return parts


@light
class Way:
    """How push services are reached. With ``ca_file`` one of one's own is meant, and it may be anywhere."""

    ca_file: Path | None = None

    def trust(self) -> ssl.SSLContext:
        """Read anew at each try. Raises OSError or SSLError."""
        return ssl.create_default_context(cafile=self.ca_file)

    async def addresses(self, endpoint: str) -> Sequence[str]:
        """Where to connect for an endpoint. Raises NotAllowed, or OSError when its name is not found."""
        parts = judged(endpoint)
        loop = asyncio.get_running_loop()
        found = await loop.getaddrinfo(parts.hostname, parts.port or 443, type=1)
        addresses = list(dict.fromkeys(str(entry[4][0]) for entry in found))
        if self.ca_file is None and not all(public(address) for address in addresses):
            raise NotAllowed("its address leads into a network of one's own, where no push service is")
        return addresses[:TRIED_AT_MOST]

    async def push(
        self,
        phone: Phone,
        body: bytes,
        headers: Mapping[str, str],
        timeout: float,  # noqa: ASYNC109  (see below)
    ) -> tuple[int, Mapping[str, str]]:
        """Status and headers of the answer. Raises NotAllowed, OSError or BrokenOff."""
        addresses = await self.addresses(phone.endpoint)
        trust, limit = self.trust(), 0.45 * timeout  # the caller's own is for the whole
        for left, address in zip(range(len(addresses) - 1, -1, -1), addresses, strict=True):
            # To the very address that was judged; the certificate must be the name's.
            try:
                return await ask("POST", phone.endpoint, headers, body, connect_s=limit, trust=trust, address=address)
            except OSError as error:
                if not left or isinstance(error, TimeoutError):
                    raise
        raise OSError("no address")


def public(address: str) -> bool:
    """Whether it is reached over the internet, and nothing of one's own stands behind it."""
    ip = ipaddress.ip_address(address.partition("%")[0])
    inner = getattr(ip, "ipv4_mapped", None) or getattr(ip, "sixtofour", None)
    if inner is not None:
        ip = inner
    return ip.is_global and not ip.is_multicast


def audience(endpoint: str) -> str:
    """The origin that a signature is for (RFC 8292 section 2)."""
    parts = urlsplit(endpoint)
    return f"https://{parts.hostname}" + (f":{parts.port}" if parts.port not in (None, 443) else "")
