"""The web application: pages, API and event stream over one desk."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Final

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.sessions import SessionMiddleware
from starlette.requests import ClientDisconnect
from starlette.responses import PlainTextResponse, Response
from starlette.routing import BaseRoute, Match, Mount, Route
from uvicorn.middleware.proxy_headers import ProxyHeadersMiddleware

from monitor.web.access import Gate
from monitor.web.acting import Acting
from monitor.web.alarm_pages import AlarmPages
from monitor.web.api import Api
from monitor.web.batch_list import BatchList
from monitor.web.batch_pages import BatchPages
from monitor.web.broods import Broods
from monitor.web.calendar_page import CalendarPage
from monitor.web.checkup import Checkup
from monitor.web.costs import CostPages
from monitor.web.counts import Counts
from monitor.web.feeding import Feeding
from monitor.web.food_page import FoodPage
from monitor.web.guard import SECURITY_HEADERS, Guard
from monitor.web.harvesting import Harvesting
from monitor.web.history import History
from monitor.web.home_screen import HomeScreen
from monitor.web.ledger import Ledger
from monitor.web.links import Links
from monitor.web.live import Live
from monitor.web.pages import Pages
from monitor.web.plan_api import PlanApi
from monitor.web.problems import Trouble, problem_response, wants_problem
from monitor.web.push import Push
from monitor.web.renewed import Renewed
from monitor.web.rooms import RoomsPage
from monitor.web.salts import Salts
from monitor.web.site import Site
from monitor.web.starting import Starting
from monitor.web.stores import Stores
from monitor.web.tins import Tins
from monitor.web.trends import Trends
from monitor.web.undoing import Undoing
from monitor.web.work import Working

if TYPE_CHECKING:
    from collections.abc import Iterable

    from starlette.requests import Request
    from starlette.types import Scope

    from monitor.notify.pushkey import PushKey
    from monitor.web.desk import Desk
    from monitor.web.options import WebOptions

_SESSION_SECONDS: Final = 30 * 24 * 3600


def make_app(desk: Desk, options: WebOptions, key: PushKey | None = None, gate: Gate | None = None) -> Starlette:
    """The application; with ``key`` phones can be subscribed to pushes. ``state.compile_bench`` makes the first page quick.

    Without a ``gate``, reads password hash, token and session key at once; raises WebProblem when they won't do.
    """
    gate = gate or Gate(options)
    site = Site(desk, options, gate)
    errors = _Errors(site)
    push = Push(site, key)
    api = Api(site)
    batches = BatchPages(site)
    plan = PlanApi(site)
    acting = Acting(site, Links.kept(options.link_key_file, options.address)).routes() if options.address else []
    app = Starlette(
        routes=[
            *Pages(site).routes(),
            *FoodPage(site).pages(),
            *CalendarPage(site).pages(),
            *Starting(site).routes(),
            *Harvesting(site, batches).routes(),
            *BatchList(site).routes(),
            *batches.routes(),
            *AlarmPages(site).routes(),
            *Checkup(site).pages(),
            *Trends(site).routes(),
            *push.routes(),
            *HomeScreen(site).routes(),
            *acting,
            *Counts(site).pages(),
            *Salts(site).pages(),
            *Stores(site).pages(),
            *Tins(site).pages(),
            *Ledger(site).pages(),
            *Feeding(site).pages(),
            *Broods(site).pages(),
            *Working(site).pages(),
            *Undoing(site).pages(),
            *RoomsPage(site).pages(),
            *plan.pages(),
            *CostPages(site).pages(),
            *api.outside(),
            Route("/events", site.api(Live(site).events)),
            Route("/static/{name}", site.assets.serve),
            Mount(
                "/api/v1",
                routes=[
                    *History(site).routes(),
                    *api.routes(),
                    *push.api_routes(),
                    *Checkup(site).api(),
                    *Counts(site).api(),
                    *Salts(site).api(),
                    *Stores(site).api(),
                    *Tins(site).api(),
                    *Ledger(site).api(),
                    *Feeding(site).api(),
                    *Broods(site).api(),
                    *Working(site).api(),
                    *Undoing(site).api(),
                    *RoomsPage(site).api(),
                    *plan.api(),
                    *CostPages(site).api(),
                ],
            ),
        ],
        middleware=[
            # Who calls is what the connection says, unless a proxy is named whose word on that counts.
            *([Middleware(ProxyHeadersMiddleware, trusted_hosts=list(options.proxies))] if options.proxies else []),
            Middleware(Guard, options=options),
            Middleware(Renewed, desk=desk),
            Middleware(
                SessionMiddleware,
                secret_key=gate.session_key,
                session_cookie=_cookie_name(gate, options),
                max_age=_SESSION_SECONDS,
                same_site="lax",
                https_only=options.secure,
            ),
        ],
        exception_handlers={
            Trouble: errors.trouble,
            HTTPException: errors.http,
            ClientDisconnect: errors.gone,
            500: errors.broken,
        },
    )
    app.state.closing = site.closing
    app.state.compile_bench = site.compile_bench
    return app


def _cookie_name(gate: Gate, options: WebOptions) -> str:
    """Its own for each service: browsers don't tell ports apart, and two services on one machine must not log each other out."""
    own = hashlib.sha256(f"cookie name of {gate.session_key}".encode()).hexdigest()[:8]
    return f"__Host-swimup-{own}" if options.secure else f"swimup-{own}"


def _methods(routes: Iterable[BaseRoute], scope: Scope) -> set[str]:
    """All that an address takes, whichever of its routes takes it."""
    found: set[str] = set()
    for route in routes:
        match, inner = route.matches(scope)
        if match is Match.NONE:
            continue
        if isinstance(route, Mount):
            found |= _methods(route.routes, {**scope, **inner})
        elif isinstance(route, Route):
            found |= route.methods or set()
    return found


class _Errors:
    def __init__(self, site: Site) -> None:
        self._site = site

    def _answer(self, request: Request, trouble: Trouble) -> Response:
        if wants_problem(request):
            return problem_response(trouble)
        response: Response = self._site.page(
            request, "message.html", trouble.status, title=trouble.title, detail=trouble.detail
        )
        response.headers.update(trouble.headers)
        return response

    async def trouble(self, request: Request, problem: Exception) -> Response:
        assert isinstance(problem, Trouble)  # noqa: S101  (registered for this kind only)
        return self._answer(request, problem)

    async def http(self, request: Request, problem: Exception) -> Response:
        assert isinstance(problem, HTTPException)  # noqa: S101
        if problem.status_code == 405:
            allowed = ", ".join(sorted(_methods(request.app.routes, {**request.scope, "root_path": ""})))
            told = f"This address does not take {request.method}; allowed: {allowed}."
            return self._answer(request, Trouble(405, told, headers={"Allow": allowed}))
        told = "There is nothing at this address." if problem.status_code == 404 else problem.detail
        return self._answer(request, Trouble(problem.status_code, told, headers=problem.headers))

    async def gone(self, _request: Request, _problem: Exception) -> Response:
        """Whoever asked left before all of it had come: no fault, and nobody hears this."""
        return Response(status_code=400)

    async def broken(self, request: Request, _problem: Exception) -> Response:
        """A fault of ours. It is answered outside the guard and the session, so it is kept plain."""
        trouble = Trouble(500, "The page has a fault; the service's log says more. Alerts go on without the page.")
        response = problem_response(trouble) if wants_problem(request) else PlainTextResponse(trouble.detail, 500)
        response.headers.update(SECURITY_HEADERS)
        return response
