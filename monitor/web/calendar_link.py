"""The address of the calendar is its key: calendar programs know no log-in. It only shows the calendar, and can be renewed."""

from __future__ import annotations

import hashlib
import hmac
import secrets
from typing import TYPE_CHECKING, Final

from monitor.web.secretfile import ensure_secret, write_owner_only

if TYPE_CHECKING:
    from pathlib import Path

LONGEST: Final = 100


class CalendarLink:
    """Its secret is in a file of its own. Safe from any thread; blocks on the disk."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def token(self) -> str:
        """Made of the secret, which itself stands in no address. Raises WebProblem."""
        secret = ensure_secret(self._path)
        return hmac.new(secret.encode(), b"calendar of the plan", hashlib.sha256).hexdigest()

    def renew(self) -> str:
        """From now on the address given before shows nothing. Raises OSError or WebProblem."""
        write_owner_only(self._path, secrets.token_urlsafe(32).encode() + b"\n")
        return self.token()

    def fits(self, offered: str) -> bool:
        """Whether this is the present token. Nothing is made for a stranger: without a file there is none."""
        if not 0 < len(offered) <= LONGEST or not self._path.exists():
            return False
        return hmac.compare_digest(offered.encode("utf-8", "replace"), self.token().encode())
