"""Tries every fault against the real process and prints what was kept, as Markdown.

    python -m tests.system.fire            each as often as in the suite
    python -m tests.system.fire --long     a night's worth, 500 kills at random moments among them

``--only`` takes part of a fault's name or a promise's key. The exit code is 1 when a promise was broken.
"""

from __future__ import annotations

import sys

import click

from tests.conftest import FIRE_HEAD
from tests.system.fire.fault import attempt
from tests.system.fire.faults import FAULTS


@click.command()
@click.option("--long", "is_long", is_flag=True, help="As often as each fault asks for in its long form.")
@click.option("--only", default="", help="Part of a fault's name, or the key of a promise.")
@click.option("--times", type=click.IntRange(1), default=None, help="So often each.")
@click.option("--seed", type=int, default=0, show_default=True)
def main(only: str, times: int | None, seed: int, *, is_long: bool) -> None:
    """Try faults; a row of the table as soon as it is known, what went wrong at the end."""
    chosen = [one for one in FAULTS if only in one.name or only == one.promise]
    chosen = [one for one in chosen if times or is_long or one.short]
    if not chosen:
        raise click.BadParameter(f"no fault has {only!r} in its name", param_hint="--only")
    counts = [times or (one.long if is_long else one.short) for one in chosen]
    failures: list[str] = []
    click.echo(FIRE_HEAD)
    with click.progressbar(length=sum(counts), label="faults tried", file=sys.stderr) as bar:
        for fault, count in zip(chosen, counts, strict=True):
            found = attempt(fault, count, seed, progress=lambda: bar.update(1))
            click.echo(found.line())
            failures += [f"{fault.name}, {one}" for one in found.failures]
    for failure in failures:
        click.echo(f"\n{failure}")
    sys.exit(1 if failures else 0)


if __name__ == "__main__":
    main()
