"""What may be done by whom: the scopes of a token, and the two roles that a person logs in with. Pure."""

from __future__ import annotations

from enum import StrEnum
from typing import Final


class Scope(StrEnum):
    """What one request needs, and what a token may be given."""

    READ = "read"
    LOG = "log"
    ALARM = "alarm"
    ADMIN = "admin"


TOLD: Final = {
    Scope.READ: "look at everything: bench, history, alarms, metrics",
    Scope.LOG: "write down what was done to batches, vessels, cold stores, tins and broods; undo and correct it",
    Scope.ALARM: "acknowledge alarms and put them off",
    Scope.ADMIN: "all of that; take alarms out of service, subscribe phones, test the channels",
}

EVERYTHING: Final = frozenset(Scope)
NOTHING: Final[frozenset[Scope]] = frozenset()


class Role(StrEnum):
    """Who a person is. A keeper acts; a viewer looks."""

    KEEPER = "keeper"
    VIEWER = "viewer"


MAY: Final = {Role.KEEPER: EVERYTHING, Role.VIEWER: frozenset({Scope.READ})}

LOOKING_ONLY: Final = "You are logged in to look. Acting needs the keeper's password: log out, then log in with that."


def allows(scopes: frozenset[Scope], needed: Scope) -> bool:
    """Whether ``scopes`` are enough; "admin" holds all others."""
    return needed in scopes or Scope.ADMIN in scopes


def usual(method: str) -> Scope:
    """What an address needs that says nothing else: to look asks for little, to act for everything."""
    return Scope.READ if method in ("GET", "HEAD") else Scope.ADMIN
