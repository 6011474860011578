"""JSON read strictly (RFC 8259), and places in it (RFC 6901).

Refused: anything but UTF-8, NaN and Infinity, nesting deeper than the parser's own bound of about 200, text after the
document, and a name that occurs twice in one object, because receivers disagree about which of the two counts.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from jsonpointer import EndOfList, JsonPointer, JsonPointerException
from pydantic_core import from_json

from monitor.intake.unreadable import Unreadable, shown

_MISSING = object()


def parse(payload: bytes) -> Any:
    """The document, or :class:`Unreadable`."""
    try:
        document = from_json(payload, allow_inf_nan=False, cache_strings="keys")
    except ValueError as error:
        raise Unreadable(f"not JSON: {str(error)[:120]}", _fault(payload)) from error
    if document.__class__ is dict or document.__class__ is list:
        _refuse_twins(payload, document)
    return document


def _fault(payload: bytes) -> Any:
    try:
        payload.decode()
    except UnicodeDecodeError:
        return "encoding"
    return "syntax"


def _refuse_twins(payload: bytes, document: Any) -> None:
    """The fast parser keeps the last of two equal names silently. Each member costs one colon outside the texts, so a
    dropped one shows as a colon too many. This avoids a second, slower parser on every message.
    """
    lowered = payload if b"\\u003" not in payload else payload.lower()
    if b"\\u003a" in lowered:
        raise Unreadable("a colon written as \\u003a; write it plainly", "syntax")
    colons = payload.count(b":")
    if colons == _least(document):
        return  # all of them are accounted for, as in nearly every message
    members = 0
    rest = [document]
    while rest:
        node = rest.pop()
        if node.__class__ is dict:
            members += len(node)
            for key, value in node.items():
                if ":" in key:
                    members += key.count(":")
                if value.__class__ is str:
                    members += value.count(":")
                elif value.__class__ is dict or value.__class__ is list:
                    rest.append(value)
        elif node.__class__ is list:
            rest.extend(node)
        elif node.__class__ is str:
            members += node.count(":")
    if colons != members:
        raise Unreadable("a name occurs twice in one object; it is unclear which one counts", "syntax")


def _least(document: Any) -> int:
    """Members of an object, or of the objects in an array, without what lies deeper."""
    if document.__class__ is dict:
        return len(document)
    return sum([len(node) for node in document if node.__class__ is dict])


@lru_cache(maxsize=1024)
def _member(pointer: str) -> str | None:
    """The name in a pointer of one plain step; None for any other."""
    return pointer[1:] if pointer[0] == "/" and "/" not in pointer[1:] and "~" not in pointer else None


@lru_cache(maxsize=1024)
def _pointer(pointer: str) -> JsonPointer:
    return JsonPointer(pointer)


def at(document: Any, pointer: str) -> Any:
    """The value at an RFC 6901 pointer; :class:`Unreadable` when nothing is there."""
    if not pointer:
        return document
    if document.__class__ is dict:
        found = document.get(_member(pointer), _MISSING)
        if found is not _MISSING:
            return found
    try:
        found = _pointer(pointer).resolve(document, _MISSING)
    except JsonPointerException as error:
        raise Unreadable(f"{shown(pointer)} is no RFC 6901 pointer", "pointer") from error
    if found is _MISSING or isinstance(found, EndOfList):
        raise Unreadable(f"nothing at {shown(pointer)}{_names(document)}", "pointer")
    return found


def _names(document: Any) -> str:
    if isinstance(document, dict) and document:
        return "; the message has " + ", ".join(shown("/" + str(name)) for name in list(document)[:6])
    return ""
