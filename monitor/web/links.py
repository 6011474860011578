"""Links in letters: whoever holds one may look at its alarms, acknowledge and shelve them, for a time, and nothing else.

By the link of a reminder it can be said that the batch was started as planned.

Looking changes nothing, so a messenger's preview of a link acknowledges nothing.
"""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Final, Self

from itsdangerous import BadSignature, SignatureExpired, URLSafeTimedSerializer

from monitor.core.dispatch import Kind
from monitor.core.light import light
from monitor.core.model import Priority
from monitor.web.secretfile import ensure_secret

if TYPE_CHECKING:
    from pathlib import Path

    from monitor.store import Letter

DAY_S: Final = 24 * 3600
GOOD_FOR_S: Final = {Priority.HIGH: DAY_S, Priority.MEDIUM: 7 * DAY_S, Priority.LOW: 7 * DAY_S}
ALARMS_AT_MOST: Final = 8
"""More would not be looked through on a phone, and make a long link: a digest of so many has none."""
LONGEST_TOKEN: Final = 2000


class NoLink(Exception):  # noqa: N818  (it is an answer)
    """A token that is none of ours, or too old. ``expired`` tells which."""

    def __init__(self, *, expired: bool) -> None:
        super().__init__("expired" if expired else "unknown")
        self.expired = expired


@light
class Claim:
    """What a link is for."""

    alarms: tuple[str, ...]


class Links:
    """Signs with HMAC-SHA256 and the time; safe from any thread."""

    def __init__(self, secret: str, address: str) -> None:
        self._address = address
        self._signer = URLSafeTimedSerializer(
            secret,
            salt="a link in a letter",
            signer_kwargs={"digest_method": hashlib.sha256, "key_derivation": "hmac"},
        )

    @classmethod
    def kept(cls, path: Path, address: str) -> Self:
        """With the secret in a file of its own: without the file, every link that was sent is void. Raises WebProblem."""
        return cls(ensure_secret(path), address)

    def link(self, letter: Letter) -> str:
        """The address to act at; empty for a letter about nothing that stands."""
        if letter.kind in (Kind.OVER, Kind.TEST):
            return ""
        standing = [part.alarm for part in letter.parts if part.ended is None] if letter.parts else [letter.alarm]
        if not 0 < len(standing) <= ALARMS_AT_MOST:
            return ""
        return f"{self._address}/act/{self.token(standing, GOOD_FOR_S[letter.priority])}"

    def token(self, alarms: list[str], good_for_s: int) -> str:
        return self._signer.dumps([good_for_s, *alarms])

    def read(self, token: str) -> Claim:
        """Raises NoLink."""
        if len(token) > LONGEST_TOKEN:
            raise NoLink(expired=False)
        try:
            # Its own age is inside, signed with it.
            good_for, *alarms = self._signer.loads(token)
            self._signer.loads(token, max_age=good_for)
        except SignatureExpired:
            raise NoLink(expired=True) from None
        except (BadSignature, ValueError, TypeError):
            raise NoLink(expired=False) from None
        return Claim(tuple(alarms))
