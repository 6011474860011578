"""A channel that posts each letter as JSON to an address of the keeper's, signed so that the other side can trust it.

The signature is HMAC-SHA256 (RFC 2104) with the shared secret over the timestamp, a full stop and the body.
"""

from __future__ import annotations

import hashlib
import hmac
import ssl
import time
from email.utils import parsedate_to_datetime
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from monitor.notify.asking import BrokenOff, ask_now, system_reason, tls_reason
from monitor.notify.message import payload
from monitor.notify.outbox import DeliveryFailed

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from monitor.store import Letter

TIMESTAMP_HEADER = "Swimup-Timestamp"
SIGNATURE_HEADER = "Swimup-Signature"
SCHEME = "v1="
"""Stands before the signature, so that another way of signing can come beside this one."""

TOO_MANY_REQUESTS_WAIT = 60.0
"""Seconds to wait after a 429 that does not say how long. Common practice, no source."""
LONGEST_WAIT = 3600.0
"""Seconds: nobody who asks for more is believed, since alarms wait meanwhile. Common practice, no source."""

NEVER = frozenset({400, 413, 415, 422})
"""What is wrong with the letter itself (RFC 9110 section 15.5): sent again it would be the same. All else a keeper can mend."""

_NO_ENTRY = frozenset({401, 403, 407})
_NOWHERE = frozenset({404, 405, 410})
_TOO_MANY_REQUESTS, _UNAVAILABLE = 429, 503
_BUSY = frozenset({408, 425, _TOO_MANY_REQUESTS})


def sign(secret: str, timestamp: str, body: bytes) -> str:
    """The value of the signature header: ``v1=`` and the HMAC-SHA256 of ``<timestamp>.<body>`` in hexadecimal."""
    digest = hmac.new(secret.encode(), timestamp.encode() + b"." + body, hashlib.sha256)
    return SCHEME + digest.hexdigest()


def seconds_to_wait(told: str | None, date: str | None, now: float) -> float | None:
    """What Retry-After asks for (RFC 9110 section 10.2.3), at most ``LONGEST_WAIT``; None where it says nothing.

    ``date`` is the answer's own Date, by which a point in time is counted, since the two clocks may differ; ``now`` is
    ours in seconds, where there is none.
    """
    if told is None:
        return None
    text = told.strip()
    if text.isascii() and text.isdigit():
        return min(float(text[:9]), LONGEST_WAIT)
    until, since = _instant(text), _instant(date)
    if until is None:
        return None
    return min(max(until - (now if since is None else since), 0.0), LONGEST_WAIT)


def _instant(text: str | None) -> float | None:
    if text is None:
        return None
    try:
        return parsedate_to_datetime(text).timestamp()
    except (ValueError, OverflowError):
        return None


class WebhookChannel:
    """``timeout``: seconds for a whole try, from looking up the name to the answer's status."""

    def __init__(
        self,
        id: str,  # noqa: A002  (it is the channel's id)
        url: str,
        secret: str,
        *,
        site: str,
        ca_file: Path | None = None,
        timeout: float = 10.0,
    ) -> None:
        self._id = id
        self._url = url
        self._secret = secret
        self._site = site
        self._ca_file = ca_file
        self._timeout = timeout
        parts = urlsplit(url)
        self._secure = (
            parts.scheme == "https"
        )  # else nobody is asked for a certificate, and reading the authorities' takes 20 ms
        # All of the address that is ever told: path, query and user may be secrets.
        self._where = f"{parts.hostname}:{parts.port or (443 if parts.scheme == 'https' else 80)}"

    @property
    def id(self) -> str:
        return self._id

    def __repr__(self) -> str:
        return f"WebhookChannel({self._id!r})"

    def send(self, letter: Letter) -> None:
        """Raises DeliveryFailed, permanent only where the letter itself is refused (``NEVER``)."""
        body = payload(letter, self._site)
        timestamp = str(int(time.time()))
        headers = {
            "Content-Type": "application/json",
            "User-Agent": "swimup",
            TIMESTAMP_HEADER: timestamp,
            SIGNATURE_HEADER: sign(self._secret, timestamp, body),
        }
        try:
            trust = self._trust() if self._secure else None
            status, answer = ask_now("POST", self._url, headers, body, timeout_s=self._timeout, trust=trust)
        except TimeoutError:
            raise self._failed(
                f"gave no answer within {self._timeout:g} s", "See whether it is busy or the network drops packets."
            ) from None
        except OSError as error:
            raise self._unreached(error) from None
        except BrokenOff as error:
            raise self._failed(f"broke off without an answer ({error})", "See the log of the other side.") from None
        self._judge(status, answer)

    def _trust(self) -> ssl.SSLContext:
        """Read anew at each try, so that a renewed certificate is used."""
        try:
            return ssl.create_default_context(cafile=self._ca_file)
        except (OSError, ssl.SSLError) as error:
            raise DeliveryFailed(
                f'channel {self._id}: ca_file "{self._ca_file}" cannot be used ({error})',
                todo="Put the certificate of the authority there, in PEM form.",
            ) from None

    def _judge(self, status: int, answer: Mapping[str, str]) -> None:
        """Return for an answer that takes the letter, raise DeliveryFailed for any other."""
        if 200 <= status < 300:
            return
        if 300 <= status < 400:
            # A letter is signed for one address. Transient, so that nothing is lost until the address is corrected.
            raise self._failed(
                f"redirects elsewhere (status {status}), which is not followed",
                "Write the final address into [[channel]].",
            )
        if 400 <= status < 500 and status not in _BUSY:
            raise self._refused(status)
        wait = None
        if status in (_TOO_MANY_REQUESTS, _UNAVAILABLE):
            wait = seconds_to_wait(answer.get("retry-after"), answer.get("date"), time.time())
        if status == _TOO_MANY_REQUESTS and wait is None:
            wait = TOO_MANY_REQUESTS_WAIT
        asks = "" if wait is None else f" and asks to wait {wait:.0f} s"
        raise self._failed(
            f"cannot take the letter now (status {status}){asks}",
            "Wait; if it stays so, see the log of the other side.",
            retry_after=wait,
        )

    def _refused(self, status: int) -> DeliveryFailed:
        """Whatever a keeper can mend is transient: an address that is wrong for a week must not cost a letter."""
        if status in NEVER:
            return self._failed(
                f"does not understand the letter (status {status})",
                "See the log of the other side; it must take JSON as the README describes it.",
                transient=False,
            )
        if status in _NO_ENTRY:
            return self._failed(
                f"does not let us in (status {status})",
                "Compare the secret in [[channel]], and user and password in its address, with what the other side expects.",
            )
        if status in _NOWHERE:
            return self._failed(
                f"takes no letters at this address (status {status})",
                "Compare the address in [[channel]] with that of the other side. If it is gone for good, remove the channel.",
            )
        return self._failed(f"refuses the letter (status {status})", "The log of the other side says why it refused.")

    def _unreached(self, error: Exception) -> DeliveryFailed:
        distrust = tls_reason(error)
        if distrust is None:
            return self._failed(
                f"is not reached: {system_reason(error)}", "See whether it runs, and the address in [[channel]]."
            )
        return self._failed(
            f"cannot be trusted: {distrust}",
            "Renew its certificate, or name the authority that signed it in ca_file; see this machine's clock too.",
        )

    def _failed(
        self, what: str, todo: str, *, transient: bool = True, retry_after: float | None = None
    ) -> DeliveryFailed:
        told = f"channel {self._id}: {self._where} {what}"
        return DeliveryFailed(told, transient=transient, retry_after=retry_after, todo=todo)
