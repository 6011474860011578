"""``swimup export``: the history as plain files, all of it, a part, or one batch for replay."""

from __future__ import annotations

import sys
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast
from zoneinfo import ZoneInfo

import click

from monitor.archive import ArchiveProblem, Choice, write_batch, write_out
from monitor.cli.bar import Bar
from monitor.cli.client import json_option
from monitor.cli.told import plain, tell
from monitor.settings.discover import config_option, load_or_exit
from monitor.store.errors import StoreError
from monitor.web.when import NotAnInstant, rfc3339

if TYPE_CHECKING:
    from monitor.archive.manifest import Form, Manifest
    from monitor.core.model import Ms
    from monitor.settings.settings import Settings

EXIT_FAILED = 1
_TIME = 'Date ("2026-03-01", where the site is) or RFC 3339.'


@click.command()
@click.argument("folder", metavar="FOLDER", type=click.Path(path_type=Path))
@click.option("--since", metavar="TIME", help=f"Only from then on. {_TIME}")
@click.option("--until", metavar="TIME", help="Only before that.")
@click.option("--probe", "probes", metavar="PROBE", multiple=True, help="Only readings of this probe; can be repeated.")
@click.option("--batch", metavar="BATCH", help="One batch, ready for swimup replay.")
@click.option(
    "--format",
    "form",
    type=click.Choice(["csv", "jsonl", "senml"]),
    help="Of readings and roll-ups: CSV (the default), JSON lines, or readings alone as SenML (RFC 8428).",
)
@config_option
@json_option
def export(
    folder: Path,
    since: str | None,
    until: str | None,
    probes: tuple[str, ...],
    batch: str | None,
    form: str | None,
    config: Path | None,
    as_program: bool,
) -> None:
    """Write the history into a new FOLDER: readings, roll-ups, log, estimates as they were told, alarms, what was learned.

    It may run beside the daemon, and holds what the daemon has written (at most commit_every ago). "swimup import" takes
    an archive of everything back, byte for byte. manifest.json lists the files with their SHA-256.

    Left out, always: the push subscriptions of phones, which are secrets; letters; the configuration.

    With --batch the folder has readings.csv, log.jsonl and swimup.toml: swimup replay -c FOLDER/swimup.toml --readings
    FOLDER/readings.csv --log FOLDER/log.jsonl. What earlier batches have taught of its tin is not in it.
    """
    if batch is not None and (since or until or probes or form):
        raise click.UsageError(
            "--batch goes alone: it has the readings of its vessel and room, from 12 days before it on."
        )
    settings = load_or_exit(config)
    zone = ZoneInfo(settings.site.timezone)
    choice = Choice(
        since=_instant("--since", since, zone),
        until=_instant("--until", until, zone),
        probes=probes,
        form=cast("Form", form or "csv"),
        measures={probe.id: probe.measures for probe in settings.probes},
    )
    if choice.since is not None and choice.until is not None and choice.until <= choice.since:
        raise click.UsageError("--until is not after --since: nothing lies between them.")
    try:
        with Bar("Exporting") as bar:
            manifest = _write(settings, folder, choice, batch, bar)
    except (ArchiveProblem, StoreError) as problem:
        click.echo(plain(str(problem)), err=True)
        sys.exit(EXIT_FAILED)
    tell(_document(folder, manifest), _sentence(folder, manifest), as_program=as_program)


def _write(settings: Settings, folder: Path, choice: Choice, batch: str | None, bar: Bar) -> Manifest:
    if batch is not None:
        return write_batch(settings.store.path, folder, settings, batch, bar)
    return write_out(settings.store.path, folder, choice, bar)


def _instant(option: str, text: str | None, zone: ZoneInfo) -> Ms | None:
    if text is None:
        return None
    try:
        if len(text) == len("2026-03-01"):
            return round(datetime.fromisoformat(text).replace(tzinfo=zone).timestamp()) * 1000
        return rfc3339(text)
    except (NotAnInstant, ValueError, OverflowError) as wrong:
        said = str(wrong) if isinstance(wrong, NotAnInstant) else f'"{text}" is no day.'
        raise click.UsageError(f"{option}: {said} A date such as 2026-03-01 will do.") from None


def _document(folder: Path, manifest: Manifest) -> dict[str, Any]:
    files, rows, size = _sums(manifest)
    return {"folder": str(folder), "complete": manifest.complete, "files": files, "rows": rows, "bytes": size}


def _sentence(folder: Path, manifest: Manifest) -> str:
    files, rows, size = _sums(manifest)
    what = "the whole history" if manifest.complete else "a part of the history"
    return f"{folder}: {what}, {rows} rows in {files} files, {size / 1e6:.1f} MB."


def _sums(manifest: Manifest) -> tuple[int, int, int]:
    notes = manifest.files
    return len(notes), sum(note.rows for note in notes), sum(note.bytes for note in notes)
