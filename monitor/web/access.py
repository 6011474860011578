"""Who may see the page and act: password, log-in attempts, and the token of the command line."""

from __future__ import annotations

import hashlib
import hmac
import threading
from collections import OrderedDict
from typing import TYPE_CHECKING, Final

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from monitor.web.options import WebProblem
from monitor.web.secretfile import ensure_secret, write_owner_only

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from monitor.web.options import WebOptions

SHORTEST_PASSWORD: Final = 10

# 19 MiB, two passes, one lane: the least the OWASP Password Storage Cheat Sheet accepts for Argon2id; a small board
# that watches fish has no 64 MiB to lend to each log-in.
_HASHER: Final = PasswordHasher(time_cost=2, memory_cost=19_456, parallelism=1)


def ensure_token(path: Path) -> str:
    """The bearer token for the command line; made on first use, readable by its owner only. Raises WebProblem."""
    return ensure_secret(path)


def write_password(path: Path, password: str) -> None:
    """Keep the argon2 hash of ``password`` in ``path``. Raises WebProblem when it is too short, OSError."""
    if len(password) < SHORTEST_PASSWORD:
        raise WebProblem(f"the password has {len(password)} characters; it needs at least {SHORTEST_PASSWORD}.")
    write_owner_only(path, _HASHER.hash(password).encode() + b"\n")


class Gate:
    """Knows the password's hash, the token and the key that signs sessions. Safe from any thread."""

    def __init__(self, options: WebOptions) -> None:
        self.login_needed = options.login_needed
        self._token = ensure_token(options.token_file).encode()
        self._hash = _read_hash(options.password_hash_file) if options.password_hash_file else ""
        self._one_at_a_time = threading.Lock()
        key = ensure_secret(options.session_key_file)
        # The hash is part of the key, so that a new password ends every session.
        self.session_key = hmac.new(key.encode(), self._hash.encode(), hashlib.sha256).hexdigest()

    def knows_token(self, offered: str) -> bool:
        return hmac.compare_digest(offered.encode("utf-8", "replace"), self._token)

    def knows_password(self, offered: str) -> bool:
        """Slow on purpose (and 19 MiB): call it in a worker thread. Only one runs at a time."""
        with self._one_at_a_time:
            try:
                return _HASHER.verify(self._hash, offered)
            except VerificationError:
                return False


def _read_hash(path: Path) -> str:
    try:
        text = path.read_text("utf-8").strip()
        _HASHER.check_needs_rehash(text)
    except OSError as problem:
        raise WebProblem(
            f'web.password_file "{path}" cannot be read ({problem.strerror}): make it with swimup password.'
        ) from problem
    except (InvalidHashError, UnicodeDecodeError) as problem:
        raise WebProblem(
            f'web.password_file "{path}" holds no argon2 hash: make it anew with swimup password.'
        ) from problem
    return text


class Attempts:
    """Counts failed log-ins per caller: ``limit`` within ``window`` seconds, then none until the oldest has aged out.

    ``clock`` gives seconds and never goes back. Remembers the newest 1024 callers, so it cannot be made to grow.
    """

    def __init__(self, clock: Callable[[], float], limit: int = 5, window: float = 300.0) -> None:
        self._clock, self._limit, self._window = clock, limit, window
        self._failed: OrderedDict[str, list[float]] = OrderedDict()

    def wait(self, caller: str) -> float:
        """Seconds until ``caller`` may try again; 0 when it may now."""
        recent = self._recent(caller)
        return max(0.0, recent[-self._limit] + self._window - self._clock()) if len(recent) >= self._limit else 0.0

    def failed(self, caller: str) -> None:
        self._failed[caller] = [*self._recent(caller), self._clock()][-self._limit :]
        self._failed.move_to_end(caller)
        while len(self._failed) > 1024:
            self._failed.popitem(last=False)

    def succeeded(self, caller: str) -> None:
        self._failed.pop(caller, None)

    def _recent(self, caller: str) -> list[float]:
        since = self._clock() - self._window
        return [moment for moment in self._failed.get(caller, ()) if moment > since]
