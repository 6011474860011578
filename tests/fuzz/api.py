"""The API by its own description, against the real process: whatever is sent, each answer is one that was described."""

from __future__ import annotations

import sys
from contextlib import suppress
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final
from unittest import SkipTest

import click
import httpx
import requests
import schemathesis
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from schemathesis.core.failures import AcceptedNegativeData, FailureGroup
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    negative_data_rejection,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from tests.adapters.web.described import DOCUMENT, faults
from tests.fuzz.served import BASE, IDS, SILENCE_S, Shed

if TYPE_CHECKING:
    from collections.abc import Iterator

    from schemathesis import APIOperation, Case

CHECKS: Final = (
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    negative_data_rejection,
)
ENDLESS: Final = "/events"
TIMES: Final = ("time", "bought", "opened", "swam_up")
"""What need not be said of a body."""
METHODS: Final = ("get", "post", "put", "patch", "delete")
HEAD: Final = "| operation | requests | taken | refused | faults |\n|---|---|---|---|---|"


@dataclass(slots=True)
class Tried:
    """What requests to one operation came to. ``faults``: each kind once, with what was sent."""

    operation: str
    requests: int = 0
    taken: int = 0
    faults: dict[str, str] = field(default_factory=dict)

    def line(self) -> str:
        return (
            f"| {self.operation} | {self.requests} | {self.taken} | {self.requests - self.taken} | {len(self.faults)} |"
        )


def operations() -> Iterator[APIOperation[Any, Any, Any, Any]]:
    """All that are described but the stream of events, which has no end."""
    schema = schemathesis.openapi.from_dict(DOCUMENT)
    schema.config.generation.update(with_security_parameters=False)
    for found in schema.get_all_operations():
        operation = found.ok()  # type: ignore[union-attr]  # what is no operation raises here
        if operation.path != ENDLESS:
            yield operation


def attempt(shed: Shed, operation: APIOperation[Any, Any, Any, Any], examples: int, number: int) -> Tried:
    """So many requests as described, and as many that are not."""
    tried = Tried(f"{operation.method.upper()} {operation.path}")
    session = requests.Session()
    session.trust_env = False
    modes = [GenerationMode.POSITIVE]
    if operation.query or operation.body:  # a path or a tag that is no text cannot be sent
        modes.append(GenerationMode.NEGATIVE)
    for mode in modes:
        with suppress(Unsatisfiable, SkipTest):  # it takes nothing that could be wrong
            _requests(tried, shed, session, operation, mode, examples, number)
    if trouble := shed.alive():
        tried.faults.setdefault("the process", trouble)
    return tried


def _requests(
    tried: Tried,
    shed: Shed,
    session: requests.Session,
    operation: APIOperation[Any, Any, Any, Any],
    mode: GenerationMode,
    examples: int,
    number: int,
) -> None:
    """Raises Unsatisfiable or SkipTest where there is no such request."""

    @seed(number)
    @settings(
        max_examples=examples,
        phases=[Phase.generate],
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(data=st.data())
    def one(data: st.DataObject) -> None:
        case = data.draw(operation.as_strategy(generation_mode=mode))
        if mode is GenerationMode.POSITIVE:
            _meet(case, data)
        try:
            answer = case.call(
                base_url=shed.url + ("" if operation.path == "/metrics" else BASE),
                session=session,
                headers=shed.headers,
                timeout=SILENCE_S,
                allow_redirects=False,
            )
        except requests.RequestException as fault:
            tried.faults.setdefault(type(fault).__name__, f"{fault}"[:300])
            return
        tried.requests += 1
        tried.taken += answer.status_code < 400
        _judge(tried, case, answer)

    one()


def _meet(case: Case[Any], data: st.DataObject) -> None:
    """Half of the time what is asked for is something that is there, and is said to be now: random ones are refused at once."""
    for place in (case.path_parameters, case.query, case.body):
        if isinstance(place, dict):
            for name, known in IDS.items():
                if name in place and data.draw(st.booleans()):
                    place[name] = data.draw(st.sampled_from(known))
    if isinstance(case.body, dict) and data.draw(st.booleans()):
        for name in TIMES:
            case.body.pop(name, None)


def _judge(tried: Tried, case: Case[Any], answer: Any) -> None:
    """An empty parameter of the query is described as one that is not given, which the library does not know."""
    told = f"{answer.request.method} {answer.request.url} {(answer.request.body or b'')[:200]!r}: {answer.text[:200]}"
    if answer.status_code >= 500:
        tried.faults.setdefault(f"status {answer.status_code}", told)
    kind = answer.headers.get("content-type", [""])[0]
    if "json" in kind:
        strictly = httpx.Response(answer.status_code, headers={"Content-Type": kind})
        strictly._content = answer.content
        for fault in faults(strictly, case.operation.path, case.operation.method.lower()):
            tried.faults.setdefault(fault[:120], told)
    try:
        case.validate_response(answer, checks=list(CHECKS))
    except FailureGroup as group:
        for failure in group.exceptions:
            if not (isinstance(failure, AcceptedNegativeData) and "" in (case.query or {}).values()):
                tried.faults.setdefault(type(failure).__name__, f"{told}: {str(failure)[:300]}")


def unguarded(shed: Shed) -> list[str]:
    """Each described address that answers a stranger, though it is not described as open to all."""
    found = []
    with shed.client(token=False) as client:
        for path, place in DOCUMENT["paths"].items():
            for method in place.keys() & set(METHODS):
                open_to_all = place[method]["security"] == [{}]
                url = ("" if "servers" in place else BASE) + path
                for name, known in IDS.items():
                    url = url.replace(f"{{{name}}}", known[0])
                said = {"Content-Type": "application/json"} if method == "post" else {}
                answer = client.request(method, url.replace("{start}", "none"), headers=said, content=b"")
                if (answer.status_code == 401) is open_to_all:
                    found.append(f"{method.upper()} {path} without a token: {answer.status_code}")
    return found


def long_form(inputs: int, number: int) -> list[str]:
    """About so many requests over all operations; prints a table and gives back what was wrong."""
    found: list[str] = []
    every = list(operations())
    with Shed() as shed:
        found += unguarded(shed)
        click.echo(HEAD)
        with click.progressbar(every, label="operations", file=sys.stderr) as bar:
            for operation in bar:
                tried = attempt(shed, operation, max(inputs // len(every) // 2, 1), number)
                click.echo(tried.line())
                found += [f"{tried.operation}: {what}: {told}" for what, told in tried.faults.items()]
    return found
