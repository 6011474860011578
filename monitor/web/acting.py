"""The page behind the link in a letter: how its alarms stand, and a few big buttons. Looking changes nothing; only POST acts."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Any, Final

from starlette.routing import Route

from monitor.core.alarms import longest_shelf
from monitor.core.light import light
from monitor.core.model import MINUTE, Acknowledge, Priority, Shelve
from monitor.core.plan_words import grams
from monitor.core.rules_plan import DUE
from monitor.web import words
from monitor.web.access import Attempts
from monitor.web.links import Claim, NoLink
from monitor.web.patience import network
from monitor.web.plan_api import PlannedBody
from monitor.web.problems import Trouble
from monitor.web.view import make_view
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from monitor.core.model import Ms
    from monitor.web.bench_alarms import AlarmView
    from monitor.web.links import Links
    from monitor.web.site import Site

SHELF: Final[Ms] = 30 * MINUTE
BY: Final = "link"
BUSY: Final = "Too many tries. Wait a minute, then try again."
EXPIRED: Final = "This link is too old to act by. Open the page itself to see how things stand."
UNKNOWN: Final = "This link is none of this service's, or it was cut off on the way. Open the page itself."


@light
class Shown:
    """An alarm that stands, as the page tells it. ``left``: how long until harm may begin; ``shelf``: what a shelf may last."""

    alarm: AlarmView
    left: str
    shelf: Ms
    stands: bool
    mark: str  # which occurrence this is


class Acting:
    def __init__(self, site: Site, links: Links) -> None:
        self._site = site
        self._links = links
        self._tries = Attempts(time.monotonic, limit=30, window=60.0)

    def routes(self) -> list[Route]:
        return [
            Route("/act/{token}", self.look),
            Route("/act/{token}", self.act, methods=["POST"]),
        ]

    async def look(self, request: Request) -> Response:
        claim = self._claim(request)
        return self._page(claim) if isinstance(claim, Claim) else claim

    async def act(self, request: Request) -> Response:
        claim = self._claim(request)
        if not isinstance(claim, Claim):
            return claim
        self._tries.failed(_caller(request))
        async with request.form(max_files=0, max_fields=10, max_part_size=2048) as given:
            deed, seen = given.get("do"), given.get("seen")
        if deed not in ("acknowledge", "shelve", "started"):
            return self._page(claim, ["Press one of the buttons."], 422)
        there = [one for one in self._shown(claim) if one.stands]
        if isinstance(seen, str) and seen != _mark(there):
            return self._page(claim, ["It has changed since you looked. See how it stands now, then press again."], 409)
        if not there:
            return self._page(claim, status=409)
        if deed == "started":
            return await self._started(claim, there)
        return await self._carry_out(claim, there, shelve=deed == "shelve")

    async def _started(self, claim: Claim, there: list[Shown]) -> Response:
        """What the letter reminded of was done: the batches are begun with the planned values, and no others."""
        done, refused = [], []
        for start in self._due(there):
            told = f"{grams(start['grams'])} of {start['lot']} in {start['vessel']}"
            try:
                await self._site.do(PlannedBody().command(start, self._site.now))
            except Trouble as trouble:
                refused.append(f"{told}: {trouble.detail}")
            else:
                done.append(f"Noted: {told} is started.")
        if not done and not refused:
            refused.append("The plan has changed since. Open the page itself.")
        return self._page(claim, refused, 409 if refused else 200, done)

    def _due(self, there: list[Shown]) -> list[dict[str, Any]]:
        """The planned starts that standing reminders among these are about: the next one of each vessel."""
        vessels = [one.alarm.id.partition(":")[2] for one in there if one.alarm.id.startswith(f"{DUE}:")]
        starts = (self._site.desk.food().get("plan") or {}).get("starts", []) if vessels else []
        found = [next((one for one in starts if one["vessel"] == vessel), None) for vessel in vessels]
        return [one for one in found if one is not None and one["due"] == "now"]

    async def _carry_out(self, claim: Claim, there: list[Shown], *, shelve: bool) -> Response:
        now: Ms = self._site.desk.bench()["now_ms"]
        done, refused = [], []
        for one in there:
            name = one.alarm.id
            if not shelve and not one.alarm.to_acknowledge:
                continue
            if shelve and one.shelf < MINUTE:
                refused.append(f"{one.alarm.title}: there is no time left to put it off.")
                continue
            command = Shelve(now, name, now + one.shelf, BY) if shelve else Acknowledge(now, name, BY)
            try:
                await self._site.do(command)
            except Trouble as trouble:
                refused.append(f"{one.alarm.title}: {trouble.detail}")
            else:
                what = f"Shelved for {words.duration(one.shelf)}" if shelve else "Acknowledged"
                done.append(f"{what}: {one.alarm.title}.")
        if not done and not refused:
            done = ["It was acknowledged before."]
        return self._page(claim, refused, 409 if refused and not done else 200, done)

    # --- helpers

    def _claim(self, request: Request) -> Claim | Response:
        """What the link is for, or the page that says that it is for nothing."""
        caller = _caller(request)
        if self._tries.wait(caller) > 0:
            page = self._message(429, "Wait a minute", BUSY)
            page.headers["Retry-After"] = "60"
            return page
        try:
            return self._links.read(request.path_params["token"])
        except NoLink as no:
            self._tries.failed(caller)
            if no.expired:
                return self._message(410, "This link has expired", EXPIRED)
            return self._message(404, "No such link", UNKNOWN)

    def _message(self, status: int, title: str, detail: str) -> Response:
        return self._site.open_to_all("message.html", status, title=title, detail=detail)

    def _shown(self, claim: Claim) -> list[Shown]:
        bench = self._site.desk.bench()
        now: Ms = bench["now_ms"]
        told = {alarm["id"]: alarm for alarm in bench["alarms"]}
        views = [view for view in make_view(bench).alarms if view.id in claim.alarms]
        return [_shown(view, told[view.id], now) for view in views]

    def _page(
        self, claim: Claim, refused: list[str] | None = None, status: int = 200, done: list[str] | None = None
    ) -> Response:
        shown = self._shown(claim)
        there = [one for one in shown if one.stands]
        return self._site.open_to_all(
            "act.html",
            status,
            shown=shown,
            there=there,
            over=[name for name in claim.alarms if name not in {one.alarm.id for one in there}],
            done=done or [],
            refused=refused or [],
            acknowledges=any(one.alarm.to_acknowledge for one in there),
            starts=self._due(there),
            shelves=min((one.shelf for one in there), default=0),
            seen=_mark(there),
            simulated=self._site.desk.bench()["simulated"],
        )


def _shown(view: AlarmView, alarm: dict[str, Any], now: Ms) -> Shown:
    deadline = None if alarm.get("deadline") is None else rfc3339(alarm["deadline"])
    left = "" if deadline is None else words.duration(deadline - now) if deadline > now else "none"
    longest = longest_shelf(Priority(alarm["priority"]), deadline, now) - now
    stands = alarm["state"] in ("unacknowledged", "acknowledged")
    return Shown(view, left, max(min(SHELF, longest) // MINUTE * MINUTE, 0), stands, f"{alarm['id']} {alarm['since']}")


def _mark(there: list[Shown]) -> str:
    return ", ".join(sorted(one.mark for one in there))


def _caller(request: Request) -> str:
    return network(request.client.host) if request.client else ""
