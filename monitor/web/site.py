"""What all handlers share: the desk, who may come in, and the templates."""

from __future__ import annotations

import asyncio
import hashlib
import hmac
import secrets
import time
from dataclasses import field
from functools import wraps
from typing import TYPE_CHECKING, Any, Final, TypeVar
from urllib.parse import quote
from zoneinfo import ZoneInfo

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape
from starlette.responses import HTMLResponse, RedirectResponse, Response

from monitor.core.light import light
from monitor.core.model import MINUTE, Refused
from monitor.core.undo import WITHIN
from monitor.store.errors import StoreError
from monitor.web import words
from monitor.web.access import Attempts, Gate
from monitor.web.assets import Assets
from monitor.web.bodies import instant_trouble
from monitor.web.food_view import food_line
from monitor.web.given import invalid
from monitor.web.problems import KEEPERS, NO_ANSWER, REFUSED, Trouble
from monitor.web.rights import LOOKING_ONLY, MAY, NOTHING, TOLD, Role, Scope, allows, usual
from monitor.web.tokens import listed
from monitor.web.view import BenchView, make_view
from monitor.web.when import NotAnInstant, parse_when

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable

    from starlette.datastructures import FormData
    from starlette.requests import Request

    from monitor.core.model import Ms
    from monitor.store.record import Record
    from monitor.web.desk import Command, Desk
    from monitor.web.options import WebOptions

    Handler = Callable[[Request], Awaitable[Response]]
    FormHandler = Callable[[Request, dict[str, str]], Awaitable[Response]]

Answer = TypeVar("Answer")

PAGES: Final = (
    ("/", "Bench", True),
    ("/food", "Food", True),
    ("/trends", "Trends", True),
    ("/batches", "Batches", True),
    ("/broods", "Broods", False),
    ("/tins", "Tins", False),
    ("/costs", "Costs", False),
    ("/count", "Count", False),
    ("/salt", "Salt", False),
    ("/guide", "Guide", False),
    ("/report", "Report", False),
    ("/checkup", "Check-up", False),
    ("/phones", "Phones", False),
)
"""Where each page is, its short name, and whether it is wanted so often that a phone shows it beside the thumb."""
ROOMS: Final = ("/rooms", "Rooms", False)
"""Where other rooms are shown."""
DECISION_TIMEOUT: Final = 10.0
"""Seconds a command may take before the keeper is told that nothing answers."""

UNDONE_FOR: Final = f"A slip can be undone for {WITHIN // MINUTE} min."
_BENCH: Final = ("frame.html", "bench.html", "shapes.html", "parts.html", "cold.html")
_KNOWN: Final = 64
"""So many views are known by their marks: a page that has just been loaded is not sent again what it holds."""
_SHAPE: Final = "top needs alarms"
"""The parts of every bench, in their order."""


