"""``swimup alarm``: what stands, that somebody has taken note, and whether letters arrive."""

from __future__ import annotations

import textwrap
from itertools import zip_longest
from typing import TYPE_CHECKING, Any, Final

import click

from monitor.cli import REFUSED
from monitor.cli.client import Client, json_option, segment
from monitor.cli.told import plain, tell
from monitor.settings.discover import config_option
from monitor.web.view import AlarmView, make_view

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

TEXT_WIDTH: Final = 40
NO_CHANNEL: Final = (
    "There is no [[channel]] in the daemon's configuration: alarms reach no phone. Add one, then restart it."
)


@click.group()
def alarm() -> None:
    """List and acknowledge alarms, and test how they reach a person."""


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


@alarm.command()
@config_option
@json_option
@click.pass_context
def test(context: click.Context, config: Path | None, as_program: bool) -> None:
    """Send a test letter through every channel; exit code 1 when any fails."""
    with Client(config) as client:
        result = client.post("/channels/test", {})
    channels = result["channels"]
    text = table(channels) if channels else NO_CHANNEL
    tell(result, text, as_program=as_program)
    if not channels or not all(one["ok"] for one in channels):
        context.exit(REFUSED)


def table(channels: Sequence[Mapping[str, Any]]) -> str:
    """A line or more for each channel: its name, and either that it is well, or what failed and what to do."""
    head: tuple[str, ...] = ("channel", "result", "what failed", "what to do")
    rows: list[tuple[str, ...]] = [
        (one["id"], "ok" if one["ok"] else "failed", one["error"], one["todo"]) for one in channels
    ]
    if all(one["ok"] for one in channels):
        head, rows = head[:2], [row[:2] for row in rows]
    width = max(len(row[0]) for row in (head, *rows))
    return "\n".join(_line(row, (width, 6, TEXT_WIDTH, TEXT_WIDTH)) for row in (head, *rows))


def _line(cells: Sequence[str], widths: Sequence[int]) -> str:
    wrapped = [textwrap.wrap(cell, width) for cell, width in zip(cells, widths, strict=False)]
    lines = zip_longest(*wrapped, fillvalue="")
    return "\n".join("  ".join(f"{t:<{w}}" for t, w in zip(line, widths, strict=False)).rstrip() for line in lines)


def described(one: AlarmView) -> str:
    head = f"{one.urgency}: {one.title}" if one.to_acknowledge else f"{one.title} ({one.state})"
    return f"{head}\n  {one.id}, since {one.since}\n  {one.todo}\n  {one.text}"
