"""What the form of a harvest shows of counted drops, on the page of a batch."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from monitor.web.counts import usual_drop

if TYPE_CHECKING:
    from starlette.requests import Request

    from monitor.web.count_words import CountView
    from monitor.web.given import Fields


def show(request: Request, answer: CountView) -> None:
    """The page that is made for this request shows what the drops tell."""
    request.state.counted = answer


def harvest_form(request: Request, given: Fields) -> dict[str, Any]:
    """Values for ``harvest_form.html``: what was typed or is usual, and the answer if one was asked for."""
    usual = {"drops": "", "drop": usual_drop(request), "dilution": "1", "cysts_per_g": ""}
    answer = getattr(request.state, "counted", None)
    return {"given": {**usual, **given}, "answer": answer, "open": answer is not None or bool(given.get("drops"))}
