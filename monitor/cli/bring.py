"""``swimup import``: an exported history into an empty store."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from monitor.archive import ArchiveProblem, bring_back
from monitor.cli.bar import Bar
from monitor.cli.client import json_option
from monitor.cli.told import plain, tell
from monitor.settings.discover import config_option, load_or_exit
from monitor.store.errors import StoreError

EXIT_FAILED = 1


@click.command("import")
@click.argument("folder", metavar="FOLDER", type=click.Path(path_type=Path, exists=True, file_okay=False))
@config_option
@json_option
def bring(folder: Path, config: Path | None, as_program: bool) -> None:
    """Make the archive in FOLDER the store that the configuration names. The daemon must be stopped, the store empty.

    All files are checked first; when anything is wrong, or it is interrupted, the store is as it was. Phones must be
    subscribed again, unless they are so in the empty store.
    """
    path = load_or_exit(config).store.path
    try:
        with Bar("Importing") as bar:
            brought = bring_back(folder, path, bar)
    except (ArchiveProblem, StoreError) as problem:
        click.echo(plain(str(problem)), err=True)
        sys.exit(EXIT_FAILED)
    phones = "Phones that were subscribed stay so." if brought.phones else "Subscribe each phone again."
    probes = len(brought.manifest.probes)
    tell(
        {"store": str(path), "rows": brought.rows, "probes": probes, "phones": brought.phones},
        f"{path}: {brought.rows} rows of {probes} probe{'' if probes == 1 else 's'} are back. {phones}",
        as_program=as_program,
    )
