"""``swimup alarm``: what stands, and that somebody has taken note."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from monitor.cli.client import Client, json_option, segment
from monitor.cli.told import plain, tell
from monitor.settings.discover import config_option
from monitor.web.view import AlarmView, make_view

if TYPE_CHECKING:
    from pathlib import Path


@click.group()
def alarm() -> None:
    """List and acknowledge alarms."""


@alarm.command(name="list")
@config_option
@json_option
def list_alarms(config: Path | None, as_program: bool) -> None:
    """List the alarms that stand, the gravest first."""
    with Client(config) as client:
        bench = client.get("/bench")
    if as_program:
        tell({"alarms": bench["alarms"]}, "", as_program=True)
        return
    alarms = make_view(bench).alarms
    click.echo(plain("\n\n".join(described(one) for one in alarms) if alarms else "No alarm stands."))


@alarm.command()
@click.argument("name", metavar="ALARM")
@config_option
@json_option
def ack(name: str, config: Path | None, as_program: bool) -> None:
    """Acknowledge ALARM, such as air-stopped:birch."""
    with Client(config) as client:
        result = client.post(f"/alarms/{segment(name)}/acknowledge", {"by": "cli"})
    tell(result, f"Acknowledged: {name}.", as_program=as_program)


def described(one: AlarmView) -> str:
    head = f"{one.urgency}: {one.title}" if one.to_acknowledge else f"{one.title} ({one.state})"
    return f"{head}\n  {one.id}, since {one.since}\n  {one.todo}\n  {one.text}"
