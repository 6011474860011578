"""``swimup vessel``: hands in a vessel, and air that is off on purpose."""

from __future__ import annotations

from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import click

from monitor.cli.client import Client, json_option, segment
from monitor.cli.told import tell
from monitor.settings.discover import config_option
from monitor.web import words
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from pathlib import Path


@click.group()
def vessel() -> None:
    """Note that you work on a vessel, or let it settle: its alarms wait, and come back by themselves."""


@vessel.command(short_help="You work on VESSEL: its alarms wait.")
@click.argument("name", metavar="VESSEL")
@click.option("--minutes", type=int, help="How long from now, 1 to 240. Otherwise 30.")
@click.option("--done", is_flag=True, help="The work is done: its alarms ring again.")
@config_option
@json_option
def work(name: str, minutes: int | None, done: bool, config: Path | None, as_program: bool) -> None:
    """You work on VESSEL: its alarms and those of its probes wait, and come back by themselves.

    Still rings: heat that kills, and animals that swim whose air has stopped or is not heard of, once they may have
    less than 2 min of oxygen left.
    """
    if done and minutes is not None:
        raise click.UsageError("--done ends the work now and takes no --minutes; give one of them.")
    if minutes == 0:
        raise click.UsageError("--minutes 0 is no work; to end it now: --done.")
    with Client(config) as client:
        result = client.post(f"/vessels/{segment(name)}/work", {"minutes": 0 if done else minutes})
        until = _clock(client, result["until"])
        ends = f" Sooner: swimup vessel work {name} --done" if until else ""
        tell(result, words.work_noted(name, until) + ends, as_program=as_program)


@vessel.command(short_help="The air of VESSEL is off on purpose: its air alarm waits.")
@click.argument("name", metavar="VESSEL")
@click.option(
    "--minutes", type=int, help="How long from now, at most 60. Otherwise as `settling` in the configuration says."
)
@config_option
@json_option
def settle(name: str, minutes: int | None, config: Path | None, as_program: bool) -> None:
    """The air of VESSEL is off on purpose: its air alarm waits, and rings if it is still off when the time is over."""
    with Client(config) as client:
        result = client.post(f"/vessels/{segment(name)}/settling", {"minutes": minutes})
        told = f"Noted: {name} settles until {_clock(client, result['until'])}. Then its air alarm rings again."
        tell(result, told, as_program=as_program)


def _clock(client: Client, until: str | None) -> str:
    return "" if until is None else words.clock(rfc3339(until), ZoneInfo(client.get("/bench")["timezone"]))
