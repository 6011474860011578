"""``swimup alarm``: what stands, that somebody has taken note, and whether letters arrive."""

from __future__ import annotations

import textwrap
from itertools import zip_longest
from typing import TYPE_CHECKING, Any, Final

import click

from monitor.cli import REFUSED
from monitor.cli.client import Client, json_option, segment
from monitor.cli.explain import explain
from monitor.cli.report import report
from monitor.cli.told import plain, tell
from monitor.settings.discover import config_option
from monitor.settings.errors import Unfit
from monitor.settings.units import Kind, read
from monitor.web.view import make_view

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from monitor.web.bench_alarms import AlarmView

TEXT_WIDTH: Final = 40
NO_CHANNEL: Final = (
    "There is no [[channel]] in the daemon's configuration: alarms reach no phone. Add one, then restart it."
)


@click.group()
def alarm() -> None:
    """List alarms, acknowledge them, put them off, and test how they reach a person."""


alarm.add_command(explain)
alarm.add_command(report)


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
    _ask(name, "acknowledge", f"Acknowledged: {name}.", config, as_program=as_program)


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


@alarm.command()
@click.argument("name", metavar="ALARM")
@click.option("--for", "length", required=True, metavar="TIME", help='How long, such as "30 min" or "2 h".')
@config_option
@json_option
def shelve(name: str, length: str, config: Path | None, as_program: bool) -> None:
    """Put ALARM off for a time; it comes back by itself."""
    minutes = _minutes(length)
    _ask(name, "shelve", f"Shelved for {length}: {name}.", config, as_program=as_program, minutes=minutes)


@alarm.command()
@click.argument("name", metavar="ALARM")
@config_option
@json_option
def unshelve(name: str, config: Path | None, as_program: bool) -> None:
    """End the shelf of ALARM now."""
    _ask(name, "unshelve", f"Off the shelf: {name}.", config, as_program=as_program)


@alarm.command()
@click.argument("name", metavar="ALARM")
@click.option("--why", default="", help="A word for whoever finds it so.")
@config_option
@json_option
def out(name: str, why: str, config: Path | None, as_program: bool) -> None:
    """Take ALARM out of service until it is put back."""
    _ask(
        name, "out-of-service", f"Out of service until you put it back: {name}.", config, as_program=as_program, why=why
    )


@alarm.command()
@click.argument("name", metavar="ALARM")
@config_option
@json_option
def back(name: str, config: Path | None, as_program: bool) -> None:
    """Put ALARM back in service."""
    _ask(name, "back-in-service", f"Back in service: {name}.", config, as_program=as_program)


@alarm.command("why")
@click.argument("name", metavar="ALARM")
@config_option
@json_option
def why_alarm(name: str, config: Path | None, as_program: bool) -> None:
    """Say why ALARM rang and why it did not, the newest last."""
    with Client(config) as client:
        story = client.get(f"/alarms/{segment(name)}")
    lines = [f"{one['time']}  {'told' if one['notify'] else 'not told'}: {one['reason']}" for one in story["decisions"]]
    told = {"alarm": name, "decisions": story["decisions"]}
    tell(told, "\n".join(lines) or "Nothing was decided.", as_program=as_program)


def _ask(name: str, what: str, said: str, config: Path | None, *, as_program: bool, **more: object) -> None:
    """Have something done with an alarm, and say that it is done."""
    with Client(config) as client:
        result = client.post(f"/alarms/{segment(name)}/{what}", {"by": "cli", **more})
    tell(result, said, as_program=as_program)


def _minutes(length: str) -> float:
    """Raises BadParameter for what is no length of time; a number alone could be anything."""
    said = f'found "{length}"; allowed is {Kind.DURATION.allowed}'
    if not length.strip().strip("0123456789.,"):
        raise click.BadParameter(said, param_hint="--for")
    try:
        return read(length, Kind.DURATION) / 60
    except Unfit as unfit:
        raise click.BadParameter(said, param_hint="--for") from unfit


def described(one: AlarmView) -> str:
    head = f"{one.urgency}: {one.title}" if one.to_acknowledge else f"{one.title} ({one.state})"
    return f"{head}\n  {one.id}, since {one.since}\n  {one.todo}\n  {one.text}"
