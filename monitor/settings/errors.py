"""What is wrong with a configuration, told in one go.

ConfigError: never transient; waiting does not mend a file.
"""

from __future__ import annotations

import difflib
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence


@dataclass(frozen=True, slots=True, order=True)
class Problem:
    """One thing to mend. ``pointer`` is an RFC 6901 JSON Pointer into the TOML document; "" is the whole document.

    ``found`` never holds a secret. ``about`` names the thing, since people do not count tables: 'probe "ash-air"'.
    """

    file: str
    pointer: str
    found: str
    allowed: str
    hint: str = ""  # the nearest name, or what to do
    about: str = ""

    def __str__(self) -> str:
        place = _printable(f"{self.file}: {self.pointer}" if self.pointer else self.file)
        about = f" ({self.about})" if self.about else ""
        hint = f". {self.hint}" if self.hint else ""
        return f"{place}{about}: found {self.found}; allowed: {self.allowed}{hint}"

    def as_json(self) -> dict[str, str]:
        return asdict(self)


class ConfigError(Exception):
    """The configuration cannot be used; ``problems`` holds every reason at once, in the order of the document."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(map(str, self.problems)))


class Unfit(ValueError):  # noqa: N818  (it speaks of the value, and becomes a Problem)
    """A value is not of its form. The message says what is allowed instead; ``hint`` what to do about it."""

    def __init__(self, allowed: str, hint: str = "", found: str | None = None) -> None:
        super().__init__(allowed)
        self.allowed = allowed
        self.hint = hint
        self.found = found  # says more than the value alone would


def join(*steps: str | int) -> str:
    """A JSON Pointer from its steps, escaped as RFC 6901 asks."""
    return "".join("/" + str(step).replace("~", "~0").replace("/", "~1") for step in steps)


def nearest(word: str, known: Sequence[str]) -> str:
    """'Did you mean "x"?' for the nearest known name, or nothing when none is near."""
    folded = {name.casefold(): name for name in known}
    close = difflib.get_close_matches(word[:80].casefold(), folded, n=1, cutoff=0.6)
    return f'Did you mean "{folded[close[0]]}"?' if close else ""


def quoted(text: str) -> str:
    """A text as it may stand in a message: short, no control characters, no address, which may hold a token."""
    scheme, address, _ = text.partition("://")
    if address:
        return f'"{scheme[-20:]}://(not shown)"' if scheme.isalnum() else "an address (not shown)"
    clean = _printable(text[:61])
    return f'"{clean[:60]}…"' if len(text) > 60 else f'"{clean}"'


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)


def shown(value: object, *, secret: bool = False) -> str:
    """What was found, in a few words. Secrets and whole tables are told by their type only."""
    match value:
        case None:
            return "nothing"
        case dict():
            return "a table"
        case list() | tuple():
            return f"a list of {len(value)}"
        case _ if secret:
            return "a text (not shown)" if isinstance(value, str) else "something that is not a text (not shown)"
        case str():
            return quoted(value)
        case bool():
            return str(value).lower()
        case int() if value.bit_length() > 64:
            return "a whole number of more than 64 bits"
        case _:
            return str(value)
