"""``swimup password``: the password of the page, kept as an argon2 hash."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from monitor.cli.client import WrongSetUp
from monitor.settings.discover import config_option, load_or_exit
from monitor.web.access import SHORTEST_PASSWORD, write_password
from monitor.web.options import WebProblem


@click.command()
@click.option(
    "--file",
    "path",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Where to keep the hash. Otherwise web.password_file.",
)
@click.option("--stdin", "from_stdin", is_flag=True, help="Read the password from standard input, one line.")
@config_option
def password(path: Path | None, from_stdin: bool, config: Path | None) -> None:
    """Set the password of the page. All open sessions end at the next start of the daemon."""
    target = path or load_or_exit(config).web.password_file
    if target is None:
        raise click.UsageError(
            'The configuration names no file for it: add password_file = "page.password" under [web], or give --file.'
        )
    if from_stdin:
        typed = sys.stdin.readline().rstrip("\r\n")
    else:
        typed = click.prompt(
            f"Password (at least {SHORTEST_PASSWORD} characters)", hide_input=True, confirmation_prompt=True
        )
    try:
        write_password(target, typed)
    except WebProblem as problem:
        raise click.UsageError(str(problem)) from problem
    except OSError as problem:
        raise WrongSetUp(f'"{target}" cannot be written ({problem.strerror}).') from problem
    click.echo(f"Written: {target}. Restart the daemon to use it.")
