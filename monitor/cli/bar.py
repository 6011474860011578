"""A bar for work that takes its time, on a terminal, from the second second on."""

from __future__ import annotations

import sys
import time
from contextlib import ExitStack
from typing import TYPE_CHECKING, Any, Final, Self, TextIO

import click

if TYPE_CHECKING:
    from collections.abc import Callable
    from types import TracebackType

PATIENCE_S: Final = 2.0
"""Shorter work needs no bar; common practice, no source."""


class Bar:
    """Call it with how much is done of how much. Use as a context; on anything but a terminal it is silent."""

    def __init__(self, label: str, stream: TextIO | None = None, steady: Callable[[], float] = time.monotonic) -> None:
        self._label = label
        self._stream = sys.stderr if stream is None else stream
        self._steady = steady
        self._since = steady()
        self._bar: Any = None
        self._end = ExitStack()

    def __call__(self, done: int, total: int) -> None:
        if not self._stream.isatty() or total <= 0:
            return
        if self._bar is None:
            if self._steady() - self._since < PATIENCE_S:
                return
            self._bar = self._end.enter_context(
                click.progressbar(length=total, label=self._label, file=self._stream, show_percent=True)
            )
        if done > self._bar.pos:
            self._bar.length = total
            self._bar.update(done - self._bar.pos)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> bool | None:
        return self._end.__exit__(kind, problem, trace)
