"""Who may see the page and act: passwords and the sessions made with them, tokens, and how often one may guess."""

from __future__ import annotations

import hashlib
import hmac
import threading
from collections import OrderedDict
from functools import cache, partial
from typing import TYPE_CHECKING, Final

from monitor.web.kept import Kept
from monitor.web.options import WebProblem
from monitor.web.rights import EVERYTHING, Role
from monitor.web.secretfile import ensure_secret, write_owner_only
from monitor.web.tokens import read_tokens, scopes_of

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from argon2 import PasswordHasher

    from monitor.web.options import WebOptions
    from monitor.web.rights import Scope
    from monitor.web.tokens import Token

SHORTEST_PASSWORD: Final = 10
LONGEST_PASSWORD: Final = 1024


@cache
def _hasher() -> PasswordHasher:
    """Loaded only where there is a password.

    19 MiB, two passes, one lane: the least the OWASP Password Storage Cheat Sheet accepts for Argon2id; a small board that
    watches fish has no 64 MiB to lend to each log-in.
    """
    from argon2 import PasswordHasher  # noqa: PLC0415

    return PasswordHasher(time_cost=2, memory_cost=19_456, parallelism=1)


def ensure_token(path: Path) -> str:
    """The bearer token for the command line; made on first use, readable by its owner only. Raises WebProblem."""
    return ensure_secret(path)


def write_password(path: Path, password: str) -> None:
    """Keep the argon2 hash of ``password`` in ``path``. Raises WebProblem when it is too short or too long, OSError."""
    if len(password) < SHORTEST_PASSWORD:
        raise WebProblem(f"the password has {len(password)} characters; it needs at least {SHORTEST_PASSWORD}.")
    if len(password) > LONGEST_PASSWORD:
        raise WebProblem(f"the password has {len(password)} characters; {LONGEST_PASSWORD} are the most.")
    write_owner_only(path, _hasher().hash(password).encode() + b"\n")


def same_password(path: Path | None, password: str) -> bool:
    """Whether ``password`` is the one whose hash is in ``path``; False where there is no such file. Raises WebProblem."""
    return path is not None and path.exists() and _fits(_read_hash(path, "password_file"), password)


class Gate:
    """Knows the hashes of the passwords, the tokens and the key that signs sessions. Safe from any thread.

    A password that is changed and a token that is revoked count at once, and end what was begun with them.
    """

    def __init__(self, options: WebOptions) -> None:
        self.login_needed = options.login_needed
        self._own = ensure_token(options.token_file).encode()
        self._hashes = {
            role: Kept(path, partial(_read_hash, option=option), "")
            for role, option, path in (
                (Role.VIEWER, "viewer_password_file", options.viewer_hash_file),
                (Role.KEEPER, "password_file", options.password_hash_file),
            )
            if path is not None
        }
        for kept in self._hashes.values():
            kept.first()
        self._tokens: Kept[tuple[Token, ...]] = Kept(options.tokens_file, read_tokens, ())
        self._one_at_a_time = threading.Lock()
        key = ensure_secret(options.session_key_file)
        self.session_key = hmac.new(key.encode(), b"sessions", hashlib.sha256).hexdigest()

    def scopes(self, offered: str) -> frozenset[Scope] | None:
        """What a token may do, None when it is none of this service."""
        own = hmac.compare_digest(offered.encode("utf-8", "replace"), self._own)
        other = scopes_of(offered, self._tokens.now())
        return EVERYTHING if own else other

    def who(self, offered: str) -> Role | None:
        """Whose password it is. Slow on purpose (and 19 MiB): call it in a worker thread. Only one runs at a time."""
        found = None
        with self._one_at_a_time:
            # All are reckoned whatever the answer, so that its time tells nothing; where both fit, the keeper's counts.
            for role, kept in self._hashes.items():
                if _fits(kept.now(), offered):
                    found = role
        return found

    def mark(self, role: Role) -> str:
        """What a session of this role carries: it fits no longer once the password is another."""
        told = f"{role} {self._hashes[role].now()}"
        return f"{role}.{hmac.new(self.session_key.encode(), told.encode(), hashlib.sha256).hexdigest()[:32]}"

    def role_of(self, mark: object) -> Role | None:
        """Whose session carries ``mark``; None for one that was made with another password, or with none."""
        found = None
        for role, kept in self._hashes.items():
            if isinstance(mark, str) and kept.now() and hmac.compare_digest(self.mark(role).encode(), mark.encode()):
                found = role
        return found


def _fits(kept: str, offered: str) -> bool:
    from argon2.exceptions import InvalidHashError, VerificationError  # noqa: PLC0415

    try:
        return _hasher().verify(kept, offered.encode("utf-8", "replace"))
    except (VerificationError, InvalidHashError):
        return False


def _read_hash(path: Path, option: str) -> str:
    from argon2.exceptions import InvalidHashError  # noqa: PLC0415

    how = "swimup password --viewer" if option.startswith("viewer") else "swimup password"
    try:
        text = path.read_text("utf-8").strip()
        _hasher().check_needs_rehash(text)
    except OSError as problem:
        raise WebProblem(f'web.{option} "{path}" cannot be read ({problem.strerror}): make it with {how}.') from problem
    except (InvalidHashError, UnicodeDecodeError) as problem:
        raise WebProblem(f'web.{option} "{path}" holds no argon2 hash: make it anew with {how}.') from problem
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
