"""``swimup check``: tells whether the configuration is sound, and what is in force."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

from monitor.settings.credentials import outside_problems
from monitor.settings.discover import EXIT_BAD_CONFIGURATION, config_option, exit_with, find_config
from monitor.settings.errors import ConfigError
from monitor.settings.loader import load_all
from monitor.settings.notices import notices
from monitor.settings.show import as_json, as_toml

if TYPE_CHECKING:
    from pathlib import Path

    from monitor.settings.loader import Loaded
    from monitor.settings.settings import Settings


@click.command()
@config_option
@click.option("--show", is_flag=True, help="Print every option in force, as TOML, with where its value came from.")
@click.option("--json", "as_program", is_flag=True, help="Print for programs.")
@click.pass_context
def check(context: click.Context, config: Path | None, show: bool, as_program: bool) -> None:
    """Check the configuration: all problems at once, exit code 2 when there are any."""
    try:
        loaded = _load(config)
    except ConfigError as error:
        if not as_program:
            exit_with(error)
        click.echo(json.dumps({"ok": False, "problems": [problem.as_json() for problem in error.problems]}, indent=2))
        context.exit(EXIT_BAD_CONFIGURATION)
    if as_program:
        click.echo(json.dumps(_for_programs(loaded, show), indent=2))
    elif show:
        click.echo(as_toml(loaded), nl=False)
    else:
        _for_people(loaded.settings)


def _load(config: Path | None) -> Loaded:
    """The configuration, and all it names found on this machine; raises ConfigError otherwise."""
    loaded = load_all(find_config(config))
    if problems := outside_problems(loaded.settings):
        raise ConfigError(problems)
    return loaded


def _counts(settings: Settings) -> dict[str, int]:
    return {
        "vessel": len(settings.vessels),
        "probe": len(settings.probes),
        "lot": len(settings.lots),
        "channel": len(settings.channels),
    }


def _for_people(settings: Settings) -> None:
    counts = ", ".join(f"{number} {name}{'' if number == 1 else 's'}" for name, number in _counts(settings).items())
    click.echo(f'{settings.file}: sound. Site "{settings.site.id}": {counts}.')
    for notice in notices(settings):
        click.echo(f"Note: {notice}")


def _for_programs(loaded: Loaded, show: bool) -> dict[str, object]:
    settings = loaded.settings
    told: dict[str, object] = {
        "ok": True,
        "file": settings.file,
        "site": settings.site.id,
        "counts": _counts(settings),
        "notices": list(notices(settings)),
    }
    return told | ({"options": as_json(loaded)} if show else {})
