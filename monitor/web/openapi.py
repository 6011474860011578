"""The description of the API, OpenAPI 3.1. ``python -m monitor.web.openapi > monitor/web/openapi.json`` writes it anew."""

from __future__ import annotations

import json
import re
import sys
from functools import cache
from typing import TYPE_CHECKING, Any, Final

from pydantic.json_schema import models_json_schema

from monitor.web import answers as told
from monitor.web.bench_answers import BenchEvent
from monitor.web.operations import JSON, OPERATIONS, STREAM
from monitor.web.past_answers import PastTransition
from monitor.web.rights import TOLD, Scope

if TYPE_CHECKING:
    from pydantic import BaseModel
    from pydantic.json_schema import JsonSchemaMode

    from monitor.web.operations import Operation

BASE: Final = "/api/v1"
VERSION: Final = "1.3.0"
"""Of the API: the middle number grows with each addition, the first when something is taken away."""
PROBLEM: Final = "application/problem+json"
EVENTS: Final = (BenchEvent, PastTransition)
"""What the events of the stream carry."""
_REF: Final = "#/components/schemas/{model}"
_PLACE: Final = re.compile(r"\{(\w+)\}")

_TEXT: Final = """\
Everything a page or the command line of swimup shows or does, for programs. Times are RFC 3339 in UTC. Units are UCUM codes:
a number stands beside its `unit`, or carries it in its name (`_s` seconds, `_c` Cel, `_g` g, `_g_l` g/L). What is measured comes
with its time and quality, and what is measured now also with its age; of what is past the age follows from its time. Ranges are
central 80 % with their median. New members may come in any object: pass over what you do not know.

Reading is open on the machine itself unless a password is set; acting needs a token with the scope that stands beside it, or
the session of a keeper's page with its token in `X-CSRF-Token`; a viewer's session reads. `swimup token add NAME --scope SCOPE`
makes a token. One that may not do this is answered with 403 and the scope that is missing. Answers with an `ETag` are cheap to
ask again with `If-None-Match`. Lists come in pages: `next` is the cursor for `after`, `Link: rel="next"` the whole address. Every
error is a problem document (RFC 9457).
"""

_TOKENS: Final = (
    "What `swimup token add` has shown, or the content of `cli.token` beside the store, which may do all. Scopes: "
    + ("; ".join(f"`{scope}`: {told}" for scope, told in TOLD.items()) + ".")
)

_MEANS: Final = {
    400: "It is no JSON.",
    401: "Log in, or send the token.",
    403: "The token has not this scope, a viewer wants to act, the form's token is missing, or another site sent it.",
    404: "There is no such thing.",
    409: "The bench says no, and why.",
    413: "The request is too large.",
    415: "It is not said to be JSON.",
    422: "Not understood; `errors` has each fault and its place.",
    503: "No answer just now; `Retry-After` says when to try again.",
}


def document() -> dict[str, Any]:
    """The whole description, ready for JSON."""
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "swimup",
            "version": VERSION,
            "description": _TEXT,
            "license": {"name": "MIT", "identifier": "MIT"},
        },
        "servers": [{"url": BASE}],
        "security": [{"token": [Scope.ADMIN]}],
        "paths": _paths(),
        "components": {
            "schemas": _names()[1],
            "responses": _problems(),
            "headers": {
                "ETag": {"description": "Names exactly this content.", "schema": {"type": "string"}},
                "Link": {
                    "description": 'The address of the next page, rel="next" (RFC 8288).',
                    "schema": {"type": "string"},
                },
            },
            "securitySchemes": {
                "token": {
                    "type": "http",
                    "scheme": "bearer",
                    "description": _TOKENS,
                }
            },
        },
    }


def written() -> str:
    """As it is committed."""
    return json.dumps(document(), indent=1, ensure_ascii=False) + "\n"


def _paths() -> dict[str, Any]:
    paths: dict[str, Any] = {}
    for one in OPERATIONS:
        place = paths.setdefault(one.path, {"servers": [{"url": "/"}]} if one.outside else {})
        names = _PLACE.findall(one.path)
        if names:
            place["parameters"] = [_in_path(name) for name in names]
        place[one.method] = _operation(one)
    return paths


