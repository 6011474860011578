"""What is said in the log, for what hears it in its own process, or does not want to."""

from __future__ import annotations

import logging
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from monitor.loglines import NAME

if TYPE_CHECKING:
    from collections.abc import Iterator

    import pytest


def only(level: int) -> None:
    """From now on nothing below ``level`` is said."""
    logging.getLogger(NAME).setLevel(level)


@contextmanager
def heard(caplog: pytest.LogCaptureFixture) -> Iterator[list[dict[str, Any]]]:
    """From here on: the facts of each line, filled in when the block ends."""
    found: list[dict[str, Any]] = []
    caplog.clear()
    with caplog.at_level(logging.INFO, logger=NAME):
        yield found
        found += [vars(record)["told"] for record in caplog.records if record.name == NAME]
