"""Fuzzes and prints Markdown: how many inputs, how many raised what they may not, which was the slowest.

    python -m tests.fuzz.run --inputs 1000000 --target decode      a million messages for the decoders, all options among them
    python -m tests.fuzz.run --inputs 1000000 --target decoders    a million over all that reads messages, one after another
    python -m tests.fuzz.run --inputs 100000 --target files        configuration, recordings, archives, documents
    python -m tests.fuzz.run --target api                          the API by its own description, against the real server

What fails lies in .fuzz/found, the corpus grows in .fuzz/corpus; ``--keep`` takes over into the repository what of it is needed
for what is covered. The exit code is 1 when anything failed.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Final

import click

from tests.fuzz.fuzzing import HEAD, MISSING, ROOT, Found, fuzz, installed
from tests.fuzz.target import GROUPS, REAL, find

API: Final = "api"


@click.command()
@click.option("--inputs", type=click.IntRange(1), default=100_000, show_default=True, help="In all, over all targets.")
@click.option(
    "--target",
    "wanted",
    type=click.Choice([*REAL, *GROUPS, API, "planted"]),
    multiple=True,
    default=("decoders", "files"),
    show_default=True,
)
@click.option("--seed", type=int, default=1, show_default=True)
@click.option("--place", type=click.Path(path_type=Path), default=ROOT / ".fuzz", help="Where the corpus grows.")
@click.option("--keep", is_flag=True, help="Take over what is needed into tests/fuzz/corpus.")
def main(inputs: int, wanted: tuple[str, ...], seed: int, place: Path, *, keep: bool) -> None:
    """Fuzz; a row of the table as soon as it is known, what went wrong at the end."""
    faults: list[str] = []
    if API in wanted:
        from tests.fuzz.api import long_form

        faults += long_form(inputs, seed)
    each = [(name, one in GROUPS) for one in wanted if one != API for name in GROUPS.get(one, (one,))]
    if each:
        if not installed():
            raise click.ClickException(MISSING)
        click.echo(HEAD)
        for name, grouped in each:
            share = find(name).share if grouped else 1.0
            found = _one(name, max(round(share * inputs / len(each)), 1), seed, place)
            click.echo(found.line())
            faults += found.faults
    if keep:
        from tests.fuzz.keep import take_over

        for name, _ in each:
            click.echo(take_over(name, place / "corpus" / name), err=True)
    for fault in faults:
        click.echo(f"\n{fault}")
    sys.exit(1 if faults else 0)


def _one(name: str, count: int, seed: int, place: Path) -> Found:
    with click.progressbar(length=count, label=name, file=sys.stderr) as bar:

        def progress(done: int) -> None:
            bar.update(done - bar.pos)

        return fuzz(name, count, place, seed=seed, limit_ms=find(name).limit_ms, progress=progress)


if __name__ == "__main__":
    main()