def _in_path(name: str) -> dict[str, Any]:
    return {
        "name": name,
        "in": "path",
        "required": True,
        "description": f"Id of the {name}.",
        "schema": {"type": "string"},
    }


def _operation(one: Operation) -> dict[str, Any]:
    made: dict[str, Any] = {"operationId": one.name, "summary": one.summary}
    if one.text:
        made["description"] = one.text
    if one.open:
        made["security"] = [{}]
    else:
        made["security"] = [*([{}] if one.method == "get" else []), {"token": [one.scope]}]
    parameters = [
        {
            "name": asked.name,
            "in": "query",
            "required": asked.required,
            "description": asked.text,
            "allowEmptyValue": True,  # as if it were not there, which is what a form sends
            "schema": asked.schema,
        }
        for asked in one.query
    ]
    parameters += [_header("If-None-Match", "An ETag you have.")] if one.tagged else []
    parameters += [_header("Last-Event-ID", "The id of the last event you had.")] if one.media == STREAM else []
    if parameters:
        made["parameters"] = parameters
    if one.body is not None:
        needed = any(field.is_required() for field in one.body.model_fields.values())
        made["requestBody"] = {
            "required": needed,
            "content": {"application/json": {"schema": _ref(one.body, "validation")}},
        }
    made["responses"] = _responses(one)
    return made


def _header(name: str, text: str) -> dict[str, Any]:
    return {"name": name, "in": "header", "required": False, "description": text, "schema": {"type": "string"}}


def _responses(one: Operation) -> dict[str, Any]:
    good: dict[str, Any] = {"description": "Done." if one.method != "get" else "As it stands."}
    if one.answer is not None or one.media != JSON:
        schema = _ref(one.answer, "serialization") if one.answer is not None else {"type": "string"}
        good["content"] = {one.media: {"schema": schema}}
    if one.tagged:
        good["headers"] = {"ETag": {"$ref": "#/components/headers/ETag"}}
        if one.answer is not None and "next" in one.answer.model_fields:
            good["headers"]["Link"] = {"$ref": "#/components/headers/Link"}
    responses = {str(one.status): good}
    if one.tagged:
        responses["304"] = {"description": "You have it already."}
    codes = {*one.refusals, *(() if one.open else (401, 403))}
    if _PLACE.search(one.path):
        codes.add(404)  # what can be no id leads to no address
    responses.update({str(code): {"$ref": f"#/components/responses/{_name(code)}"} for code in sorted(codes)})
    responses["default"] = {"$ref": "#/components/responses/Problem"}
    return responses


def _problems() -> dict[str, Any]:
    content = {PROBLEM: {"schema": {"$ref": _REF.format(model="Problem")}}}
    made: dict[str, Any] = {"Problem": {"description": "Any other error.", "content": content}}
    made.update({_name(code): {"description": text, "content": content} for code, text in _MEANS.items()})
    return made


def _name(code: int) -> str:
    return f"Problem{code}"


def _ref(model: type[BaseModel], mode: JsonSchemaMode) -> dict[str, Any]:
    return {"$ref": _REF.format(model=_names()[0][model, mode])}


@cache
def _names() -> tuple[dict[tuple[type[BaseModel], JsonSchemaMode], str], dict[str, Any]]:
    wanted: list[tuple[type[BaseModel], JsonSchemaMode]] = [(told.Problem, "validation")]
    wanted += [(model, "serialization") for model in EVENTS]
    for one in OPERATIONS:
        wanted += [(one.body, "validation")] if one.body is not None else []
        wanted += [(one.answer, "serialization")] if one.answer is not None else []
    places, schemas = models_json_schema(list(dict.fromkeys(wanted)), ref_template=_REF)
    prefix = _REF.format(model="")
    named = {key: places[key]["$ref"].removeprefix(prefix) for key in wanted}
    return named, schemas["$defs"]


if __name__ == "__main__":
    sys.stdout.write(written())
