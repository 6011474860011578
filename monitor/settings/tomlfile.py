"""A TOML file as a document, or what is wrong with it."""

from __future__ import annotations

import re
import tomllib
from typing import TYPE_CHECKING, Any

from monitor.settings.errors import ConfigError, Problem

if TYPE_CHECKING:
    from pathlib import Path


def read_toml(path: Path) -> dict[str, Any]:
    """The document; raises ConfigError when there is none or it is not TOML."""
    allowed = "a TOML file in UTF-8"
    try:
        text = path.read_bytes().decode("utf-8-sig")  # some editors begin a file with a byte order mark
    except UnicodeDecodeError as error:
        found = f"bytes that are not UTF-8, from byte {error.start}"
        raise ConfigError([Problem(str(path), "", found, allowed, "Save the file as UTF-8.")]) from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else "no such file"
        raise ConfigError([Problem(str(path), "", f"that it cannot be read: {reason}", allowed)]) from None
    return parse_toml(text, str(path))


def parse_toml(text: str, file: str) -> dict[str, Any]:
    """The document in a text; raises ConfigError with the line of the mistake."""
    try:
        return tomllib.loads(text)
    except RecursionError:
        problem = Problem(file, "", "lists or tables nested too deep", "a TOML document")
    except ValueError as error:  # also what int() says to thousands of digits
        problem = Problem(
            file, "", f"a mistake in the TOML: {_syntax(str(error))}", "a TOML document", _advice(str(error))
        )
    raise ConfigError([problem])


def _syntax(message: str) -> str:
    """The parser's message, place first and without the text it quotes, which may be a secret."""
    place = re.search(r"\(at (line \d+), (column \d+)\)|\(at (end of document)\)", message)
    what = re.sub(r"\(at .*\)$|'.*'|\".*\"", "", message.partition("\n")[0]).strip(" :")
    where = ", ".join(filter(None, place.groups())) if place else ""
    return f"{where}: {what[:80]}" if where else what[:80] or "it cannot be parsed"


def _advice(message: str) -> str:
    return 'A text stands in quotes: url = "mqtt://…".' if message.startswith("Invalid value") else ""
