"""Tokens for programs: each has a name and what it may do. Kept are only their hashes, in a file that its owner alone reads."""

from __future__ import annotations

import fcntl
import hashlib
import hmac
import json
import os
import re
import secrets
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

from monitor.core.light import light
from monitor.web.options import WebProblem
from monitor.web.rights import EVERYTHING, Scope
from monitor.web.secretfile import write_owner_only
from monitor.web.when import NotAnInstant, as_rfc3339, rfc3339

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

    from monitor.core.model import Ms

NAME: Final = re.compile(r"[a-z0-9][a-z0-9-]{0,31}")
NAME_TOLD: Final = "1 to 32 small letters, figures and hyphens, such as wall-button"
MOST: Final = 64
BEGINS: Final = "swimup_"
"""So that a token is known for one wherever it has slipped to."""
_HASHED: Final = re.compile(r"[0-9a-f]{64}")


@light
class Token:
    """``sha256`` of the secret, in hexadecimal. 256 random bits need no slow hash: nobody guesses them."""

    name: str
    scopes: frozenset[Scope]
    made: Ms
    sha256: str


def scopes_of(offered: str, tokens: Iterable[Token]) -> frozenset[Scope] | None:
    """What ``offered`` may do, None when it is none of them. Each is compared, so that time tells nothing of which."""
    digest = hashlib.sha256(offered.encode("utf-8", "replace")).hexdigest()
    found = None
    for token in tokens:
        if hmac.compare_digest(token.sha256, digest):
            found = token.scopes
    return found


def read_tokens(path: Path) -> tuple[Token, ...]:
    """In the order they were made; none where there is no file. Raises WebProblem."""
    try:
        document = json.loads(path.read_bytes())
        return tuple(_token(one) for one in document["tokens"])
    except FileNotFoundError:
        return ()
    except OSError as problem:
        raise WebProblem(
            f'"{path}" cannot be read ({problem.strerror}): no token of it counts. Give it to the service\'s user.'
        ) from problem
    except (ValueError, KeyError, TypeError, NotAnInstant) as problem:
        raise WebProblem(
            f'"{path}" is not as swimup token writes it: no token of it counts. Remove it and make them anew.'
        ) from problem


def add_token(path: Path, name: str, scopes: Iterable[Scope], now: Ms) -> str:
    """The new token; it is kept nowhere, so show it once. Raises WebProblem, OSError."""
    if NAME.fullmatch(name) is None:
        raise WebProblem(f'"{name[:40]}" is no name for a token; allowed: {NAME_TOLD}.')
    wanted = frozenset(scopes)
    if not wanted:
        raise WebProblem("A token without a scope could do nothing.")
    with _alone(path):
        there = read_tokens(path)
        if any(token.name == name for token in there):
            raise WebProblem(f'There is a token "{name}" already. Revoke it first, or take another name.')
        if len(there) >= MOST:
            raise WebProblem(f"There are {MOST} tokens already. Revoke those that nobody uses.")
        secret = BEGINS + secrets.token_urlsafe(32)
        _write(path, (*there, Token(name, wanted, now, hashlib.sha256(secret.encode()).hexdigest())))
    return secret


def revoke_token(path: Path, name: str) -> None:
    """From now on it is nobody's. Raises WebProblem, OSError."""
    with _alone(path):
        there = read_tokens(path)
        left = tuple(token for token in there if token.name != name)
        if len(left) == len(there):
            names = ", ".join(token.name for token in there) or "none"
            raise WebProblem(f'There is no token "{name[:40]}"; there are: {names}.')
        _write(path, left)


def listed(scopes: frozenset[Scope]) -> str:
    """In the order that they are explained in."""
    return ", ".join(scope for scope in Scope if scope in scopes)


def _token(told: dict[str, object]) -> Token:
    name, scopes, made, digest = told["name"], told["scopes"], told["made"], told["sha256"]
    if not (isinstance(name, str) and isinstance(scopes, list) and isinstance(made, str) and isinstance(digest, str)):
        raise TypeError("not a token")
    if NAME.fullmatch(name) is None or _HASHED.fullmatch(digest) is None:
        raise ValueError("not a token")
    return Token(name, frozenset(Scope(one) for one in scopes) & EVERYTHING, rfc3339(made), digest)


def _write(path: Path, tokens: tuple[Token, ...]) -> None:
    told = [
        {"name": one.name, "scopes": listed(one.scopes).split(", "), "made": as_rfc3339(one.made), "sha256": one.sha256}
        for one in tokens
    ]
    write_owner_only(path, json.dumps({"tokens": told}, indent=1).encode() + b"\n")


@contextmanager
def _alone(path: Path) -> Iterator[None]:
    """Two who add at the same time must not lose one another's."""
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    folder = os.open(path.parent, os.O_RDONLY | os.O_DIRECTORY)
    try:
        fcntl.flock(folder, fcntl.LOCK_EX)
        yield
    finally:
        os.close(folder)
