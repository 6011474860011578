"""``swimup token``: tokens for programs, each with what it may do. The daemon heeds a change at once, and need not run."""

from __future__ import annotations

import json
import time
from typing import TYPE_CHECKING

import click

from monitor.cli.client import WrongSetUp, json_option
from monitor.settings.discover import config_option, load_or_exit
from monitor.web.options import WebOptions, WebProblem
from monitor.web.rights import TOLD, Scope
from monitor.web.tokens import NAME_TOLD, add_token, listed, read_tokens, revoke_token
from monitor.web.when import as_rfc3339

if TYPE_CHECKING:
    from pathlib import Path

_SCOPES = "\n".join(f"  {scope:6} {told}" for scope, told in TOLD.items())


@click.group(epilog="\b\nScopes:\n" + _SCOPES)
def token() -> None:
    """Tokens for programs: a button on the wall, a display, what gathers the metrics."""


@token.command()
@click.argument("name")
@click.option(
    "--scope",
    "scopes",
    multiple=True,
    type=click.Choice([scope.value for scope in Scope]),
    help="What it may do; can be given several times. Otherwise read.",
)
@config_option
@json_option
def add(name: str, scopes: tuple[str, ...], config: Path | None, as_program: bool) -> None:
    """Make the token NAME and show it, once: it is kept nowhere."""
    wanted = frozenset(Scope(scope) for scope in scopes or ("read",))
    try:
        secret = add_token(_file(config), name, wanted, time.time_ns() // 1_000_000)
    except WebProblem as problem:
        raise click.UsageError(str(problem)) from problem
    except OSError as problem:
        raise WrongSetUp(f"The token cannot be kept ({problem.strerror}): run this as the daemon's user.") from problem
    if as_program:
        click.echo(json.dumps({"name": name, "scopes": listed(wanted).split(", "), "token": secret}))
        return
    click.echo(secret)
    click.echo(
        f'It may: {listed(wanted)}. It is shown this once. Send it as "Authorization: Bearer ..."; '
        f"should it get lost: swimup token revoke {name}",
        err=True,
    )


@token.command("list")
@config_option
@json_option
def list_tokens(config: Path | None, as_program: bool) -> None:
    """Tell the tokens that there are, and what each may do."""
    try:
        tokens = read_tokens(_file(config))
    except WebProblem as problem:
        raise WrongSetUp(str(problem)) from problem
    if as_program:
        told = [
            {"name": one.name, "scopes": listed(one.scopes).split(", "), "made": as_rfc3339(one.made)} for one in tokens
        ]
        click.echo(json.dumps(told))
        return
    for one in tokens:
        click.echo(f"{one.name}: {listed(one.scopes)}; made {as_rfc3339(one.made)[:10]}")
    if not tokens:
        click.echo(f"None. swimup token add NAME makes one; NAME: {NAME_TOLD}.")


@token.command()
@click.argument("name")
@config_option
def revoke(name: str, config: Path | None) -> None:
    """From now on the token NAME opens nothing."""
    try:
        revoke_token(_file(config), name)
    except WebProblem as problem:
        raise click.UsageError(str(problem)) from problem
    except OSError as problem:
        raise WrongSetUp(
            f"The tokens cannot be written ({problem.strerror}): run this as the daemon's user."
        ) from problem
    click.echo(f"{name} opens nothing any more.")


def _file(config: Path | None) -> Path:
    try:
        return WebOptions.from_settings(load_or_exit(config)).tokens_file
    except WebProblem as problem:
        raise WrongSetUp(str(problem)) from problem
