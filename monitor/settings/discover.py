"""Where the configuration file is, for all commands alike."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from monitor.settings.errors import ConfigError, Problem
from monitor.settings.loader import load

if TYPE_CHECKING:
    from collections.abc import Mapping

    from monitor.settings.settings import Settings

VARIABLE = "SWIMUP_CONFIG"
EXIT_BAD_CONFIGURATION = 2

config_option = click.option(
    "-c",
    "--config",
    type=click.Path(path_type=Path, dir_okay=True),
    metavar="FILE",
    help=f"Configuration file. Otherwise ${VARIABLE}, ./swimup.toml, swimup/swimup.toml in ~/.config, or in /etc.",
)
"""Gives a command the parameter ``config: Path | None``, which ``find_config`` and ``load_or_exit`` take."""


def candidates() -> tuple[Path, ...]:
    """The places looked at when none is named, first wins."""
    home = os.environ.get("XDG_CONFIG_HOME") or os.path.expanduser("~/.config")  # noqa: PTH111  (Path's raises without a home)
    return (Path("swimup.toml"), Path(home) / "swimup/swimup.toml", Path("/etc/swimup/swimup.toml"))


def find_config(explicit: Path | None) -> Path:
    """The file to use: the named one, $SWIMUP_CONFIG, or the first candidate there is. Raises ConfigError."""
    named = explicit or (Path(os.environ[VARIABLE]) if os.environ.get(VARIABLE) else None)
    if named is not None:
        if named.is_file():
            return named
        found = "a folder" if named.is_dir() else "no such file"
        source = "-c" if explicit else f"${VARIABLE}"
        raise ConfigError([Problem(str(named), "", found, f"the configuration file, since {source} names it")])
    for place in candidates():
        if _readable_file(place):
            return place
    places = ", ".join(map(str, candidates()))
    hint = "Begin with config/minimal.toml; config/swimup.example.toml explains every option."
    raise ConfigError([Problem("swimup.toml", "", "no configuration file", f"one of {places}, or -c FILE", hint)])


def _readable_file(place: Path) -> bool:
    """A folder that this user may not look into, such as where ``sudo -u swimup`` was typed, holds nothing for them."""
    return os.path.isfile(place)  # noqa: PTH113  (Path's raises for such a folder)


def load_or_exit(explicit: Path | None, overlay: Mapping[str, Any] | None = None) -> Settings:
    """The settings for a command; tells all problems on stderr and ends with exit code 2 when there are any."""
    try:
        return load(find_config(explicit), overlay)
    except ConfigError as error:
        exit_with(error)


def exit_with(error: ConfigError) -> NoReturn:
    """Tell all problems on stderr, one a line, and end with exit code 2."""
    for problem in error.problems:
        click.echo(str(problem), err=True)
    sys.exit(EXIT_BAD_CONFIGURATION)
