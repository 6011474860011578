"""Why a message could not be read, in words for the keeper and in one short word for counting."""

from __future__ import annotations

from typing import Literal, get_args

Kind = Literal[
    "oversize",  # larger than a reading can be
    "encoding",  # not UTF-8
    "syntax",  # not a number, not JSON, not a SenML pack
    "type",  # a value of another kind than asked for
    "range",  # a number no sensor can mean
    "pointer",  # nothing at the place where the value should be
    "time",  # a time of its own that is none
    "sequence",  # a running number that is none
    "unit",  # measured in a unit that does not fit
    "version",  # needs something of SenML that is not understood here
    "empty",  # nothing usable inside
    "word",  # a word that means neither running nor weak nor stopped
]
KINDS: tuple[Kind, ...] = get_args(Kind)

_SHOWN = 40


class Unreadable(Exception):  # noqa: N818  (a verdict on a message, not a failure of the program)
    """A message that gives no sample. ``reason`` is a sentence for the keeper, ``kind`` the word for counting."""

    def __init__(self, reason: str, kind: Kind = "syntax") -> None:
        super().__init__(reason)
        self.reason = reason
        self.kind: Kind = kind


def shown(found: object) -> str:
    """What was found, short enough for a log line: a long text is cut, a huge number is not written out."""
    if isinstance(found, (dict, list)):
        return "an object" if isinstance(found, dict) else "an array"
    if isinstance(found, bool) or found is None:
        return "null" if found is None else str(found).lower()
    if isinstance(found, int) and found.bit_length() > 256:
        return "a number of very many digits"
    text = repr(found) if isinstance(found, str) else str(found)
    return text if len(text) <= _SHOWN else text[:_SHOWN] + "…"
