"""Lines of the log: one each, whatever they tell, and readable by what reads logfmt."""

from __future__ import annotations

import io
import logging
from typing import TYPE_CHECKING

import pytest

from monitor.loglines import NAME, Log, begin, line
from tests.logs import only

if TYPE_CHECKING:
    from collections.abc import Iterator


@pytest.fixture
def said() -> Iterator[io.StringIO]:
    """What goes to the log, which is as before afterwards."""
    logger = logging.getLogger(NAME)
    handlers, level = logger.handlers, logger.level
    text = io.StringIO()
    begin(text)
    yield text
    logger.handlers = handlers
    logger.setLevel(level)


@pytest.mark.parametrize(
    ("value", "told"),
    [
        ("ash", "a=ash"),
        ("ash-water/3", "a=ash-water/3"),
        (21.5, "a=21.5"),
        (None, "a="),
        ("", "a="),
        (True, "a=true"),
        (False, "a=false"),
        ("24 °C", 'a="24 °C"'),
        ("a=b", 'a="a=b"'),
        ('so "said"', 'a="so \\"said\\""'),
        ("one\ntwo\r", 'a="one\\ntwo\\r"'),
        ("C:\\x", 'a="C:\\\\x"'),
        ("\x1b[31m", 'a="\\u001b[31m"'),
        ("ä\u2028", 'a="\\u00e4\\u2028"'),
    ],
)
def test_a_value_is_quoted_where_it_could_be_mistaken(value: object, told: str) -> None:
    assert line({"a": value}) == told


def test_a_line_tells_when_how_grave_what_and_the_facts(said: io.StringIO) -> None:
    """In this order, the time in UTC; a percent sign means nothing; what is below the level is not said."""
    log = Log()
    log.info("disk.filling", free="7 %", name="store")
    log.debug("reading.unreadable", probe="ash-air")
    (told,) = said.getvalue().splitlines()
    when, rest = told.split(" ", 1)
    assert when.startswith("timestamp=20")
    assert when.endswith("Z")
    assert rest == 'level=info event=disk.filling free="7 %" name=store'
    only(logging.ERROR)
    log.warning("not.said")
    log.error("said", count=2)
    assert said.getvalue().splitlines()[1].endswith(" level=error event=said count=2")
    assert len(said.getvalue().splitlines()) == 2


def test_a_fault_is_told_with_its_trace_in_one_line(said: io.StringIO) -> None:
    """That which is being handled, or which is given."""
    log = Log()
    try:
        float("no tin")
    except ValueError as fault:
        log.exception("input.failed", kind="Batch")
        log.error("session.callback-failed", exc_info=fault)  # noqa: TRY400  (as a callback's fault is told)
    first, second = said.getvalue().splitlines()
    assert 'level=error event=input.failed kind=Batch exception="Traceback (most recent call last):\\n' in first
    assert first.endswith("could not convert string to float: 'no tin'\"")
    assert second.endswith("could not convert string to float: 'no tin'\"")
