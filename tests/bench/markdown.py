"""What a measurement prints: lines of Markdown, each at once, since the next may take minutes."""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

Note = Callable[[str, str], None]


def say(text: str) -> None:
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


def line(*cells: str) -> None:
    """A row of a table."""
    say(f"| {' | '.join(cells)} |")


def noted(measure: Callable[[Path, Note], None]) -> None:
    """A table of what ``measure`` notes as (what, value); the folder it is given is gone afterwards."""
    line("what", "measured")
    line("---", "---")
    with tempfile.TemporaryDirectory(prefix="swimup-measure-") as folder:
        measure(Path(folder), line)
