"""Errors as RFC 9457 problem details for programs, and as a page for people."""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING, Any

from starlette.responses import JSONResponse

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from starlette.requests import HTTPConnection


class Trouble(Exception):  # noqa: N818  (it is an answer)
    """A request that is answered with a problem: an HTTP status, and what to tell whoever asked."""

    def __init__(
        self,
        status: int,
        detail: str,
        kind: str = "about:blank",
        errors: Sequence[Mapping[str, str]] = (),
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(detail)
        self.status, self.detail, self.kind = status, detail, kind
        self.errors, self.headers = tuple(errors), dict(headers or {})

    @property
    def title(self) -> str:
        return _TITLES.get(self.kind, HTTPStatus(self.status).phrase)


REFUSED = "urn:swimup:problem:refused"
INVALID = "urn:swimup:problem:invalid"
NO_ANSWER = "urn:swimup:problem:no-answer"
KEEPERS = "urn:swimup:problem:keepers"
_TITLES = {
    REFUSED: "The bench says no",
    INVALID: "Not understood",
    NO_ANSWER: "No answer in time",
    KEEPERS: "Only the keeper acts",
}


def field_trouble(field: str, told: str) -> Trouble:
    """What cannot be reckoned with in a body, with the field that it is about."""
    return Trouble(422, told, INVALID, [{"pointer": f"#/{field}", "detail": told}])


def wants_problem(connection: HTTPConnection) -> bool:
    """Whether a program asks: everything under /api, the event stream, and what a monitoring system gathers."""
    return connection.url.path.startswith(("/api/", "/events", "/metrics"))


def problem_response(trouble: Trouble) -> JSONResponse:
    body: dict[str, Any] = {
        "type": trouble.kind,
        "title": trouble.title,
        "status": trouble.status,
        "detail": trouble.detail,
    }
    if trouble.errors:
        body["errors"] = list(trouble.errors)
    return JSONResponse(
        body,
        trouble.status,
        media_type="application/problem+json",
        headers={"Cache-Control": "no-store", **trouble.headers},
    )
