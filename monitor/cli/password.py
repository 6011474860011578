"""``swimup password``: the passwords of the page, kept as argon2 hashes."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from monitor.cli.client import WrongSetUp
from monitor.settings.discover import config_option, load_or_exit
from monitor.web.access import SHORTEST_PASSWORD, same_password, write_password
from monitor.web.options import WebProblem


@click.command()
@click.option(
    "--file",
    "path",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Where to keep the hash. Otherwise web.password_file, or web.viewer_password_file.",
)
@click.option("--stdin", "from_stdin", is_flag=True, help="Read the password from standard input, one line.")
@click.option("--viewer", is_flag=True, help="The one for those who may look but not act.")
@config_option
def password(path: Path | None, from_stdin: bool, viewer: bool, config: Path | None) -> None:
    """Set the password of the page. It counts at once, and ends all sessions that were begun with the old one."""
    other = None
    if path is None:
        web = load_or_exit(config).web
        path, other = web.password_file, web.viewer_password_file
        if viewer:
            path, other = other, path
    if path is None:
        line = 'viewer_password_file = "viewer.password"' if viewer else 'password_file = "page.password"'
        raise click.UsageError(f"The configuration names no file for it: add {line} under [web], or give --file.")
    if from_stdin:
        typed = sys.stdin.readline().rstrip("\r\n")
    else:
        typed = click.prompt(
            f"Password (at least {SHORTEST_PASSWORD} characters)", hide_input=True, confirmation_prompt=True
        )
    try:
        if same_password(other, typed):
            raise click.UsageError("The keeper and the viewers need passwords of their own; these are the same.")
        new = not path.exists()
        write_password(path, typed)
    except WebProblem as problem:
        raise click.UsageError(str(problem)) from problem
    except OSError as problem:
        raise WrongSetUp(f'"{path}" cannot be written ({problem.strerror}).') from problem
    click.echo(
        f"Written: {path}. {'A daemon that does not ask for it yet must be restarted.' if new else 'It counts from now on.'}"
    )
