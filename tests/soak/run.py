"""The service over months and over millions of readings: whether it holds no more at the end than after a while; prints Markdown.

    python -m tests.soak.run --days 90 --readings 10000000

The exit code is 1 when a limit is broken. ``--days 0`` or ``--readings 0`` leaves out one of the two.
"""

from __future__ import annotations

import logging
import math
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from monitor.core.model import DAY
from monitor.store import Keep
from tests.logs import only
from tests.month.scenario import DAY_S, LEAD_DAYS
from tests.soak.days import Days
from tests.soak.flood import Flood
from tests.soak.limits import Limits

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.soak.outcome import Outcome

A_MILLION: Final = 1_000_000
FEWEST_FOR_A_SLOPE: Final = A_MILLION


@click.command()
@click.option("--days", type=click.IntRange(0), default=90, show_default=True, help="Virtual days; 0 for none.")
@click.option("--readings", type=click.IntRange(0), default=10 * A_MILLION, show_default=True, help="0 for none.")
@click.option("--broker/--callback", default=True, show_default=True, help="What the readings come through.")
@click.option("--minutes", type=float, default=math.inf, help="Each of the two ends after so long, wherever it is.")
@click.option("--folder", type=click.Path(path_type=Path), help="Where the stores lie; default a temporary folder.")
def main(days: int, readings: int, minutes: float, folder: Path | None, *, broker: bool) -> None:
    """Run both soaks and print what was found."""
    only(logging.CRITICAL)
    kept = True
    with tempfile.TemporaryDirectory(dir=folder) as made:
        if days:
            # Both ends of the record are reached within the season, and what is cleared away is not half of it.
            keep = Keep(raw=max(days // 3, 1) * DAY, minute=max(days // 2, 1) * DAY)
            season = Days(Path(made), days, keep, longest_s=60 * minutes)
            kept &= _told(season.run, (days + LEAD_DAYS) * DAY_S, "days")
        if readings:
            flood = Flood(Path(made), readings, broker=broker, longest_s=60 * minutes)
            kept &= _told(flood.run, readings, "flood")
    sys.exit(0 if kept else 1)


def _told(run: Callable[[Callable[[int], None]], Outcome], length: int, label: str) -> bool:
    """Run it under a bar; whether all limits were kept."""
    with click.progressbar(length=length, label=label, file=sys.stderr, update_min_steps=length // 1000 or 1) as bar:
        outcome = run(bar.update)
    limits = Limits() if outcome.found.sent >= FEWEST_FOR_A_SLOPE else Limits(mb_a_million=None, noise=200)
    click.echo(outcome.markdown(limits) + "\n")
    return not outcome.faults(limits)


if __name__ == "__main__":
    main()