def _environment(assets: Assets, *, may_act: bool) -> Environment:
    environment = Environment(
        loader=PackageLoader("monitor.web"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    environment.filters["path"] = lambda text: quote(str(text), safe="")
    environment.filters["codes"] = _codes
    environment.filters["unbroken"] = words.unbroken
    environment.globals.update(
        asset=assets.path, pages=PAGES, sights=words.SIGHTS, waits=words.WAITS, still_rings=words.STILL_RINGS
    )
    environment.globals.update(reasons=words.REASONS, undone_for=UNDONE_FOR, may_act=may_act)
    return environment


def _codes(text: str) -> Markup:
    """What stands between backticks as code; all else as text."""
    parts = (
        Markup("<code>{}</code>").format(part) if n % 2 else escape(part) for n, part in enumerate(text.split("`"))
    )
    return Markup("").join(parts)


@light
class Rendered:
    """The live parts of one view, as they go to every open page. Their forms carry no CSRF token; the script puts it in."""

    version: int
    name: str  # of this view, in this run of the service
    view: BenchView
    parts: dict[str, Markup]
    marks: dict[str, str]  # what each part says, in few bytes


@light(frozen=False)
class Site:
    desk: Desk
    options: WebOptions
    gate: Gate
    closing: asyncio.Event = field(default_factory=asyncio.Event)
    assets: Assets = field(default_factory=Assets)
    attempts: Attempts = field(default_factory=lambda: Attempts(time.monotonic))
    _templates: dict[bool, Environment] = field(init=False)
    _newest: dict[bool, Rendered] = field(init=False, default_factory=dict)
    _run: str = field(init=False, default_factory=lambda: secrets.token_hex(4))
    _known: dict[str, dict[str, str]] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        # Two of each: whoever only looks gets no button, on whatever page. A template is compiled when it is first shown.
        self._templates = {may_act: _environment(self.assets, may_act=may_act) for may_act in (True, False)}
        if self.options.rooms:
            for templates in self._templates.values():
                templates.globals["pages"] = sorted((ROOMS, *PAGES), key=lambda page: not page[2])

    def compile_bench(self) -> None:
        """What everybody sees first, ahead of the first who asks: compiling takes memory that can be given back then."""
        for name in _BENCH:
            self._templates[True].get_template(name)

    # --- saying

    def render_parts(self, view: BenchView, csrf: str, *, may_act: bool = True) -> dict[str, Markup]:
        macros: Any = self.macros("parts.html", may_act=may_act)
        parts = {"top": macros.top(view, csrf), "needs": macros.needs(view, csrf), "alarms": macros.alarms(view)}
        parts.update({vessel.key: macros.vessel(vessel, csrf) for vessel in view.vessels})
        cold: Any = self.macros("cold.html", may_act=may_act)
        parts.update({store.key: cold.store(store, csrf) for store in view.stores})
        return parts

    def newest(self, *, may_act: bool = True) -> Rendered:
        """Rendered once per view, however many pages are open; once more for those who only look."""
        version = self.desk.version()
        newest = self._newest.get(may_act)
        if newest is None or newest.version != version:
            bench = self.desk.bench()
            view = make_view(bench, food_line(self.desk.food(), bench))
            parts = self.render_parts(view, csrf="", may_act=may_act)
            marks = {key: hashlib.sha256(html.encode()).hexdigest()[:16] for key, html in parts.items()}
            name = f"{self._run}.{version}" if may_act else f"{self._run}.{version}.looking"
            newest = self._newest[may_act] = Rendered(version, name, view, parts, marks)
            self._known[name] = marks
            while len(self._known) > _KNOWN:
                del self._known[next(iter(self._known))]
        return newest

    def known_parts(self, name: str) -> dict[str, str]:
        """The marks of a view that a page may still hold; empty for one of long ago or of an earlier run."""
        return self._known.get(name, {})

    def build(self, view: BenchView) -> str:
        """Changes when an open page no longer fits: other style or script, other vessels, another zone."""
        shape = "\n".join(
            (
                self.assets.build,
                _SHAPE,
                view.site,
                view.zone,
                *(vessel.id for vessel in view.vessels),
                *(store.id for store in view.stores),
            )
        )
        return hashlib.sha256(shape.encode()).hexdigest()[:12]

    def macros(self, template: str, *, may_act: bool = True) -> Any:
        """The macros of a template, for parts of a page that are fetched by themselves."""
        return self._templates[may_act].get_template(template).module

    def page(self, request: Request, template: str, status: int = 200, **values: Any) -> HTMLResponse:
        role = self.role(request)
        known = {
            "site": self.desk.bench()["site"],
            "csrf": csrf_token(request),
            "login_needed": self.options.login_needed and role is not None,
            "here": request.url.path,
        }
        html = self._templates[role is not Role.VIEWER].get_template(template).render(known | values)
        return HTMLResponse(html, status)

    def open_to_all(self, template: str, status: int = 200, **values: Any) -> HTMLResponse:
        """A page that belongs to no session: it reads no cookie and sets none."""
        known = {"site": self.desk.bench()["site"], "csrf": "", "login_needed": False, "here": ""}
        html = self._templates[True].get_template(template).render(known | values)
        return HTMLResponse(html, status)

    def back(self, request: Request, told: str, kind: str = "noted", to: str = "/") -> RedirectResponse:
        """To a page that says once what was done, or that it was refused."""
        request.session["flash"] = {"text": told[:300], "kind": kind}
        return RedirectResponse(to, 303)

    # --- doing

    def when(self, given: dict[str, str]) -> Ms:
        """The instant of a form's field ``when``. Raises Trouble."""
        bench = self.desk.bench()
        try:
            return parse_when(given.get("when", ""), bench["now_ms"], ZoneInfo(bench["timezone"]))
        except NotAnInstant as problem:
            raise invalid(f"When: {problem}") from problem

    @property
    def now(self) -> Ms:
        """As the bench counts time, which may be simulated."""
        return int(self.desk.bench()["now_ms"])

    async def do(self, command: Command) -> dict[str, Any]:
        """Raises Trouble when the bench refuses, or nobody decides in time."""
        try:
            return await asyncio.wait_for(self.desk.do(command), DECISION_TIMEOUT)
        except Refused as refused:
            raise Trouble(409, str(refused), REFUSED) from refused
        except TimeoutError:
            raise Trouble(
                503,
                f"The service did not answer within {DECISION_TIMEOUT:g} s. Look at the bench whether it was noted.",
                NO_ANSWER,
                headers={"Retry-After": "10"},
            ) from None

    async def why(self, alarm: str) -> dict[str, Any]:
        """Raises Trouble for an alarm that cannot be, or when nobody answers in time."""
        try:
            return await asyncio.wait_for(self.desk.why(alarm), DECISION_TIMEOUT)
        except Refused as refused:
            raise Trouble(404, f"{str(refused)[:300]}.") from refused
        except TimeoutError:
            raise Trouble(503, "The service did not answer in time. Try again.", NO_ANSWER) from None

    async def checkup(self) -> dict[str, Any]:
        """Raises Trouble when nobody answers in time."""
        try:
            return await asyncio.wait_for(self.desk.checkup(), DECISION_TIMEOUT)
        except Refused as refused:
            raise Trouble(503, str(refused), REFUSED, headers={"Retry-After": "10"}) from refused
        except TimeoutError:
            told = "The service did not answer in time. Try again."
            raise Trouble(503, told, NO_ANSWER, headers={"Retry-After": "10"}) from None

    async def report(self, days: int) -> dict[str, Any]:
        """Raises Trouble when the record cannot be read."""
        try:
            return await self.desk.report(days)
        except Refused as refused:
            raise Trouble(503, str(refused), REFUSED, headers={"Retry-After": "60"}) from refused

    async def look_up(self, question: Callable[[Record], Answer]) -> Answer:
        """Ask the record in another thread. Raises Trouble when it cannot be read just now."""
        try:
            return await asyncio.to_thread(question, self.desk.record)
        except StoreError as problem:
            told = f"The record cannot be read just now: {problem}"
            raise Trouble(503, told, NO_ANSWER, headers={"Retry-After": "10"}) from problem

    async def try_channels(self) -> list[dict[str, Any]]:
        """Raises Trouble while somebody else tries them. Ends by itself."""
        try:
            return await self.desk.try_channels()
        except Refused as refused:
            raise Trouble(409, str(refused), REFUSED) from refused

    # --- letting in

    def role(self, request: Request) -> Role | None:
        """Who looks at a page; None before the log-in. Without a password everybody on this machine is the keeper."""
        return self.gate.role_of(request.session.get("in")) if self.options.login_needed else Role.KEEPER

    def scopes(self, request: Request) -> frozenset[Scope]:
        """What whoever asks may do by now: a stream that was begun ends when that is nothing any more."""
        offered = _offered(request)
        if offered is not None:
            return self.gate.scopes(offered) or NOTHING
        role = self.role(request)
        return NOTHING if role is None else MAY[role]

    def api(self, handler: Handler, needs: Scope | None = None) -> Handler:
        """For programs: a token with the scope that it ``needs``, or a page's session with its CSRF token."""

        @wraps(handler)
        async def guarded(request: Request) -> Response:
            self._admit(request, needs or usual(request.method))
            check_media(request)
            try:
                return await handler(request)
            except NotAnInstant as problem:
                raise instant_trouble(problem) from problem

        return guarded

    def open_page(self, handler: Handler, needs: Scope = Scope.READ) -> Handler:
        """For people who look: log in first where that is asked for. A page that holds a form alone ``needs`` more."""

        @wraps(handler)
        async def guarded(request: Request) -> Response:
            role = self.role(request)
            if role is None:
                return RedirectResponse("/login", 303)
            if not allows(MAY[role], needs):
                raise Trouble(403, LOOKING_ONLY, KEEPERS)
            return await handler(request)

        return guarded

    def form(self, handler: FormHandler, *, before_login: bool = False, viewers: bool = False) -> Handler:
        """For people who act: logged in as the keeper, unless ``viewers`` may too, and from a form of this page."""

        @wraps(handler)
        async def guarded(request: Request) -> Response:
            role = self.role(request)
            if role is None and not before_login:
                return RedirectResponse("/login", 303)
            async with request.form(max_files=0, max_fields=40, max_part_size=8192) as given:
                fields = _texts(given)
            check_csrf(request, fields.get("csrf", ""))
            if role is Role.VIEWER and not (before_login or viewers):
                raise Trouble(403, LOOKING_ONLY, KEEPERS)
            return await handler(request, fields)

        return guarded

    def _admit(self, request: Request, needed: Scope) -> None:
        """Raises Trouble for whoever may not do this."""
        offered = _offered(request)
        if offered is not None:
            scopes = self.gate.scopes(offered)
            if scopes is None:
                raise Trouble(401, "This token is none of this service's.", headers={"WWW-Authenticate": "Bearer"})
            if not allows(scopes, needed):
                # RFC 6750, section 3.1
                header = f'Bearer error="insufficient_scope", scope="{needed}"'
                told = f'This needs a token with the scope "{needed}" ({TOLD[needed]}); this one has: {listed(scopes)}.'
                raise Trouble(403, told, headers={"WWW-Authenticate": header})
            return
        role = self.role(request)
        if role is None:
            raise Trouble(401, "Log in, or send a token.", headers={"WWW-Authenticate": "Bearer"})
        if request.method not in ("GET", "HEAD"):
            check_csrf(request, request.headers.get("x-csrf-token", ""))
        if not allows(MAY[role], needed):
            raise Trouble(403, LOOKING_ONLY, KEEPERS)


def _offered(request: Request) -> str | None:
    """The token that was sent, None where none was."""
    kind, _, offered = request.headers.get("authorization", "").partition(" ")
    return offered.strip() if kind.lower() == "bearer" else None


def _texts(given: FormData) -> dict[str, str]:
    return {name: value for name, value in given.items() if isinstance(value, str)}


def csrf_token(request: Request) -> str:
    """The token of this session, made with its first page."""
    token = request.session.get("csrf")
    if not isinstance(token, str):
        token = request.session["csrf"] = secrets.token_urlsafe(24)
    return token


def check_csrf(request: Request, offered: str) -> None:
    """Raises Trouble unless ``offered`` is the token of this session."""
    token = request.session.get("csrf")
    if not isinstance(token, str) or not hmac.compare_digest(token.encode(), offered.encode("utf-8", "replace")):
        raise Trouble(403, "This form is too old, or its cookie was not sent. Open the page anew and try again.")


def check_media(request: Request) -> None:
    """Raises Trouble for a body that says that it is something other than JSON; what says nothing is taken at its word."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind and request.method not in ("GET", "HEAD") and kind != "application/json":
        told = f'The body is said to be "{kind[:60]}"; send JSON with Content-Type: application/json.'
        raise Trouble(415, told, headers={"Accept": "application/json"})
