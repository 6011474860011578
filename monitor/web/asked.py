"""What stands in the query of an address, checked. Every fault is told with its parameter and what is allowed."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from monitor.web.problems import INVALID, Trouble
from monitor.web.when import NotAnInstant, rfc3339

if TYPE_CHECKING:
    from starlette.requests import Request

    from monitor.core.model import Ms

LATEST: Final[Ms] = 253_402_300_800_000
"""The year 10000, which RFC 3339 cannot write."""
_PLUS_LOST: Final = re.compile(r"(?<=[\d.]) (?=\d\d:\d\d$)")


class Query:
    """The parameters of a request; ``only`` are those that the address knows. Raises Trouble for any other."""

    def __init__(self, request: Request, *only: str) -> None:
        self._given = request.query_params
        for name in self._given:
            if name not in only:
                raise fault(name[:40], f"is not known here; allowed are {', '.join(only) or 'none'}")
            if len(self._given.getlist(name)) > 1:
                raise fault(name, "is given twice")

    def text(self, name: str) -> str | None:
        """None when it is not given or empty. Raises Trouble for what no id can be."""
        value = self._given.get(name) or None
        if value is not None and (len(value) > 64 or not value.isprintable()):
            raise fault(name, "is no id: found more than 64 letters, or some that cannot be printed")
        return value

    def instant(self, name: str, otherwise: Ms) -> Ms:
        """RFC 3339 with a zone; a plus sign that came as a blank is taken for what it was. Raises Trouble."""
        value = self._given.get(name)
        if not value:
            return otherwise
        try:
            instant = rfc3339(_PLUS_LOST.sub("+", value))
        except NotAnInstant as problem:
            raise fault(name, str(problem)) from None
        if not 0 <= instant < LATEST:
            raise fault(name, f'"{value[:40]}" is before 1970')
        return instant

    def whole(self, name: str, low: int, high: int, otherwise: int) -> int:
        """Raises Trouble for anything but a whole number from ``low`` to ``high``."""
        value = self._given.get(name)
        if not value:
            return otherwise
        if not (value.isascii() and value.isdigit() and len(value) <= 19 and low <= int(value) <= high):
            raise fault(name, f'found "{value[:40]}"; allowed is a whole number from {low} to {high}')
        return int(value)

    def span(self, now: Ms, usual: Ms) -> tuple[Ms, Ms]:
        """``since`` included, ``until`` not; without them the last ``usual`` up to now. Raises Trouble when turned round."""
        until = self.instant("until", now + 1)
        since = self.instant("since", max(until - usual, 0))
        if since >= until:
            raise fault("since", "is not before until; allowed is an earlier time")
        return since, until


def fault(parameter: str, detail: str) -> Trouble:
    return Trouble(422, f"{parameter} {detail}.", INVALID, [{"parameter": parameter, "detail": detail}])
