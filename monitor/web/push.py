"""Alarms on a phone: the page where a keeper subscribes a browser to pushes, and its API."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Annotated, Any, Final
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ConfigDict, Field
from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from monitor.core.model import MINUTE
from monitor.core.phones import Phone, Subscribe, Unsubscribe
from monitor.core.rules_push import PHONES_AT_MOST
from monitor.web import words
from monitor.web.bodies import read_body
from monitor.web.home_screen import WORKER
from monitor.web.options import WebProblem
from monitor.web.problems import INVALID, Trouble
from monitor.web.rights import Scope
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from starlette.requests import Request

    from monitor.notify.pushkey import PushKey
    from monitor.web.site import Site

NOT_CONFIGURED: Final = (
    'Pushes are not switched on: add [[channel]] kind = "webpush" to the configuration, then restart.'
)

Key = Annotated[str, Field(min_length=16, max_length=200, pattern=r"^[A-Za-z0-9_-]+={0,2}$")]


class Keys(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)
    p256dh: Key
    auth: Key


class SubscriptionBody(BaseModel):
    """What a browser's subscription says of itself as JSON, and the name that the keeper gives the phone."""

    model_config = ConfigDict(extra="ignore", frozen=True)
    name: Annotated[str, Field(min_length=1, max_length=40, pattern=r"^[^\x00-\x1f\x7f]+$")]
    endpoint: Annotated[str, Field(min_length=12, max_length=2000)]
    keys: Keys

    def phone(self, now: int) -> Phone:
        """Raises Trouble for an address or keys that no push service has."""
        _check_endpoint(self.endpoint)
        _check_keys(self.keys)
        return Phone(phone_id(self.endpoint), self.name.strip(), self.endpoint, self.keys.p256dh, self.keys.auth, now)


def phone_id(endpoint: str) -> str:
    return hashlib.sha256(endpoint.encode("utf-8", "replace")).hexdigest()[:16]


def _check_endpoint(endpoint: str) -> None:
    """What can be judged without looking a name up; where it leads is judged at each push."""
    try:
        parts = urlsplit(endpoint)
        fits = parts.scheme == "https" and bool(parts.hostname) and parts.username is None and parts.port != 0
        fits = fits and endpoint.isascii() and endpoint.isprintable() and " " not in endpoint
    except ValueError:
        fits = False
    if not fits:
        raise _invalid("/endpoint", "is no https address of a push service")


def _check_keys(keys: Keys) -> None:
    from cryptography.hazmat.primitives.asymmetric import ec  # noqa: PLC0415  (only where a phone is subscribed)

    from monitor.notify.pushing import decoded  # noqa: PLC0415

    try:
        ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), decoded(keys.p256dh))
    except ValueError:
        raise _invalid("/keys/p256dh", "is no public key on P-256") from None
    if len(decoded(keys.auth)) != 16:
        raise _invalid("/keys/auth", "is no secret of 16 bytes")


def _invalid(pointer: str, detail: str) -> Trouble:
    fault = {"pointer": f"#{pointer}", "detail": detail}
    return Trouble(422, f"{pointer[1:]} {detail}", INVALID, [fault])


class Push:
    """``key`` is None where the configuration has no channel to phones."""

    def __init__(self, site: Site, key: PushKey | None) -> None:
        self._site = site
        self._key = key

    def routes(self) -> list[Route]:
        return [
            Route("/phones", self._site.open_page(self.page)),
            Route("/phones/{phone}/remove", self._site.form(self.remove), methods=["POST"]),
        ]

    def api_routes(self) -> list[Route]:
        guard = self._site.api
        return [
            Route("/push/key", guard(self.key)),
            Route("/push/subscriptions", guard(self.phones)),
            Route("/push/subscriptions", guard(self.subscribe, Scope.ADMIN), methods=["POST"]),
            Route("/push/subscriptions/{phone}", guard(self.unsubscribe, Scope.ADMIN), methods=["DELETE"]),
        ]

    # --- pages

    async def page(self, request: Request) -> Response:
        bench = self._site.desk.bench()
        flash = request.session.pop("flash", None) if "flash" in request.session else None
        return self._site.page(
            request,
            "phones.html",
            phones=[_told(phone, bench) for phone in bench.get("phones") or ()],
            most=PHONES_AT_MOST,
            switched_on=self._key is not None,
            problem=NOT_CONFIGURED,
            address=self._site.options.address,
            flash=flash,
            worker=WORKER,
        )

    async def remove(self, request: Request, _given: dict[str, str]) -> Response:
        try:
            await self._remove(request.path_params["phone"])
        except Trouble as trouble:
            return self._site.back(request, trouble.detail, "refused", "/phones")
        return self._site.back(request, "Removed. No more pushes go there.", to="/phones")

    # --- API

    async def key(self, _request: Request) -> Response:
        if self._key is None:
            raise Trouble(404, NOT_CONFIGURED)
        try:
            return JSONResponse({"key": await run_in_threadpool(self._key.public)})
        except WebProblem as problem:
            raise Trouble(503, str(problem)) from problem

    async def phones(self, _request: Request) -> Response:
        return JSONResponse({"phones": self._site.desk.bench().get("phones") or []})

    async def subscribe(self, request: Request) -> Response:
        if self._key is None:
            raise Trouble(404, NOT_CONFIGURED)
        body = read_body(SubscriptionBody, await request.body())
        now = self._site.now
        phone = body.phone(now)
        await self._site.do(Subscribe(now, phone))
        return JSONResponse({"id": phone.id, "name": phone.name}, 201)

    async def unsubscribe(self, request: Request) -> Response:
        await self._remove(request.path_params["phone"])
        return Response(status_code=204)

    async def _remove(self, phone: str) -> None:
        await self._site.do(Unsubscribe(self._site.now, phone))


def _told(phone: dict[str, Any], bench: dict[str, Any]) -> dict[str, Any]:
    zone, now = ZoneInfo(bench["timezone"]), bench["now_ms"]
    since = words.duration(max(now - rfc3339(phone["since"]), MINUTE))
    gone = "" if phone["gone"] is None else words.clock(rfc3339(phone["gone"]), zone)
    return {"id": phone["id"], "name": phone["name"], "since": since, "gone": gone}
