"""What the service and a board say of themselves: ``key=value`` throughout (logfmt), through the standard library's logging.

A library for such lines would load a twentieth of all that a start loads, asyncio among it.
"""

from __future__ import annotations

import json
import logging
import sys
from datetime import UTC, datetime
from traceback import format_exception
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Mapping
    from io import TextIOBase
    from typing import TextIO

NAME: Final = "swimup"


def begin(to: TextIO | TextIOBase, level: int = logging.INFO) -> None:
    """From now on lines from ``level`` up go there; before, those from a warning up go to standard error."""
    handler = logging.StreamHandler(to)
    handler.setFormatter(_Line())
    logger = logging.getLogger(NAME)
    logger.handlers = [handler]
    logger.setLevel(level)


def line(facts: Mapping[str, object]) -> str:
    """Facts as logfmt, always one line: quoted, as JSON has it, where a value holds blanks, quotes, "=" or control characters."""
    return " ".join(f"{key}={_value(value)}" for key, value in facts.items())


def _value(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    text = str(value)
    printable = text.isprintable()
    if printable and not any(sign in text for sign in ' "=\\'):
        return text
    return json.dumps(text, ensure_ascii=not printable)


class Log:
    """One event a call, named in a word or two, and what is to be known about it."""

    def __init__(self) -> None:
        self._logger = logging.getLogger(NAME)

    def debug(self, event: str, /, **facts: object) -> None:
        self._say(logging.DEBUG, event, facts)

    def info(self, event: str, /, **facts: object) -> None:
        self._say(logging.INFO, event, facts)

    def warning(self, event: str, /, **facts: object) -> None:
        self._say(logging.WARNING, event, facts)

    def error(self, event: str, /, *, exc_info: BaseException | None = None, **facts: object) -> None:
        """``exc_info``: a fault, told with all of its trace."""
        if exc_info is not None:
            facts["exception"] = "".join(format_exception(exc_info)).rstrip()
        self._say(logging.ERROR, event, facts)

    def exception(self, event: str, /, **facts: object) -> None:
        """An error with the fault that is just being handled."""
        self.error(event, exc_info=sys.exception(), **facts)

    def _say(self, level: int, event: str, facts: dict[str, object]) -> None:
        if self._logger.isEnabledFor(level):
            told = {"event": event, **facts}
            self._logger.log(level, line(told), extra={"told": told})


log: Final = Log()


class _Line(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        """Time and level before what was said."""
        when = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="microseconds")
        head = {"timestamp": when.replace("+00:00", "Z"), "level": record.levelname.lower()}
        return f"{line(head)} {record.getMessage()}"
