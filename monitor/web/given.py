"""What a keeper types into a form or after a command, read into the internal units. Says what is allowed when it can't."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, TypeVar

from monitor.settings.errors import Unfit
from monitor.settings.units import Kind, convert, read, split
from monitor.web.problems import INVALID, Trouble

if TYPE_CHECKING:
    from collections.abc import Callable

    from starlette.requests import Request

Fields = dict[str, str]
Value = TypeVar("Value")

LARGEST: Final = 1000.0
"""Grams, litres or g/L beyond which a slip of the finger is more likely than a bench that big."""

LONGEST_REPORT: Final = 30
"""Days: letters are not kept for longer."""
LONGEST_SHELF: Final = 7 * 24 * 60


WAYS: Final = {"food": "/food", "ledger": "/ledger", "tins": "/tins"}
"""Pages that may send somebody away to note something and have them back: by name, as an address could lead anywhere."""


def way_back(request: Request) -> str:
    """Where ``?back=`` says that somebody came from; else the bench."""
    return WAYS.get(request.query_params.get("back", ""), "/")


def way_on(request: Request) -> str:
    """``?back=`` as it came, for the address of a form; empty when nobody is to be led back."""
    name = request.query_params.get("back", "")
    return f"?back={name}" if name in WAYS else ""


def amount(text: str, kind: Kind) -> float:
    """``2 g``, ``0.5 gal``, ``25 ppt`` in grams, litres or g/L. Raises Unfit."""
    value = read(text.strip(), kind)
    if not 0 <= value <= LARGEST or (value == 0 and kind is not Kind.SALINITY):
        raise Unfit(f"{kind.allowed}, above 0 and up to {LARGEST:g} {kind.unit}")
    return value


def share(text: str) -> float:
    """``0.6`` or ``60 %`` as 0..1. Raises Unfit."""
    number, unit = split(text.strip())
    value = convert(number, unit, "")
    if not 0 <= value <= 1:
        raise Unfit('a share such as "60 %" or 0.6')
    return value


def count(text: str) -> float:
    """A whole number; blanks between its thousands are fine. Raises Unfit."""
    digits = text.replace(" ", "").replace("\N{NO-BREAK SPACE}", "")
    if not (digits.isascii() and digits.isdigit() and len(digits) <= 9):
        raise Unfit("a whole number such as 180000")
    return float(digits)


def read_days(text: str) -> int:
    """How many days to look back, 30 when nothing is said. Raises Trouble."""
    if not text:
        return LONGEST_REPORT
    if not (text.isascii() and text.isdigit() and len(text) <= 2 and 1 <= int(text) <= LONGEST_REPORT):
        raise invalid(f'days: found "{text[:40]}"; allowed is a whole number from 1 to {LONGEST_REPORT}.')
    return int(text)


def field_minutes(given: dict[str, str]) -> int:
    """For how long to put an alarm off. Raises Trouble; what is too long for this alarm is for the core to say."""
    text = given.get("minutes", "").strip()
    if not (text.isascii() and text.isdigit() and len(text) <= 5 and 1 <= int(text) <= LONGEST_SHELF):
        raise invalid(f'Put off: found "{text[:40]}"; allowed is a whole number of minutes from 1 to {LONGEST_SHELF}.')
    return int(text)


def invalid(told: str) -> Trouble:
    return Trouble(422, told, INVALID)


def unfit(name: str, text: str, problem: Unfit) -> str:
    """The sentence for a keeper."""
    return f'{name}: "{text[:40]}" is not understood; allowed: {problem.allowed}. {problem.hint}'.strip()


def field(name: str, text: str, reader: Callable[[str], Value]) -> Value:
    """What was typed into a field, as ``reader`` reads it, which may raise Unfit. Raises Trouble that names the field."""
    try:
        return reader(text)
    except Unfit as problem:
        raise invalid(unfit(name, text, problem)) from problem


def field_amount(name: str, text: str, kind: Kind) -> float:
    return field(name, text, lambda typed: amount(typed, kind))


def field_share(given: dict[str, str]) -> float | None:
    """The counted share, None when left empty. Raises Trouble."""
    text = given.get("fraction", "").strip()
    return field("Share", text, share) if text else None


def field_count(given: dict[str, str]) -> float | None:
    text = given.get("nauplii", "").strip()
    return field("Young brine shrimp", text, count) if text else None
