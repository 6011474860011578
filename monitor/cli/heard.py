"""What was heard, as a table: on a terminal while it is being heard, and at the end."""

from __future__ import annotations

import shutil
import sys
import time
from typing import TYPE_CHECKING, Final, TextIO

from monitor.cli.bar import PATIENCE_S
from monitor.intake.pace import period

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from monitor.intake.ear import Topic

HEAD: Final = ("topic", "newest", "how often", "kept", "probe")
WIDEST: Final = (44, 30, 10, 4, 40)
DRAW_EVERY_S: Final = 0.5
BAR: Final = 30


def spoken(payload: bytes, longest: int = WIDEST[1]) -> str:
    """A payload as it may be shown: what is no plain letter is written as its number, and all of it cut."""
    text = payload[: 4 * longest].decode("utf-8", "backslashreplace")
    return cut(escaped(text), longest, more=len(payload) > 4 * longest)


def escaped(text: str) -> str:
    return "".join(letter if letter.isprintable() else letter.encode("unicode_escape").decode() for letter in text)


def cut(text: str, longest: int, *, more: bool = False) -> str:
    return text if len(text) <= longest and not more else text[: longest - 1] + "…"


def table(topics: Iterable[Topic], bound: Mapping[str, Sequence[str]]) -> list[str]:
    """A line a topic, in the order of their names."""
    rows = [HEAD, *(_row(one, bound.get(one.name, ())) for one in sorted(topics, key=lambda one: one.name))]
    widths = [max(len(row[column]) for row in rows) for column in range(len(HEAD))]
    return ["  ".join(f"{cell:<{width}}" for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]


def how_often(topic: Topic) -> str:
    """``10 s``; ``once`` when no gap was heard."""
    live = [one for one in topic.kept if not one.retained]
    if len(live) < 2:
        return "once" if live else "not yet"
    return f"{period(live).value / 1000:g} s"


def _row(topic: Topic, probes: Sequence[str]) -> tuple[str, ...]:
    newest = spoken(topic.newest.payload)
    if topic.size > len(topic.newest.payload):
        newest = f"{topic.size} bytes"
    cells = (
        escaped(topic.name),
        newest,
        how_often(topic),
        "yes" if topic.retained else "no",
        ", ".join(probes) or "none",
    )
    return tuple(cut(cell, width) for cell, width in zip(cells, WIDEST, strict=True))


class Screen:
    """The table as it grows, with a bar below; on anything but a terminal it is silent."""

    def __init__(
        self, seconds: float, stream: TextIO | None = None, steady: Callable[[], float] = time.monotonic
    ) -> None:
        self._seconds = seconds
        self._stream = sys.stderr if stream is None else stream
        self._steady = steady
        self._drawn = -DRAW_EVERY_S
        self._lines = 0

    def draw(self, topics: Iterable[Topic], bound: Mapping[str, Sequence[str]], passed: float) -> None:
        if not self._stream.isatty() or passed < PATIENCE_S or self._steady() - self._drawn < DRAW_EVERY_S:
            return
        self._drawn = self._steady()
        width, height = shutil.get_terminal_size()
        lines = table(topics, bound)
        room = max(height - 3, 2)
        if len(lines) > room:
            lines = [*lines[: room - 1], f"and {len(lines) - room + 1} more"]
        done = min(int(BAR * passed / self._seconds), BAR)
        lines.append(
            f"listening [{'#' * done}{'-' * (BAR - done)}] {passed:.0f} of {self._seconds:g} s, Ctrl-C ends it"
        )
        self.clear()
        self._stream.write("".join(f"{line[: width - 1]}\n" for line in lines))
        self._stream.flush()
        self._lines = len(lines)

    def clear(self) -> None:
        """Take away what was drawn last."""
        if self._lines:
            self._stream.write(f"\x1b[{self._lines}A\x1b[J")
            self._stream.flush()
            self._lines = 0
