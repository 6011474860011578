"""What of the record a keeper asks to see: a span of time, kinds of probes, a batch and one to hold against it. Pure."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Final
from urllib.parse import urlencode

from monitor.core.light import light
from monitor.core.model import DAY, HOUR, MINUTE, Ms
from monitor.web.problems import INVALID, Trouble
from monitor.web.when import NotAnInstant, as_rfc3339, rfc3339

if TYPE_CHECKING:
    from collections.abc import Mapping

KINDS: Final = ("water", "room", "store", "tank", "air")
"""What probes measure, in the order in which it is shown."""
SHORTEST: Final[Ms] = 5 * MINUTE
LONGEST: Final[Ms] = 50 * 366 * DAY
USUAL: Final[Ms] = DAY
FURTHEST_AHEAD: Final[Ms] = 2 * 366 * DAY
SPANS: Final = (
    ("6 hours", 6 * HOUR),
    ("Day", DAY),
    ("Week", 7 * DAY),
    ("Month", 30 * DAY),
    ("Year", 365 * DAY),
    ("5 years", 5 * 365 * DAY),
)
MOST_POINTS: Final = 2000
_FEWEST_POINTS: Final = 50


@light
class Asked:
    """``live``: nobody named an end, so the view ends with what lies ahead of now."""

    since: Ms
    until: Ms
    show: tuple[str, ...] = KINDS
    batch: str = ""
    against: str = ""
    live: bool = False

    @property
    def span(self) -> Ms:
        return self.until - self.since

    def over(self, since: Ms, until: Ms) -> Asked:
        """The same of another span, kept within what can be asked for."""
        length = min(max(until - since, SHORTEST), LONGEST)
        middle = (since + until) // 2
        begin = max(middle - length // 2, 0)
        return replace(self, since=begin, until=begin + length, live=False)

    def query(self) -> str:
        """The query that asks for this again, which is how a link keeps the view."""
        parts = {"since": as_rfc3339(self.since // 1000 * 1000), "until": as_rfc3339(self.until // 1000 * 1000)}
        if self.show != KINDS:
            parts["show"] = ",".join(self.show)
        if self.batch:
            parts["batch"] = self.batch
        if self.against:
            parts["against"] = self.against
        return urlencode(parts, safe=":,")


def read_asked(given: Mapping[str, str], now: Ms, usual: tuple[Ms, Ms]) -> Asked:
    """From the query of a link; ``usual`` is the span where none is named. Raises Trouble saying what is allowed.

    An end without a begin, or the other way round, is a day long.
    """
    since, until = _instant("since", given), _instant("until", given)
    begin, end = usual
    if since is not None:
        begin, end = since, until if until is not None else since + USUAL
    elif until is not None:
        begin, end = until - USUAL, until
    if end - begin < SHORTEST:
        raise Trouble(
            400,
            f"The view would go from {as_rfc3339(begin)} to {as_rfc3339(end)}; "
            f"it must be at least {SHORTEST // MINUTE} min long, with since before until.",
            INVALID,
        )
    if end - begin > LONGEST or end > now + FURTHEST_AHEAD or begin < 0:
        raise Trouble(
            400,
            f"The view would go from {as_rfc3339(begin)} to {as_rfc3339(end)}; allowed are at most 50 years, "
            "from 1970 on and not further ahead than two years.",
            INVALID,
        )
    batch, against = (given.get(name, "").strip()[:120] for name in ("batch", "against"))
    if against and not batch:
        batch, against = against, ""
    live = since is None and until is None and end >= now
    return Asked(begin, end, _kinds(given), batch, "" if against == batch else against, live)


def read_points(given: Mapping[str, str], usual: int) -> int:
    """How many points of a probe there is room for. Raises Trouble."""
    text = given.get("points", "")
    if not text:
        return usual
    if not (text.isascii() and text.isdigit() and len(text) <= 5):
        raise Trouble(400, f'points: found "{text[:40]}"; allowed is a whole number from 50 to {MOST_POINTS}.', INVALID)
    return min(max(int(text), _FEWEST_POINTS), MOST_POINTS)


def _instant(name: str, given: Mapping[str, str]) -> Ms | None:
    text = given.get(name, "").strip()
    if not text:
        return None
    if " " in text and "+" not in text:
        text = text.replace(" ", "+")  # a zone ahead of Greenwich, whose sign a link did not keep
    try:
        return rfc3339(text)
    except NotAnInstant as problem:
        raise Trouble(400, f"{name}: {problem}", INVALID) from problem


def _kinds(given: Mapping[str, str]) -> tuple[str, ...]:
    """``show`` may come once with commas or several times with one kind each, as a form sends it."""
    texts = given.getlist("show") if hasattr(given, "getlist") else [given.get("show", "")]
    wanted = [kind.strip() for text in texts for kind in text.split(",") if kind.strip()]
    strange = [kind for kind in wanted if kind not in KINDS]
    if strange:
        raise Trouble(
            400, f'show: found "{strange[0][:40]}"; allowed are {", ".join(KINDS)}, with commas between.', INVALID
        )
    return tuple(kind for kind in KINDS if kind in wanted) or KINDS


@light
class Move:
    """A way to another view: ``do`` is its name for the script, ``query`` where it leads without one."""

    do: str
    label: str
    query: str


def moves(asked: Asked, now: Ms) -> tuple[Move, ...]:
    """Earlier, later, closer, wider and back to now."""
    half, quarter = asked.span // 2, asked.span // 4
    since, until = asked.since, asked.until
    return (
        Move("earlier", "Earlier", asked.over(since - half, until - half).query()),
        Move("later", "Later", asked.over(since + half, until + half).query()),
        Move("closer", "Closer", asked.over(since + quarter, until - quarter).query()),
        Move("wider", "Wider", asked.over(since - half, until + half).query()),
        Move("now", "Now", asked.over(now - asked.span, now).query()),
    )


def spans(asked: Asked, now: Ms) -> tuple[tuple[str, str, bool], ...]:
    """Label, query and whether it is the one shown: lengths that end now."""
    return tuple(
        (label, asked.over(now - length, now).query(), math.isclose(asked.span, length, rel_tol=0.02))
        for label, length in SPANS
    )
