"""What a keeper types after a command, in the units they like."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeVar
from zoneinfo import ZoneInfo

import click

from monitor.settings.errors import Unfit
from monitor.settings.units import Kind
from monitor.web.count_typed import dilution, drop_ml, drops
from monitor.web.food_typed import Place, left, length_um, mass, past_instant, percent, price
from monitor.web.given import amount, count, share
from monitor.web.when import FORMS, NotAnInstant, as_rfc3339, parse_when

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping


Value = TypeVar("Value")


def _typed(read: Callable[[str], Value]) -> Any:
    """An option's callback that reads its text; what it says when it can't is a usage error."""

    def callback(context: click.Context, parameter: click.Parameter, text: str | None) -> Value | None:
        if text is None:
            return None
        try:
            return read(text)
        except Unfit as problem:
            told = f'"{text}": allowed: {problem.allowed}. {problem.hint}'.strip()
            raise click.BadParameter(told, context, parameter) from problem

    return callback


MASS = _typed(lambda text: amount(text, Kind.MASS))
VOLUME = _typed(lambda text: amount(text, Kind.VOLUME))
SALINITY = _typed(lambda text: amount(text, Kind.SALINITY))
SHARE = _typed(share)
COUNT = _typed(count)
DROPS = _typed(drops)
DROP = _typed(drop_ml)
DILUTION = _typed(dilution)
TIN_MASS = _typed(lambda text: mass(text, 100_000.0))
LEFT = _typed(left)
PRICE = _typed(price)
LABEL = _typed(percent)
LENGTH = _typed(length_um)

time_option = click.option(
    "--time", "when", metavar="TIME", help=f"When it happened, if not just now: {FORMS.replace(chr(34), '')}."
)


def instant(when: str | None, bench: Mapping[str, Any]) -> str | None:
    """``when`` on the bench's own clock and in its time zone, as RFC 3339; None stays None. A usage error otherwise."""
    if when is None:
        return None
    try:
        return as_rfc3339(parse_when(when, int(bench["now_ms"]), ZoneInfo(bench["timezone"])))
    except NotAnInstant as problem:
        raise click.UsageError(f"--time: {problem}") from problem


def past(option: str, text: str | None, bench: Mapping[str, Any]) -> str | None:
    """A day or time that may be years ago, as RFC 3339; None stays None. A usage error otherwise."""
    if text is None:
        return None
    try:
        return as_rfc3339(past_instant(text, Place(int(bench["now_ms"]), ZoneInfo(bench["timezone"]))))
    except Unfit as problem:
        raise click.UsageError(f'{option}: "{text}": allowed: {problem.allowed}. {problem.hint}'.strip()) from problem
