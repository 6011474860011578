"""What is known of other rooms: the newest each of them told, when that was heard, and whether it still counts. Pure.

Anybody who may publish at the broker may tell anything here; so it is bounded, and our own room is never among it.
"""

from __future__ import annotations

from dataclasses import field
from typing import TYPE_CHECKING, Any, Final, Literal

from monitor.core.light import light
from monitor.core.model import MINUTE, SECOND, Ms
from monitor.core.wording import rfc3339

if TYPE_CHECKING:
    from collections.abc import Mapping

Status = Literal["", "up", "stopped", "lost"]
State = Literal["here", "heard", "silent", "stopped", "lost", "never", "unreadable"]
"""``here``: our own. ``silent``: no news for three periods and a minute. ``stopped``: on purpose. ``lost``: its broker has lost
it. ``never``: it is awaited and has told nothing yet. ``unreadable``: what it told cannot be read."""

MOST_ROOMS: Final = 50


@light
class News:
    """A summary that was read. ``time`` is when it was written, by the clock of its room; ``every`` how often one comes."""

    site: str
    run: str
    time: Ms
    every: Ms
    page: str
    told: Mapping[str, Any]


@light(frozen=False)
class _Room:
    status: Status = ""
    news: News | None = None
    heard: Ms | None = None
    unreadable: str = ""

    def state(self, now: Ms) -> State:
        if self.unreadable:
            return "unreadable"
        if self.status in ("stopped", "lost"):
            return self.status
        if self.news is None or self.heard is None:
            return "never"
        return "heard" if now - self.heard <= 3 * self.news.every + MINUTE else "silent"


@light(frozen=False)
class Rooms:
    """``awaited`` are shown before they told anything; when there are any, no others are shown. Times are wall clock."""

    own: str
    run: str
    began: Ms
    awaited: tuple[str, ...] = ()
    beyond: int = 0  # rooms for which there was no place
    doubled: bool = False  # another monitor publishes under our own name
    _rooms: dict[str, _Room] = field(default_factory=dict)
    _left_out: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        for site in self.awaited:
            self._room(site)

    def status(self, site: str, word: Status) -> None:
        """The word of a status topic; empty when it was cleared."""
        room = self._room(site)
        if room is not None:
            room.status = word
            self._forget_if_empty(site)

    def news(self, news: News, arrived: Ms, *, live: bool) -> None:
        """What a room told. Kept at the broker it is as old as it says; so is a first one, which a bridge may have repeated."""
        if news.site == self.own:
            # A second monitor of our name. What was kept there from an earlier run of ours is older than this run.
            self.doubled |= live and news.run != self.run and news.time > self.began
            return
        room = self._room(news.site)
        if room is None:
            return
        before = room.news
        passed_on = live and before is not None and before.time != news.time
        if passed_on or before is None or before.time != news.time:
            room.heard = arrived if passed_on else min(news.time, arrived)
        room.news, room.unreadable = news, ""

    def unreadable(self, site: str, why: str) -> None:
        room = self._room(site)
        if room is not None:
            room.news, room.heard, room.unreadable = None, None, why

    def cleared(self, site: str) -> None:
        """Its summary was taken away from the broker."""
        room = self._room(site)
        if room is not None:
            room.news, room.heard, room.unreadable = None, None, ""
            self._forget_if_empty(site)

    def documents(self, now: Ms) -> list[dict[str, Any]]:
        """All other rooms by name, ready for JSON."""
        return [_document(site, room, now) for site, room in sorted(self._rooms.items())]

    def _room(self, site: str) -> _Room | None:
        if site == self.own or (self.awaited and site not in self.awaited):
            return None
        if site not in self._rooms:
            if len(self._rooms) >= MOST_ROOMS:
                if len(self._left_out) < MOST_ROOMS:
                    self._left_out.add(site)
                self.beyond = len(self._left_out)
                return None
            self._rooms[site] = _Room()
        return self._rooms[site]

    def _forget_if_empty(self, site: str) -> None:
        room = self._rooms[site]
        if not room.status and room.news is None and not room.unreadable and site not in self.awaited:
            del self._rooms[site]


def own_document(told: Mapping[str, Any], page: str, now: Ms) -> dict[str, Any]:
    """Our own room as it stands beside the others; ``told`` is its summary."""
    return _shape(str(told["site"]), "here", page, now, now, told)


def _document(site: str, room: _Room, now: Ms) -> dict[str, Any]:
    news = room.news
    made = _shape(
        site, room.state(now), "" if news is None else news.page, room.heard, now, None if news is None else news.told
    )
    return made | {"reason": room.unreadable}


def _shape(
    site: str, state: State, page: str, heard: Ms | None, now: Ms, told: Mapping[str, Any] | None
) -> dict[str, Any]:
    return {
        "site": site,
        "state": state,
        "page": page or None,
        "heard": None if heard is None else rfc3339(heard),
        "age_s": None if heard is None else max(now - heard, 0) // SECOND,
        "reason": "",
        "told": told,
    }
