"""The committed description of the API, and answers held against it: more strictly than a program should be."""

from __future__ import annotations

import copy
import json
from typing import TYPE_CHECKING, Any, Final

from jsonschema import Draft202012Validator, FormatChecker

from monitor.web.api import DESCRIPTION
from monitor.web.when import NotAnInstant, rfc3339

if TYPE_CHECKING:
    import httpx

DOCUMENT: Final[dict[str, Any]] = json.loads(DESCRIPTION.read_text())
_FORMATS: Final = FormatChecker()


@_FORMATS.checks("date-time", NotAnInstant)  # type: ignore[untyped-decorator]
def _instant(value: object) -> bool:
    return not isinstance(value, str) or (value.endswith("Z") and rfc3339(value) >= 0)


def _closed(schema: Any) -> Any:
    """The same, but what is not described may not be there."""
    if isinstance(schema, list):
        return [_closed(inner) for inner in schema]
    if not isinstance(schema, dict):
        return schema
    made = {key: _closed(inner) for key, inner in schema.items()}
    return {**made, "additionalProperties": False} if "properties" in made else made


_COMPONENTS: Final = {**copy.deepcopy(DOCUMENT["components"]), "schemas": _closed(DOCUMENT["components"]["schemas"])}


def faults(answer: httpx.Response, path: str, method: str = "get") -> list[str]:
    """What of an answer is not as the description says of this address, which is given as it stands there."""
    told = DOCUMENT["paths"][path][method]["responses"]
    response = told.get(str(answer.status_code))
    if response is None:
        return [f"status {answer.status_code} is not described: {answer.text[:200]}"]
    if "$ref" in response:
        response = DOCUMENT["components"]["responses"][response["$ref"].rpartition("/")[2]]
    content = response.get("content", {})
    media = answer.headers.get("content-type", "").partition(";")[0]
    if not content and not answer.content:
        return []
    if media not in content:
        return [f"{media} is not described"]
    return misfits(answer.json(), content[media]["schema"])


def misfits(document: Any, schema: dict[str, Any]) -> list[str]:
    """Where a document is not as a schema of the description says."""
    validator = Draft202012Validator({**schema, "components": _COMPONENTS}, format_checker=_FORMATS)
    return [f"{fault.json_path}: {fault.message[:300]}" for fault in validator.iter_errors(document)]


def named(name: str) -> dict[str, Any]:
    return {"$ref": f"#/components/schemas/{name}"}
