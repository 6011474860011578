"""Tries every fault against the real process and prints what was kept, as Markdown.

    python -m tests.system.fire                       each as often as in the suite
    python -m tests.system.fire --long                a night's worth, 500 kills at random moments among them
    python -m tests.system.fire --long --minutes 60   of that, what an hour has room for

``--only`` takes part of a fault's name or a promise's key. Ctrl-C ends it with the table so far. The exit code is 1 when a
promise was broken, 130 when it was interrupted. What breaks one is told at once on stderr, and once more below the table.
"""

from __future__ import annotations

import signal
import sys
import time

import click

from tests.conftest import FIRE_HEAD
from tests.system.fire.course import Course, clear, duration, show
from tests.system.fire.fault import Tried, row
from tests.system.fire.faults import FAULTS

INTERRUPTED = 128 + signal.SIGINT


@click.command()
@click.option("--long", "is_long", is_flag=True, help="As often as each fault asks for in its long form.")
@click.option("--only", default="", help="Part of a fault's name, or the key of a promise.")
@click.option("--times", type=click.IntRange(1), default=None, help="So often each.")
@click.option(
    "--minutes",
    type=click.FloatRange(0, min_open=True),
    default=None,
    help="End after so long: all are tried less often by the same share, none less often than in the suite.",
)
@click.option("--seed", type=int, default=0, show_default=True)
def main(only: str, times: int | None, minutes: float | None, seed: int, *, is_long: bool) -> None:
    """Try faults; a row of the table as soon as it is known, what went wrong at the end."""
    chosen = [one for one in FAULTS if only in one.name or only == one.promise]
    chosen = [one for one in chosen if times or is_long or one.short]
    if not chosen:
        raise click.BadParameter(f"no fault has {only!r} in its name", param_hint="--only")
    rows = [Tried(one, times or (one.long if is_long else one.short)) for one in chosen]
    sys.exit(_told(rows, seed, minutes))


def _told(rows: list[Tried], seed: int, minutes: float | None) -> int:
    """Try them all and print the table; the exit code."""
    began, shown = time.monotonic(), list[Tried]()

    def tell(found: Tried) -> None:
        clear()
        click.echo(found.line())
        shown.append(found)

    def after(found: Tried, failure: str) -> None:
        if failure:  # at once: what is left may take hours
            clear()
            click.echo(f"BROKEN: {found.fault.name}, {failure}", err=True)
        if found.tried == found.asked:
            tell(found)

    click.echo(FIRE_HEAD)
    course = Course(rows, ends=None if minutes is None else began + 60 * minutes)
    end = ""
    try:
        if not course.run(seed, lambda one: show(course.says(one)), after):
            end = "Cut when its time was over."
    except KeyboardInterrupt:
        end = "Interrupted; the try that was under way does not count."
    for found in rows:
        if found not in shown:
            tell(found)
    clear()
    blows = [(one.fault.each * one.tried, one.fault.each * one.kept) for one in rows]
    tried, kept = map(sum, zip(*blows, strict=True))
    click.echo(row("all", "", tried, kept, round(sum(one.seconds for one in rows))))
    if end:
        click.echo(f"\n{end}")
    for found in rows:
        for failure in found.failures:
            click.echo(f"\n{found.fault.name}, {failure}")
    click.echo(f"It took {duration(time.monotonic() - began)}.", err=True)
    broken = any(found.failures for found in rows)
    return 1 if broken else INTERRUPTED if end.startswith("Interrupted") else 0


if __name__ == "__main__":
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # a manager of jobs ends it as Ctrl-C does
    main()
