from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any

import pytest
from openapi_spec_validator import OpenAPIV31SpecValidator, validate
from starlette.routing import Mount, Route

from monitor.web.api import DESCRIPTION
from monitor.web.openapi import BASE, written
from tests.adapters.web.described import DOCUMENT, faults, misfits, named
from tests.adapters.web.memory_desk import bad_night

if TYPE_CHECKING:
    from tests.adapters.web.conftest import Served

METHODS = {"get", "post", "put", "patch", "delete"}


def test_the_committed_description_is_what_the_code_says() -> None:
    """Whoever changes an address, a body or an answer writes the description anew."""
    assert DESCRIPTION.read_text() == written(), "python -m monitor.web.openapi > monitor/web/openapi.json"


def test_the_description_is_openapi_3_1() -> None:
    """Any tool that reads the standard reads it; the validator is shown to find a fault."""
    validate(DOCUMENT, cls=OpenAPIV31SpecValidator)
    broken = {**DOCUMENT, "paths": {"/bench": {"get": {"responses": {"200": {}}}}}}
    assert list(OpenAPIV31SpecValidator(broken).iter_errors())


def test_every_address_is_described_and_every_described_address_is_there(served: Served) -> None:
    """Nothing is hidden, nothing is promised that is not there."""
    (mount,) = [one for one in served.app.routes if isinstance(one, Mount) and one.path == BASE]
    routes = [*mount.routes, *(one for one in served.app.routes if isinstance(one, Route) and one.path == "/metrics")]
    there = set()
    for route in routes:
        assert isinstance(route, Route)
        path = re.sub(r"\{(\w+):path\}", r"{\1}", route.path)
        there |= {(method.lower(), path) for method in route.methods or () if method != "HEAD"}
    told = {(method, path) for path, place in DOCUMENT["paths"].items() for method in place.keys() & METHODS}
    assert told == there


def test_the_service_tells_its_description_to_anybody_and_once(served: Served) -> None:
    """A program that has it asks again for nothing."""
    with served.client(token=False) as client:
        answer = client.get("/api/v1/openapi.json")
        assert answer.json() == DOCUMENT
        assert faults(answer, "/openapi.json") == []
        again = client.get("/api/v1/openapi.json", headers={"If-None-Match": answer.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")


@pytest.mark.parametrize(
    ("name", "broken"),
    [
        ("Alarm", {"priority": "urgent"}),
        ("Alarm", {"since": "2026-03-02T01:10:00+01:00"}),
        ("Alarm", {"colour": "red"}),
        ("Measurement", {"unit": "C"}),
        ("Measurement", {"age_s": -1}),
    ],
)
def test_an_answer_that_is_not_as_described_is_found(name: str, broken: dict[str, Any]) -> None:
    """What holds answers against the description can fail."""
    bench = bad_night()
    document = (
        bench["vessels"][0]["water"]
        if name == "Measurement"
        else {**bench["alarms"][0], "deadline": None, "until": None}
    )
    assert misfits(document, named(name)) == []
    assert misfits({**document, **broken}, named(name)) != []


@pytest.mark.parametrize(
    ("method", "path", "place", "body"),
    [
        ("post", "/batches", "/batches", {"cysts_g": -1}),
        ("post", "/batches", "/batches", {"vessel": "ash", "cysts_g": 2}),
        ("post", "/vessels/oak/settling", "/vessels/{vessel}/settling", {}),
        ("post", "/stores/oak/emptied", "/stores/{store}/emptied", {}),
        ("get", "/alarms/no:thing", "/alarms/{alarm}", None),
        ("get", "/push/key", "/push/key", None),
        ("post", "/batches/a%0Ab/harvest", "/batches/{batch}/harvest", {}),
    ],
)
def test_refusals_are_described_too(
    served: Served, method: str, path: str, place: str, body: dict[str, Any] | None
) -> None:
    """A program knows beforehand with what it may be refused, and what such an answer looks like."""
    with served.client() as client:
        answer = client.request(method, f"/api/v1{path}", json=body)
    assert answer.status_code >= 400
    assert faults(answer, place, method) == []


def test_what_is_done_over_the_api_must_be_said_in_json(served: Served) -> None:
    """A form of another program is not taken for JSON: 415 says what is."""
    with served.client() as client:
        answer = client.post("/api/v1/batches", data={"vessel": "ash"})
    assert (answer.status_code, answer.headers["accept"]) == (415, "application/json")
    assert faults(answer, "/batches", "post") == []
    assert "x-www-form-urlencoded" in answer.json()["detail"]
    assert served.desk.done == []


def test_a_method_that_an_address_does_not_take_is_answered_with_all_that_it_takes(served: Served) -> None:
    """405 names them, also where several handlers share an address."""
    with served.client() as client:
        answer = client.delete("/api/v1/batches")
    assert (answer.status_code, answer.headers["allow"]) == (405, "GET, HEAD, POST")
    assert "GET, HEAD, POST" in answer.json()["detail"]
    assert misfits(answer.json(), named("Problem")) == []


@pytest.mark.parametrize("path", ["/bench", "/alarms", "/report?days=3", "/alarms/air-stopped:birch"])
def test_a_view_that_has_not_changed_is_not_sent_again(served: Served, path: str) -> None:
    """A strong ETag: 304 while it holds, the new content as soon as there is any, never from a shared cache."""
    with served.client() as client:
        first = client.get(f"/api/v1{path}")
        tag = first.headers["etag"]
        assert re.fullmatch('"[0-9a-f]{24}"', tag)
        assert first.headers["cache-control"] == "private, no-cache"
        for offered in (tag, f'"x", {tag}', f"W/{tag}", "*"):
            again = client.get(f"/api/v1{path}", headers={"If-None-Match": offered})
            assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", tag)
        assert client.get(f"/api/v1{path}", headers={"If-None-Match": '"other"'}).json() == first.json()


def test_a_new_view_has_a_new_tag(served: Served) -> None:
    """What is cached by version never outlives it."""
    with served.client() as client:
        tag = client.get("/api/v1/bench").headers["etag"]
        served.desk.publish(lambda bench: bench["vessels"][0]["water"].update(value=25.7))
        news = client.get("/api/v1/bench", headers={"If-None-Match": tag})
    assert news.status_code == 200
    assert news.json()["vessels"][0]["water"]["value"] == 25.7
    assert json.loads(news.content) == served.desk.bench()
