"""What was said in the log, for tests that hear it in their own process."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from monitor.loglines import INFO, NAME

if TYPE_CHECKING:
    from collections.abc import Iterator

    import pytest


@contextmanager
def heard(caplog: pytest.LogCaptureFixture) -> Iterator[list[dict[str, Any]]]:
    """From here on: the facts of each line, filled in when the block ends."""
    found: list[dict[str, Any]] = []
    caplog.clear()
    with caplog.at_level(INFO, logger=NAME):
        yield found
        found += [vars(record)["told"] for record in caplog.records if record.name == NAME]
